"""Exact distance to a surface, for the cells of a block that lie near it."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

from rimwright.anatomy.arrays import Floats, Ints

LEAST_AREA_MM2 = 1e-9
"""A triangle of less area is a line, which its neighbours hold too, mm²."""


@njit(cache=True, nogil=True)
def measure_band(
    corners_mm: Floats,
    chosen: Ints,
    cell_mm: Floats,
    first: Ints,
    inside: npt.NDArray[np.uint8],
    reach_mm: Floats,
    distance2_mm2: npt.NDArray[np.float32],
    width2_mm2: npt.NDArray[np.float32],
) -> None:
    """
    Write the squared distance to the nearest triangle into every cell within reach.

    Parameters
    ----------
    corners_mm
        (m, 3, 3), mm, along the axes of the grid; the middle of cell 0 is the origin.
    chosen
        Triangles that may be within reach of the block.
    cell_mm
        (3,), size of a cell, mm.
    first
        (3,), index of the block's first cell.
    inside
        Whether a cell's middle lies inside the surface.
    reach_mm
        (2,), how far inside and how far outside distances are wanted, mm; the first is not the
        smaller one.
    distance2_mm2
        Of the block, written where a distance within reach is smaller than what stands there.
    width2_mm2
        Of the block, written with it: square of the width over which a cell passes through the
        surface, Σ (cell · direction)², mm².
    """
    direction = np.zeros(3)
    p = np.zeros(3)
    for index in chosen:
        a, b, c = corners_mm[index, 0], corners_mm[index, 1], corners_mm[index, 2]
        normal = np.cross(b - a, c - a)
        area = np.sqrt(np.sum(normal * normal))
        if area < LEAST_AREA_MM2:
            continue
        normal /= area
        reach = reach_mm[0]
        low = np.zeros(3, dtype=np.int64)
        high = np.zeros(3, dtype=np.int64)
        for axis in range(3):
            least = min(a[axis], b[axis], c[axis]) - reach
            most = max(a[axis], b[axis], c[axis]) + reach
            low[axis] = max(int(np.ceil(least / cell_mm[axis])) - first[axis], 0)
            high[axis] = min(
                int(np.floor(most / cell_mm[axis])) - first[axis], inside.shape[axis] - 1
            )
        for k in range(low[2], high[2] + 1):
            p[2] = (k + first[2]) * cell_mm[2]
            for j in range(low[1], high[1] + 1):
                p[1] = (j + first[1]) * cell_mm[1]
                i_low, i_high = low[0], high[0]
                height = normal[1] * (p[1] - a[1]) + normal[2] * (p[2] - a[2])
                if abs(normal[0]) > 1e-6:
                    one = a[0] + (-reach - height) / normal[0]
                    two = a[0] + (reach - height) / normal[0]
                    i_low = max(i_low, int(np.ceil(min(one, two) / cell_mm[0])) - first[0])
                    i_high = min(i_high, int(np.floor(max(one, two) / cell_mm[0])) - first[0])
                for i in range(i_low, i_high + 1):
                    p[0] = (i + first[0]) * cell_mm[0]
                    to_plane = height + normal[0] * (p[0] - a[0])
                    wanted = reach if inside[i, j, k] else reach_mm[1]
                    bound = min(np.float64(distance2_mm2[i, j, k]), wanted * wanted)
                    if to_plane * to_plane >= bound:
                        continue
                    square = _away(p, a, b, c, direction)
                    if square >= bound:
                        continue
                    distance2_mm2[i, j, k] = square
                    width2 = 0.0
                    if square > 1e-12:
                        for axis in range(3):
                            width2 += (cell_mm[axis] * direction[axis]) ** 2
                        width2 /= square
                    else:
                        for axis in range(3):
                            width2 += (cell_mm[axis] * normal[axis]) ** 2
                    width2_mm2[i, j, k] = width2


@njit(cache=True, nogil=True, inline="always")
def _dot(p: Floats, q: Floats) -> float:
    """Scalar product."""
    return p[0] * q[0] + p[1] * q[1] + p[2] * q[2]


@njit(cache=True, nogil=True)
def _away(p: Floats, a: Floats, b: Floats, c: Floats, direction: Floats) -> float:
    """Squared distance of a point from a triangle; the way from its nearest point is written."""
    ab0, ab1, ab2 = b[0] - a[0], b[1] - a[1], b[2] - a[2]
    ac0, ac1, ac2 = c[0] - a[0], c[1] - a[1], c[2] - a[2]
    ap0, ap1, ap2 = p[0] - a[0], p[1] - a[1], p[2] - a[2]
    # Barycentric weights of the foot of the perpendicular, times the squared double area.
    uu = ab0 * ab0 + ab1 * ab1 + ab2 * ab2
    uv = ab0 * ac0 + ab1 * ac1 + ab2 * ac2
    vv = ac0 * ac0 + ac1 * ac1 + ac2 * ac2
    up = ab0 * ap0 + ab1 * ap1 + ab2 * ap2
    vp = ac0 * ap0 + ac1 * ap1 + ac2 * ap2
    whole = uu * vv - uv * uv
    at_b = vv * up - uv * vp
    at_c = uu * vp - uv * up
    if at_b >= 0.0 and at_c >= 0.0 and at_b + at_c <= whole:
        s, t = at_b / whole, at_c / whole
        direction[0] = ap0 - s * ab0 - t * ac0
        direction[1] = ap1 - s * ab1 - t * ac1
        direction[2] = ap2 - s * ab2 - t * ac2
        return _dot(direction, direction)
    # Outside: the nearest point lies on one of the three sides.
    s = min(max(up / uu, 0.0), 1.0)
    direction[0], direction[1], direction[2] = ap0 - s * ab0, ap1 - s * ab1, ap2 - s * ab2
    best = _dot(direction, direction)
    t = min(max(vp / vv, 0.0), 1.0)
    d0, d1, d2 = ap0 - t * ac0, ap1 - t * ac1, ap2 - t * ac2
    square = d0 * d0 + d1 * d1 + d2 * d2
    if square < best:
        best = square
        direction[0], direction[1], direction[2] = d0, d1, d2
    bc0, bc1, bc2 = ac0 - ab0, ac1 - ab1, ac2 - ab2
    bp0, bp1, bp2 = ap0 - ab0, ap1 - ab1, ap2 - ab2
    side2 = bc0 * bc0 + bc1 * bc1 + bc2 * bc2
    r = min(max((bc0 * bp0 + bc1 * bp1 + bc2 * bp2) / side2, 0.0), 1.0)
    d0, d1, d2 = bp0 - r * bc0, bp1 - r * bc1, bp2 - r * bc2
    square = d0 * d0 + d1 * d1 + d2 * d2
    if square < best:
        best = square
        direction[0], direction[1], direction[2] = d0, d1, d2
    return best
