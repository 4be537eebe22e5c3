"""Where the lines of a grid pass through a closed surface."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numba import njit

from rimwright.anatomy.arrays import Floats, Ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LineCrossings:
    """
    Crossings of the grid lines along the first axis with one closed surface.

    Parameters
    ----------
    starts
        (n_lines + 1,), where the crossings of a line begin; line (j, k) is number k · n_j + j.
    places
        Index along the first axis, growing within a line.
    changes
        By how much the winding number grows there; 0 in sum over a line.
    """

    starts: Ints
    places: npt.NDArray[np.float32]
    changes: npt.NDArray[np.int8]


def cross_lines(corners: Floats, *, n_lines: tuple[int, int], is_mirrored: bool) -> LineCrossings:
    """
    Find every crossing of the lines (j, k) with a surface.

    Parameters
    ----------
    corners
        (m, 3, 3), corners of triangles in grid indices.
    n_lines
        Lines along the second and the third axis.
    is_mirrored
        Whether the indices are left-handed, so that outward triangles run clockwise.

    Returns
    -------
    LineCrossings
        Edges are decided the same way for both triangles that share them, so that no line slips
        between two.

    Raises
    ------
    ValueError
        The surface is not closed.
    """
    n_j, n_k = n_lines
    counts = np.zeros(n_j * n_k, dtype=np.int64)
    nothing = np.zeros(0, dtype=np.float32), np.zeros(0, dtype=np.int8)
    _walk(corners, n_j, n_k, counts, np.zeros(1, dtype=np.int64), *nothing, False)
    starts = np.concatenate([[0], np.cumsum(counts)])
    places = np.zeros(starts[-1], dtype=np.float32)
    changes = np.zeros(starts[-1], dtype=np.int8)
    counts[:] = 0
    _walk(corners, n_j, n_k, counts, starts, places, changes, True)
    if is_mirrored:
        changes = -changes
    if not _sort_lines(starts, places, changes):
        raise ValueError("bones: a surface is not closed")
    return LineCrossings(starts=starts, places=places, changes=changes)


@njit(cache=True, nogil=True)
def _walk(
    corners: Floats,
    n_j: int,
    n_k: int,
    counts: Ints,
    starts: Ints,
    places: npt.NDArray[np.float32],
    changes: npt.NDArray[np.int8],
    is_filling: bool,
) -> None:
    """Count the crossings of each line or, with the starts known, write them down."""
    for index in range(corners.shape[0]):
        a, b, c = corners[index, 0], corners[index, 1], corners[index, 2]
        k_first = max(int(np.ceil(min(a[2], b[2], c[2]))), 0)
        k_last = min(int(np.floor(max(a[2], b[2], c[2]))), n_k - 1)
        j_first = max(int(np.ceil(min(a[1], b[1], c[1]))), 0)
        j_last = min(int(np.floor(max(a[1], b[1], c[1]))), n_j - 1)
        if k_first > k_last or j_first > j_last:
            continue
        x_low, x_high = min(a[0], b[0], c[0]), max(a[0], b[0], c[0])
        n0 = (b[1] - a[1]) * (c[2] - a[2]) - (b[2] - a[2]) * (c[1] - a[1])
        n1 = (b[2] - a[2]) * (c[0] - a[0]) - (b[0] - a[0]) * (c[2] - a[2])
        n2 = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
        for k in range(k_first, k_last + 1):
            for j in range(j_first, j_last + 1):
                turns = _turn(a, b, j, k) + _turn(b, c, j, k) + _turn(c, a, j, k)
                if turns == 0:
                    continue
                line = k * n_j + j
                if is_filling:
                    x = x_low
                    if n0 != 0.0:
                        x = a[0] - (n1 * (j - a[1]) + n2 * (k - a[2])) / n0
                    at = starts[line] + counts[line]
                    places[at] = min(max(x, x_low), x_high)
                    changes[at] = -turns
                counts[line] += 1


@njit(cache=True, nogil=True, inline="always")
def _turn(p: Floats, q: Floats, j: int, k: int) -> int:
    """+1 or −1 where the edge passes the half-line from (j, k) along j, upwards or downwards."""
    if (p[2] > k) == (q[2] > k):
        return 0
    # The same arithmetic whichever way the edge runs.
    if p[2] < q[2] or (p[2] == q[2] and p[1] < q[1]):
        low, high = p, q
    else:
        low, high = q, p
    crossing = low[1] + (k - low[2]) / (high[2] - low[2]) * (high[1] - low[1])
    if j >= crossing:
        return 0
    return 1 if q[2] > p[2] else -1


@njit(cache=True, nogil=True)
def _sort_lines(
    starts: Ints, places: npt.NDArray[np.float32], changes: npt.NDArray[np.int8]
) -> bool:
    """Sort each line by place; False where a line does not come back outside."""
    for line in range(len(starts) - 1):
        total = 0
        for at in range(starts[line], starts[line + 1]):
            place, change = places[at], changes[at]
            total += change
            back = at
            while back > starts[line] and places[back - 1] > place:
                places[back] = places[back - 1]
                changes[back] = changes[back - 1]
                back -= 1
            places[back] = place
            changes[back] = change
        if total != 0:
            return False
    return True


@njit(cache=True, nogil=True)
def fill_inside(
    starts: Ints,
    places: npt.NDArray[np.float32],
    changes: npt.NDArray[np.int8],
    n_j: int,
    first: Ints,
    inside: npt.NDArray[np.uint8],
) -> int:
    """
    Mark the cells of a block that lie inside the surface.

    Parameters
    ----------
    starts, places, changes
        Of `LineCrossings`.
    n_j
        Lines along the second axis.
    first
        (3,), index of the block's first cell.
    inside
        (n_i, n_j, n_k) of the block, all 0: 1 is written inside.

    Returns
    -------
    int
        Cells inside.
    """
    n_inside = 0
    for k in range(inside.shape[2]):
        for j in range(inside.shape[1]):
            line = (k + first[2]) * n_j + j + first[1]
            at, end = starts[line], starts[line + 1]
            if at == end:
                continue
            winding = 0
            for i in range(inside.shape[0]):
                while at < end and places[at] < i + first[0]:
                    winding += changes[at]
                    at += 1
                if winding > 0:
                    inside[i, j, k] = 1
                    n_inside += 1
    return n_inside
