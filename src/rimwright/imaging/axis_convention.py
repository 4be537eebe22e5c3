"""Which way the axes of a file point: 48 three-letter conventions, and y-up.

A letter names the direction in which a coordinate grows: L left, R right, P posterior,
A anterior, S superior, I inferior. LPS is the image frame of this package.
"""

from __future__ import annotations

import itertools
import re

import numpy as np

from rimwright.anatomy import Floats, Points
from rimwright.errors import CaseRefusal

LPS = "LPS"
Y_UP = "y-up"
Y_UP_LETTERS = "LSA"
"""+y up, the front of the thing faces +z, +x is its left.
Source: glTF 2.0 specification, section 3.4 (coordinate system and units), 2021."""

_LETTER_ROW = {"L": (0, 1.0), "R": (0, -1.0), "P": (1, 1.0), "A": (1, -1.0)} | {
    "S": (2, 1.0),
    "I": (2, -1.0),
}
_STATED = re.compile(rb"\bSPACE\s*[=:]\s*([LRPASI]{3})\b")


def axis_conventions() -> tuple[str, ...]:
    """
    Every convention that a file may be in.

    Returns
    -------
    tuple[str, ...]
        The 48 three-letter words in alphabetical order, then 'y-up'.

    Examples
    --------
    >>> len(axis_conventions()), axis_conventions()[-1]
    (49, 'y-up')
    """
    words = {
        "".join(letters)
        for pairs in itertools.permutations(("LR", "PA", "SI"))
        for letters in itertools.product(*pairs)
    }
    return (*sorted(words), Y_UP)


def name_axes(text: str) -> str:
    """
    Bring what a user wrote to the spelling used here.

    Parameters
    ----------
    text
        Three letters in any case, or 'y-up'.

    Returns
    -------
    str
        One of `axis_conventions`.

    Raises
    ------
    CaseRefusal
        Not a convention.

    Examples
    --------
    >>> name_axes("ras")
    'RAS'
    """
    word = text.strip()
    if word.lower() in {Y_UP, "yup", "y_up"}:
        return Y_UP
    if word.upper() in axis_conventions():
        return word.upper()
    raise CaseRefusal(
        f"not an axis convention (got '{word[:20]}', need one letter each of L/R, P/A and S/I, "
        f"or {Y_UP})",
        "axes",
        "Write LPS, RAS or the three directions in which x, y and z grow",
    )


def lps_from(axes: str) -> Floats:
    """
    Matrix that takes coordinates of a convention to LPS.

    Parameters
    ----------
    axes
        One of `axis_conventions`.

    Returns
    -------
    Floats
        (3, 3), one ±1 in each row and column; determinant −1 where the conversion mirrors.
    """
    matrix = np.zeros((3, 3))
    for column, letter in enumerate(Y_UP_LETTERS if axes == Y_UP else axes):
        row, sign = _LETTER_ROW[letter]
        matrix[row, column] = sign
    return matrix


def to_lps(points: Points, *, axes: str) -> Points:
    """
    Turn points into LPS.

    Parameters
    ----------
    points
        (n, 3), any unit.
    axes
        Convention they are in.

    Returns
    -------
    Points
        (n, 3), the same unit; exact, columns are only swapped and negated.
    """
    turned = np.empty_like(points)
    for column, letter in enumerate(Y_UP_LETTERS if axes == Y_UP else axes):
        row, sign = _LETTER_ROW[letter]
        turned[:, row] = points[:, column] if sign > 0 else -points[:, column]
    return turned


def is_mirror(axes: str) -> bool:
    """Whether the conversion to LPS mirrors, so that triangles turn inside out."""
    return bool(np.linalg.det(lps_from(axes)) < 0)


def find_stated_axes(header: bytes) -> str | None:
    """Axes that a header states as SPACE=RAS or the like; None where it states none."""
    found = _STATED.search(header)
    if found is None:
        return None
    word = found.group(1).decode("ascii")
    return word if word in axis_conventions() else None
