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
CLOSE_RAD = float(np.radians(0.2))
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
    """The same before `start`, where the axis may come near but not pass; −1 for nothing."""
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
def _passes_by(along, rho, radius, start, end, best):  # type: ignore[no-untyped-def]
    """Whether a point's cap surely stays farther than `best` from a direction `along` from it.

    cos(α + best) needs no arc cosine.
    """
    cosine = cap_cosine(rho, radius, start, end)
    if cosine > 1.0:
        return True
    cos_best = np.cos(best)
    if cosine <= -cos_best:
        return False
    return along < cosine * cos_best - np.sqrt(1.0 - cosine * cosine) * np.sin(best)


@njit(cache=True, nogil=True)
def _look_over(  # type: ignore[no-untyped-def]
    entry, d, found, n_found, points, radii, radius, start, end, best, kept, lowest, n_kept
):  # fmt: skip
    """Keep the patches that may hold less than `best`, with their lower bounds; lower `best`."""
    for i in range(n_found):
        p = found[i]
        x = points[p, 0] - entry[0]
        y = points[p, 1] - entry[1]
        z = points[p, 2] - entry[2]
        rho = np.sqrt(x * x + y * y + z * z)
        along = (x * d[0] + y * d[1] + z * d[2]) / max(rho, 1e-9)
        at_entry = start > 0.0 and rho - radii[p] < start
        if not at_entry and _passes_by(along, rho, radius + radii[p], start, end, best):
            continue
        least, most = _cap_bounds(rho, radii[p], radius, start, end)
        if at_entry:
            cross_least, cross_most = _crossing_bounds(rho, radii[p], start)
            least, most = max(least, cross_least), max(most, cross_most)
        if most < 0.0:
            continue
        off = _angle(along)
        if off - most >= best:
            continue
        if least >= 0.0:
            best = min(best, off - least)
        kept[n_kept] = p
        lowest[n_kept] = off - most
        n_kept += 1
    return best, n_kept


@njit(cache=True, nogil=True)
def _divide(entry, d, kept, lowest, first, past, spans, corners, radius, start, end, best, pieces):  # type: ignore[no-untyped-def]
    """Lower `best` by the triangles of the patches kept."""
    order = np.argsort(lowest[first:past])
    for i in order:
        if lowest[first + i] >= best:
            break
        p = kept[first + i]
        for t in range(spans[p, 0], spans[p, 1]):
            best = _lowest_of_triangle(entry, d, corners[t], radius, start, end, best, pieces)
    return best


@njit(cache=True, nogil=True)
def bound_cones(  # type: ignore[no-untyped-def]
    entries, normals, directions, first, past, joint, cortex,
    radius_joint, radius_cortex, cortex_from, depth, old_points, old_radii, half_angles,
):  # fmt: skip
    """The largest cone about each direction, a lower bound, radians; negative where none.

    Arrays as in `shading.judge_entries`.
    """
    near_joint = np.empty(len(joint[4]), dtype=np.int64)
    near_cortex = np.empty(len(cortex[4]), dtype=np.int64)
    size = len(joint[4]) + len(cortex[4])
    kept = np.empty(size, dtype=np.int64)
    lowest = np.empty(size)
    pieces = np.empty((_PIECES, 9))
    for e in range(first, past):
        entry, d = entries[e], directions[e]
        inward = -(d[0] * normals[e, 0] + d[1] * normals[e, 1] + d[2] * normals[e, 2])
        best = np.arcsin(min(max(inward, -1.0), 1.0))
        for o in range(len(old_points)):
            x = old_points[o, 0] - entry[0]
            y = old_points[o, 1] - entry[1]
            z = old_points[o, 2] - entry[2]
            rho = np.sqrt(x * x + y * y + z * z)
            cap = _cap_angle(rho, old_radii[o], 0.0, depth)
            if cap >= 0.0:
                off = _angle((x * d[0] + y * d[1] + z * d[2]) / max(rho, 1e-9))
                best = min(best, off - cap)
        n_joint = gather_patches(
            entry, depth + radius_joint, joint[1], joint[2], joint[3], joint[4], joint[5],
            near_joint,
        )  # fmt: skip
        n_cortex = gather_patches(
            entry, depth + radius_cortex, cortex[1], cortex[2], cortex[3], cortex[4], cortex[5],
            near_cortex,
        )  # fmt: skip
        best, n = _look_over(
            entry, d, near_joint, n_joint, joint[4], joint[5], radius_joint, 0.0, depth,
            best, kept, lowest, 0,
        )  # fmt: skip
        best, n_all = _look_over(
            entry, d, near_cortex, n_cortex, cortex[4], cortex[5], radius_cortex, cortex_from,
            depth, best, kept, lowest, n,
        )  # fmt: skip
        best = _divide(
            entry, d, kept, lowest, 0, n, joint[6], joint[0], radius_joint, 0.0, depth, best,
            pieces,
        )  # fmt: skip
        half_angles[e] = _divide(
            entry, d, kept, lowest, n, n_all, cortex[6], cortex[0], radius_cortex, cortex_from,
            depth, best, pieces,
        )  # fmt: skip
