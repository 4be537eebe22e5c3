"""A closed triangle surface round a solid of boxes: one vertex for each cell that it passes."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

from rimwright.anatomy import Ints, Points


@njit(cache=True, nogil=True)
def _vertices(inside, field, level, number, points):  # type: ignore[no-untyped-def]
    """A vertex in every cell with boxes on both sides: the mean of its edges' crossings."""
    nz, ny, nx = inside.shape
    n = 0
    for k in range(nz - 1):
        for j in range(ny - 1):
            for i in range(nx - 1):
                count = 0
                for corner in range(8):
                    count += inside[k + (corner & 1), j + (corner >> 1 & 1), i + (corner >> 2)]
                if count == 0 or count == 8:
                    number[k, j, i] = -1
                    continue
                z = y = x = 0.0
                crossings = 0
                for corner in range(8):
                    dz, dy, dx = corner & 1, corner >> 1 & 1, corner >> 2
                    here = inside[k + dz, j + dy, i + dx]
                    a = field[k + dz, j + dy, i + dx]
                    for axis in range(3):
                        ez, ey, ex = dz, dy, dx
                        if axis == 0:
                            if dz:
                                continue
                            ez = 1
                        elif axis == 1:
                            if dy:
                                continue
                            ey = 1
                        else:
                            if dx:
                                continue
                            ex = 1
                        if inside[k + ez, j + ey, i + ex] == here:
                            continue
                        b = field[k + ez, j + ey, i + ex]
                        share = 0.5
                        if (a - level) * (b - level) < 0.0:
                            share = (level - a) / (b - a)
                        z += dz + share * (ez - dz)
                        y += dy + share * (ey - dy)
                        x += dx + share * (ex - dx)
                        crossings += 1
                points[n, 0] = k + z / crossings
                points[n, 1] = j + y / crossings
                points[n, 2] = i + x / crossings
                number[k, j, i] = n
                n += 1
    return n


@njit(cache=True, nogil=True)
def _quads(inside, number, quads):  # type: ignore[no-untyped-def]
    """A quad for each pair of neighbouring boxes of which one is inside, turned outward."""
    nz, ny, nx = inside.shape
    n = 0
    for k in range(1, nz - 1):
        for j in range(1, ny - 1):
            for i in range(1, nx - 1):
                here = inside[k, j, i]
                if inside[k + 1, j, i] != here:
                    a = number[k, j - 1, i - 1]
                    b = number[k, j - 1, i]
                    c = number[k, j, i]
                    d = number[k, j, i - 1]
                    quads[n] = (a, b, c, d) if here else (a, d, c, b)
                    n += 1
                if inside[k, j + 1, i] != here:
                    a = number[k - 1, j, i - 1]
                    b = number[k, j, i - 1]
                    c = number[k, j, i]
                    d = number[k - 1, j, i]
                    quads[n] = (a, b, c, d) if here else (a, d, c, b)
                    n += 1
                if inside[k, j, i + 1] != here:
                    a = number[k - 1, j - 1, i]
                    b = number[k - 1, j, i]
                    c = number[k, j, i]
                    d = number[k, j - 1, i]
                    quads[n] = (a, b, c, d) if here else (a, d, c, b)
                    n += 1
    return n


def wrap_solid(
    inside: npt.NDArray[np.bool_], field: npt.NDArray[np.float32], level: float
) -> tuple[Points, Ints]:
    """
    Wrap a solid in quads.

    Parameters
    ----------
    inside
        (nz, ny, nx) bool, free boxes on every face; well composed, so that the surface is a
        manifold.
    field, level
        (nz, ny, nx) and the value its crossings are placed at between boxes; halfway where both
        boxes lie on one side of it.

    Returns
    -------
    points, quads
        (n, 3) fractional indices (z, y, x) and (m, 4), counter-clockwise from outside in a
        right-handed (x, y, z).
    """
    number = np.full(inside.shape, -1, np.int64)
    padded = np.count_nonzero(inside[1:] != inside[:-1])
    room = 2 * (
        padded
        + np.count_nonzero(inside[:, 1:] != inside[:, :-1])
        + np.count_nonzero(inside[:, :, 1:] != inside[:, :, :-1])
    )
    points = np.empty((room + 8, 3), np.float64)
    n = _vertices(inside, np.ascontiguousarray(field, np.float32), float(level), number, points)
    quads = np.empty((room // 2 + 8, 4), np.int64)
    m = _quads(inside, number, quads)
    return points[:n].copy(), quads[:m].copy()


def split_quads(points_mm: Points, quads: Ints) -> Ints:
    """Cut every quad along its shorter diagonal, (2 m, 3)."""
    first = np.linalg.norm(points_mm[quads[:, 0]] - points_mm[quads[:, 2]], axis=1)
    second = np.linalg.norm(points_mm[quads[:, 1]] - points_mm[quads[:, 3]], axis=1)
    along = first <= second
    a, b, c, d = quads.T
    one = np.where(along[:, None], np.stack([a, b, c], 1), np.stack([a, b, d], 1))
    two = np.where(along[:, None], np.stack([a, c, d], 1), np.stack([b, c, d], 1))
    return np.concatenate([one, two])
