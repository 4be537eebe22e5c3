"""The largest cone of directions about one: how much aiming error a drill direction tolerates.

With the caps of `shading`, the angle that a direction d may turn in any way before point q stops
it is angle(d, q) − α(ρ). The cone's half-angle is the least of these over all bone surface. It is
bounded from both sides patch by patch, and only patches that could hold the least are divided,
first into triangles, then into quarters, until a piece is small. Planes
that the drill cannot reach settle most of them without. The half-angle
returned is the lower bound, so every direction in the cone does fit.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from rimwright.fixation.shading import cap_cosine, gather_patches

PIECE_MM = 0.02
"""Radius of piece of surface, mm, below which a piece is not divided further if its bounds on the
cap it shades lie within `LOOSE_RAD`. Beside the entry, where caps widen fast, they do not, and
division goes on to `SPECK_MM`."""
SPECK_MM = 0.0005
LOOSE_RAD = float(np.radians(0.3))
NEAR_ENTRY_MM = 0.5
"""Surface nearer to the entry than this is the entry's own and does not count as crossed, mm."""
CLOSE_RAD = float(np.radians(0.05))
"""A piece whose two bounds are this near is not divided further."""
_PIECES = 96


@njit(cache=True, nogil=True)
def _angle(cosine):  # type: ignore[no-untyped-def]
    """Angle of a cosine, rounding past ±1 forgiven."""
    return np.arccos(min(max(cosine, -1.0), 1.0))


@njit(cache=True, nogil=True)
def _cap_angle(rho, radius, start, end):  # type: ignore[no-untyped-def]
    """Half-angle of the cap; −1 where it shades nothing."""
    cosine = cap_cosine(rho, radius, start, end)
    if cosine > 1.0:
        return -1.0
    return _angle(cosine)


@njit(cache=True, nogil=True)
def _cap_bounds(rho, spread, radius, start, end):  # type: ignore[no-untyped-def]
    """Half-angles that a piece shades at least and at most; −1 for nothing."""
    least = _cap_angle(rho, radius, start, end)
    most = _cap_angle(rho, radius + spread, start, end)
    return least, most


@njit(cache=True, nogil=True)
def _crossing_bounds(rho, spread, start):  # type: ignore[no-untyped-def]
    """The same before `start`, where the axis may come near but not pass through; −1 for nothing."""
    if rho - spread >= start or rho + spread <= NEAR_ENTRY_MM:
        return -1.0, -1.0
    least = 0.0 if NEAR_ENTRY_MM < rho < start else -1.0
    return least, np.arcsin(min(1.0, spread / max(rho, 1e-9)))


@njit(cache=True, nogil=True)
def _plane_angles(entry, d, c, radius, start, end):  # type: ignore[no-untyped-def]
    """Angles d may turn before the drill, and before its axis, reaches a triangle's plane.

    With n the plane's normal at angle φ from d and p its distance from the entry along n, turning
    by h brings the drill's far end nearest: L·cos(φ − h) + R = p, or, where the plane is left
    behind, its beginning: t0·cos(φ − h) + R = p. −π where it is through already.
    """
    e1x, e1y, e1z = c[3] - c[0], c[4] - c[1], c[5] - c[2]
    e2x, e2y, e2z = c[6] - c[0], c[7] - c[1], c[8] - c[2]
    nx = e1y * e2z - e1z * e2y
    ny = e1z * e2x - e1x * e2z
    nz = e1x * e2y - e1y * e2x
    size = np.sqrt(nx * nx + ny * ny + nz * nz)
    drill = -np.pi
    axis = -np.pi
    if size < 1e-12:
        return drill, axis
    p = (nx * (c[0] - entry[0]) + ny * (c[1] - entry[1]) + nz * (c[2] - entry[2])) / size
    cosine = (nx * d[0] + ny * d[1] + nz * d[2]) / size
    for turn in range(2):
        if turn == 1:
            p, cosine = -p, -cosine
        gap = p - radius
        if gap >= end:
            drill = np.pi
        elif gap >= 0.0:
            drill = max(drill, _angle(cosine) - _angle(gap / end))
        elif start > 0.0 and gap > -start:
            drill = max(drill, _angle(cosine) - _angle(gap / start))
        if start > 0.0 and p >= -1e-9:
            axis = max(axis, np.pi if p >= start else _angle(cosine) - _angle(p / start))
    return drill, axis


@njit(cache=True, nogil=True)
def _lowest_of_triangle(entry, d, corners, radius, start, end, best, pieces):  # type: ignore[no-untyped-def]
    """Lower `best` to the triangle's own bound where that is lower."""
    plane, axis_plane = _plane_angles(entry, d, corners, radius, start, end)
    if plane >= best and (start <= 0.0 or axis_plane >= best):
        return best
    for k in range(9):
        pieces[0, k] = corners[k]
    n = 1
    while n:
        n -= 1
        ax, ay, az, bx, by, bz, cx, cy, cz = (
            pieces[n, 0], pieces[n, 1], pieces[n, 2], pieces[n, 3], pieces[n, 4],
            pieces[n, 5], pieces[n, 6], pieces[n, 7], pieces[n, 8],
        )  # fmt: skip
        x, y, z = (ax + bx + cx) / 3.0, (ay + by + cy) / 3.0, (az + bz + cz) / 3.0
        spread = max(
            (ax - x) ** 2 + (ay - y) ** 2 + (az - z) ** 2,
            (bx - x) ** 2 + (by - y) ** 2 + (bz - z) ** 2,
            (cx - x) ** 2 + (cy - y) ** 2 + (cz - z) ** 2,
        )
        spread = np.sqrt(spread)
        x, y, z = x - entry[0], y - entry[1], z - entry[2]
        rho = np.sqrt(x * x + y * y + z * z)
        off = _angle((x * d[0] + y * d[1] + z * d[2]) / max(rho, 1e-9))
        low = np.inf
        high = np.inf
        least, most = _cap_bounds(rho, spread, radius, start, end)
        if most >= 0.0:
            low = max(off - most, plane)
        if least >= 0.0:
            high = off - least
        if start > 0.0:
            cross_least, cross_most = _crossing_bounds(rho, spread, start)
            if cross_most >= 0.0:
                low = min(low, max(off - cross_most, axis_plane))
            if cross_least >= 0.0:
                high = min(high, off - cross_least)
        if low >= best:
            continue
        small = spread <= PIECE_MM and (most - least <= LOOSE_RAD or spread <= SPECK_MM)
        if small or high - low <= CLOSE_RAD or n + 4 > _PIECES:
            best = low
            continue
        best = min(best, high)
        px, py, pz = 0.5 * (ax + bx), 0.5 * (ay + by), 0.5 * (az + bz)
        qx, qy, qz = 0.5 * (bx + cx), 0.5 * (by + cy), 0.5 * (bz + cz)
        rx, ry, rz = 0.5 * (cx + ax), 0.5 * (cy + ay), 0.5 * (cz + az)
        _put(pieces, n, ax, ay, az, px, py, pz, rx, ry, rz)
        _put(pieces, n + 1, px, py, pz, bx, by, bz, qx, qy, qz)
        _put(pieces, n + 2, rx, ry, rz, qx, qy, qz, cx, cy, cz)
        _put(pieces, n + 3, px, py, pz, qx, qy, qz, rx, ry, rz)
        n += 4
    return best


@njit(cache=True, nogil=True)
def _put(pieces, n, ax, ay, az, bx, by, bz, cx, cy, cz):  # type: ignore[no-untyped-def]
    """Write one piece."""
    pieces[n, 0], pieces[n, 1], pieces[n, 2] = ax, ay, az
    pieces[n, 3], pieces[n, 4], pieces[n, 5] = bx, by, bz
    pieces[n, 6], pieces[n, 7], pieces[n, 8] = cx, cy, cz


@njit(cache=True, nogil=True)
def _half_angle(
    entry, d, normal, unit, least, most, lower, span, is_joint, n,
    j_corners, c_corners, radius_joint, radius_cortex, cortex_from, depth, pieces,
):  # fmt: skip  # type: ignore[no-untyped-def]
    """Largest cone about d, radians; negative where d itself does not fit."""
    best = np.arcsin(min(max(-(d[0] * normal[0] + d[1] * normal[1] + d[2] * normal[2]), -1.0), 1.0))
    for i in range(n):
        off = _angle(unit[i, 0] * d[0] + unit[i, 1] * d[1] + unit[i, 2] * d[2])
        lower[i] = off - most[i]
        if least[i] >= 0.0:
            best = min(best, off - least[i])
    for i in range(n):
        if lower[i] >= best:
            continue
        if span[i, 0] < 0:
            best = lower[i]
            continue
        for t in range(span[i, 0], span[i, 1]):
            if is_joint[i]:
                best = _lowest_of_triangle(
                    entry, d, j_corners[t], radius_joint, 0.0, depth, best, pieces
                )
            else:
                best = _lowest_of_triangle(
                    entry, d, c_corners[t], radius_cortex, cortex_from, depth, best, pieces
                )
    return best


@njit(cache=True, nogil=True)
def bound_cones(
    entries, normals, directions, first, past, joint, cortex,
    radius_joint, radius_cortex, cortex_from, depth, old_points, old_radii, half_angles,
):  # fmt: skip  # type: ignore[no-untyped-def]
    """The largest cone about each direction, a lower bound, radians; negative where none.

    Arrays as in `shading.judge_entries`.
    """
    j_corners, j_box, j_right, j_first, j_points, j_radii, j_spans = joint
    c_corners, c_box, c_right, c_first, c_points, c_radii, c_spans = cortex
    near_joint = np.empty(len(j_points), dtype=np.int64)
    near_cortex = np.empty(len(c_points), dtype=np.int64)
    size = len(j_points) + len(c_points) + len(old_points)
    unit = np.empty((size, 3))
    least = np.empty(size)
    most = np.empty(size)
    lower = np.empty(size)
    span = np.empty((size, 2), dtype=np.int64)
    is_joint = np.empty(size, dtype=np.bool_)
    pieces = np.empty((_PIECES, 9))
    for e in range(first, past):
        entry = entries[e]
        n = 0
        n_joint = gather_patches(
            entry, depth + radius_joint, j_box, j_right, j_first, j_points, j_radii, near_joint
        )
        n_cortex = gather_patches(
            entry, depth + radius_cortex, c_box, c_right, c_first, c_points, c_radii, near_cortex
        )
        for k in range(n_joint + n_cortex + len(old_points)):
            if k < n_joint:
                p = near_joint[k]
                x, y, z = j_points[p, 0], j_points[p, 1], j_points[p, 2]
            elif k < n_joint + n_cortex:
                p = near_cortex[k - n_joint]
                x, y, z = c_points[p, 0], c_points[p, 1], c_points[p, 2]
            else:
                p = k - n_joint - n_cortex
                x, y, z = old_points[p, 0], old_points[p, 1], old_points[p, 2]
            x, y, z = x - entry[0], y - entry[1], z - entry[2]
            rho = np.sqrt(x * x + y * y + z * z)
            if k < n_joint:
                low, high = _cap_bounds(rho, j_radii[p], radius_joint, 0.0, depth)
                span[n, 0], span[n, 1] = j_spans[p, 0], j_spans[p, 1]
                is_joint[n] = True
            elif k < n_joint + n_cortex:
                low, high = _cap_bounds(rho, c_radii[p], radius_cortex, cortex_from, depth)
                cross_low, cross_high = _crossing_bounds(rho, c_radii[p], cortex_from)
                low, high = max(low, cross_low), max(high, cross_high)
                span[n, 0], span[n, 1] = c_spans[p, 0], c_spans[p, 1]
                is_joint[n] = False
            else:
                low = _cap_angle(rho, old_radii[p], 0.0, depth)
                high = low
                span[n, 0], span[n, 1] = -1, -1
            if high < 0.0:
                continue
            scale = 1.0 / max(rho, 1e-9)
            unit[n, 0], unit[n, 1], unit[n, 2] = x * scale, y * scale, z * scale
            least[n], most[n] = low, high
            n += 1
        half_angles[e] = _half_angle(
            entry, directions[e], normals[e], unit, least, most, lower, span, is_joint, n,
            j_corners, c_corners, radius_joint, radius_cortex, cortex_from, depth, pieces,
        )  # fmt: skip
