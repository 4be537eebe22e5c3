"""Numbers written as text, read strictly: every word a number, nothing left over."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rimwright.anatomy import Floats, Ints
from rimwright.errors import FileRefusal
from rimwright.imaging.raw_shell import DAMAGED

N_SHOWN_LETTERS = 20
CHUNK_BYTES = 4 * 1024**2
"""Text that is split into words at once."""
_SPACE = re.compile(rb"\s")
LARGEST_INDEX = 2**53
"""Whole numbers up to here are exact in float64."""


def parse_floats(text: bytes, *, what: str, where: str) -> Floats:
    """
    Read all numbers of a text.

    Parameters
    ----------
    text
        Numbers parted by white space.
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
    parts = [parse_words(words, what=what, where=where) for words in _word_lists(text)]
    return np.concatenate(parts) if parts else np.zeros(0)


def parse_integers(text: bytes, *, what: str, where: str) -> Ints:
    """
    Read all whole numbers of a text.

    Parameters
    ----------
    text
        Whole numbers parted by white space.
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
        parts = [
            np.array(_convert(words, int, what=what, where=where), dtype=np.int64)
            for words in _word_lists(text.replace(b"_", b"?"))
        ]
    except OverflowError:
        raise FileRefusal(f"{what}: a number has more than 64 bits", where, DAMAGED) from None
    return np.concatenate(parts) if parts else np.zeros(0, dtype=np.int64)


def parse_words(words: list[bytes], *, what: str, where: str) -> Floats:
    """Numbers of a list of words, each a number, or a FileRefusal."""
    if b"_" in b"".join(words):
        words = [word.replace(b"_", b"?") for word in words]  # Python reads 1_0 as 10
    return np.array(_convert(words, float, what=what, where=where), dtype=np.float64)


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


def as_doubles(values: NDArray[Any]) -> Floats:
    """Numbers of any type as float64; a signalling NaN becomes a plain one, refused later."""
    with np.errstate(invalid="ignore"):
        return values.astype(np.float64)


def shown(word: bytes) -> str:
    """A word of the file fit for a message: short, printable."""
    text = word[:N_SHOWN_LETTERS].decode("ascii", "replace")
    return "".join(c if c.isprintable() else "?" for c in text)


def _word_lists(text: bytes) -> Iterator[list[bytes]]:
    """Words of a text in lists of bounded length: a list of all would take many times its bytes."""
    at = 0
    while at < len(text):
        stop = at + CHUNK_BYTES
        if stop < len(text):
            found = _SPACE.search(text, stop)
            stop = found.start() if found else len(text)
        words = text[at:stop].split()
        if words:
            yield words
        at = stop


def _convert(
    words: list[bytes], kind: type[float] | type[int], *, what: str, where: str
) -> list[float] | list[int]:
    """Numbers of words; one that is no number is refused by its own text."""
    try:
        values = list(map(kind, words))
    except ValueError:
        odd = next((word for word in words if not _is_number(word, kind)), b"")
    else:
        return values
    need = "a number" if kind is float else "a whole number"
    raise FileRefusal(f"{what}: not a number (got '{shown(odd)}', need {need})", where, DAMAGED)


def _is_number(word: bytes, kind: type[float] | type[int]) -> bool:
    """Whether a word reads as a number."""
    try:
        kind(word)
    except ValueError:
        return False
    return True
