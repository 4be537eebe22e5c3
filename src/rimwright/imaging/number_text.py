"""Numbers written as text, read strictly: every word a number, nothing left over."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rimwright.anatomy import Floats, Ints
from rimwright.errors import FileRefusal
from rimwright.imaging.raw_shell import DAMAGED

N_SHOWN_LETTERS = 20
LARGEST_INDEX = 2**53
"""Whole numbers up to here are exact in float64."""


def parse_floats(words: Sequence[bytes], *, what: str, where: str) -> Floats:
    """
    Turn words into float64.

    Parameters
    ----------
    words
        n words without space.
    what, where
        What the numbers are, and the file, for the refusal.

    Returns
    -------
    Floats
        (n,); may hold NaN or infinity where the text says so.

    Raises
    ------
    FileRefusal
        A word is not a number.
    """
    try:
        values = np.array(list(map(float, words)), dtype=np.float64)
    except ValueError:
        raise _not_number(words, float, what=what, where=where) from None
    return values


def parse_integers(words: Sequence[bytes], *, what: str, where: str) -> Ints:
    """
    Turn words into int64.

    Parameters
    ----------
    words
        n words without space.
    what, where
        What the numbers are, and the file, for the refusal.

    Returns
    -------
    Ints
        (n,).

    Raises
    ------
    FileRefusal
        A word is not a whole number, or has more than 64 bits.
    """
    try:
        return np.array(list(map(int, words)), dtype=np.int64)
    except OverflowError:
        raise FileRefusal(f"{what}: a number has more than 64 bits", where, DAMAGED) from None
    except ValueError:
        raise _not_number(words, int, what=what, where=where) from None


def parse_count(word: bytes, *, what: str, where: str) -> int:
    """One count from text: a whole number of at least 0, or a FileRefusal."""
    if not word.isdigit() or len(word) > len(str(LARGEST_INDEX)):
        raise FileRefusal(
            f"{what} is not a count (got '{shown(word)}', need a whole number)", where, DAMAGED
        )
    return int(word)


def whole_numbers(values: Floats, *, what: str, where: str) -> Ints:
    """Floats that must be whole numbers, as int64, or a FileRefusal."""
    with np.errstate(invalid="ignore"):
        is_whole = (values == np.floor(values)) & (np.abs(values) <= LARGEST_INDEX)
    if not is_whole.all():
        bad = values[np.flatnonzero(~is_whole)[0]]
        raise FileRefusal(f"{what}: not a whole number (got {bad:g})", where, DAMAGED)
    return values.astype(np.int64)


def shown(word: bytes) -> str:
    """A word of the file fit for a message: short, printable."""
    text = word[:N_SHOWN_LETTERS].decode("ascii", "replace")
    return "".join(c if c.isprintable() else "?" for c in text)


def _not_number(
    words: Sequence[bytes], kind: type[float] | type[int], *, what: str, where: str
) -> FileRefusal:
    """The refusal that names the first word that is not a number."""
    need = "a number" if kind is float else "a whole number"
    for place, word in enumerate(words):
        try:
            kind(word)
        except ValueError:
            return FileRefusal(
                f"{what}: value {place + 1} is not a number (got '{shown(word)}', need {need})",
                where,
                DAMAGED,
            )
    return FileRefusal(f"{what}: a value is not a number (need {need})", where, DAMAGED)
