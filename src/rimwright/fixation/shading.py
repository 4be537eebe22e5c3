"""Which drill directions fit at an entry: every point of bone surface shades a cap of them.

A drill is the segment from t0 to L along its axis (a capsule of the drill's radius, so that its
flat tip is judged by the round one that holds it: the stricter of the two). Seen from the entry,
a surface point at distance ρ comes nearer to that segment than R exactly when the direction lies
within a cap about the point whose half-angle α depends on ρ alone:

    side of the drill   cos α = √(ρ² − R²) / ρ           where t0 <= √(ρ² − R²) <= L
    its tip             cos α = (ρ² + L² − R²) / (2ρL)    where √(ρ² − R²) > L
    where it begins     cos α = (ρ² + t0² − R²) / (2ρt0)  where √(ρ² − R²) < t0

So one product and one comparison judge a direction against a point; no distance field is needed.
A patch of surface (point c, radius e) surely blocks what c blocks at R, and surely lets pass what
c lets pass at R + e. Only what lies between is measured exactly against the patch's triangles.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from rimwright.fixation.triangle_distance import ray_triangle_mm, segment_triangle_mm2
from rimwright.fixation.triangle_tree import STACK, box_point_mm2

JOINT = 1
CORTEX = 2
OLD_ANCHOR = 4
LEAVES_BONE = 8

COSINE_SLACK = 1e-6
"""Slack of the single-precision comparison of two cosines, above its rounding of 2e-7."""
SKIN_MM = 0.05
"""Crossings of the bone surface nearer to the entry than this are the entry itself, mm."""
NEVER = 2.0
ALWAYS = -2.0


@njit(cache=True, nogil=True)
def cap_cosine(rho, radius, start, end):  # type: ignore[no-untyped-def]
    """Cosine of the half-angle of the cap that a point at distance rho shades.

    Above 1: no direction; below −1: every direction.
    """
    square = rho * rho - radius * radius
    along = np.sqrt(square) if square > 0.0 else -1.0
    if along >= start and along > 0.0:
        if along <= end:
            return along / rho
        return (rho * rho + end * end - radius * radius) / (2.0 * rho * end)
    if start <= 0.0:
        return ALWAYS
    if rho < 1e-9:
        return ALWAYS if radius > start else NEVER
    return (rho * rho + start * start - radius * radius) / (2.0 * rho * start)


@njit(cache=True, nogil=True)
def gather_patches(entry, reach, box, right, patch_first, patch_mm, patch_radius, out):  # type: ignore[no-untyped-def]
    """Numbers of the patches that come within reach of the entry; returns how many."""
    n = 0
    n_found = 0
    stack = np.empty(STACK, dtype=np.int64)
    if len(right):
        stack[0] = 0
        n = 1
    while n:
        n -= 1
        b = stack[n]
        if box_point_mm2(box, b, entry[0], entry[1], entry[2]) > reach * reach:
            continue
        if patch_first[b, 0] >= 0:
            for p in range(patch_first[b, 0], patch_first[b, 1]):
                x = patch_mm[p, 0] - entry[0]
                y = patch_mm[p, 1] - entry[1]
                z = patch_mm[p, 2] - entry[2]
                limit = reach + patch_radius[p]
                if x * x + y * y + z * z <= limit * limit:
                    out[n_found] = p
                    n_found += 1
        else:
            stack[n], stack[n + 1] = right[b], b + 1
            n += 2
    return n_found


@njit(cache=True, nogil=True)
def _shade(qx, qy, qz, sure, maybe, dx, dy, dz, blocked, doubt):  # type: ignore[no-untyped-def]
    """Raise each direction's largest excess of cosine over the two caps of one patch."""
    for k in range(len(dx)):
        s = qx * dx[k] + qy * dy[k] + qz * dz[k]
        b = s - sure
        blocked[k] = b if b > blocked[k] else blocked[k]
        m = s - maybe
        doubt[k] = m if m > doubt[k] else doubt[k]


@njit(cache=True, nogil=True)
def _shade_set(entry, found, n, points, radii, radius, start, end, dx, dy, dz, blocked, doubt):  # type: ignore[no-untyped-def]
    """Shade by every patch found of one side of the bone."""
    for i in range(n):
        p = found[i]
        x = points[p, 0] - entry[0]
        y = points[p, 1] - entry[1]
        z = points[p, 2] - entry[2]
        rho = np.sqrt(x * x + y * y + z * z)
        maybe = cap_cosine(rho, radius + radii[p], start, end)
        if maybe > 1.0 + COSINE_SLACK:
            continue
        sure = cap_cosine(rho, radius, start, end)
        scale = 1.0 / max(rho, 1e-9)
        _shade(
            np.float32(x * scale),
            np.float32(y * scale),
            np.float32(z * scale),
            np.float32(sure + COSINE_SLACK),
            np.float32(maybe - COSINE_SLACK),
            dx,
            dy,
            dz,
            blocked,
            doubt,
        )


@njit(cache=True, nogil=True)
def _clear_of_plane(entry, dx, dy, dz, start, end, c, limit):  # type: ignore[no-untyped-def]
    """Whether the segment stays on one side of a triangle's plane, farther than √limit from it."""
    e1x, e1y, e1z = c[3] - c[0], c[4] - c[1], c[5] - c[2]
    e2x, e2y, e2z = c[6] - c[0], c[7] - c[1], c[8] - c[2]
    nx = e1y * e2z - e1z * e2y
    ny = e1z * e2x - e1x * e2z
    nz = e1x * e2y - e1y * e2x
    base = nx * (entry[0] - c[0]) + ny * (entry[1] - c[1]) + nz * (entry[2] - c[2])
    rate = nx * dx + ny * dy + nz * dz
    low = base + start * rate
    high = base + end * rate
    if low * high <= 0.0:
        return False
    return min(low * low, high * high) >= limit * (nx * nx + ny * ny + nz * nz)


@njit(cache=True, nogil=True)
def _measure_doubtful(
    entry, open_k, open_x, open_y, open_z, n_open, found, n_found, points, radii, spans, corners,
    radius, start, end, flag, blocked,
):  # fmt: skip  # type: ignore[no-untyped-def]
    """Measure against triangles what the caps left open; sets blocked[k] of directions touched.

    Patch by patch, so that one pass of products over all open directions passes a patch by.
    A radius of 0 asks whether the axis crosses the surface between the entry's skin and `end`.
    """
    limit = radius * radius
    length = end - start
    for i in range(n_found):
        p = found[i]
        x = points[p, 0] - entry[0]
        y = points[p, 1] - entry[1]
        z = points[p, 2] - entry[2]
        rho = np.sqrt(x * x + y * y + z * z)
        if radius > 0.0:
            cosine = cap_cosine(rho, radius + radii[p], start, end)
        elif rho > end + radii[p]:
            continue
        elif rho > radii[p]:
            cosine = np.sqrt(1.0 - (radii[p] / rho) ** 2)
        else:
            cosine = ALWAYS
        if cosine > 1.0 + COSINE_SLACK:
            continue
        scale = 1.0 / max(rho, 1e-9)
        qx, qy, qz = np.float32(x * scale), np.float32(y * scale), np.float32(z * scale)
        maybe = np.float32(cosine - COSINE_SLACK)
        nearest = np.float32(-4.0)
        for k in range(n_open):
            s = qx * open_x[k] + qy * open_y[k] + qz * open_z[k]
            nearest = s if s > nearest else nearest
        if nearest <= maybe:
            continue
        for k in range(n_open):
            if blocked[open_k[k]] != 0:
                continue
            if qx * open_x[k] + qy * open_y[k] + qz * open_z[k] <= maybe:
                continue
            dx, dy, dz = np.float64(open_x[k]), np.float64(open_y[k]), np.float64(open_z[k])
            for t in range(spans[p, 0], spans[p, 1]):
                c = corners[t]
                if radius > 0.0:
                    touched = not _clear_of_plane(entry, dx, dy, dz, start, end, c, limit) and (
                        segment_triangle_mm2(
                            entry[0] + start * dx,
                            entry[1] + start * dy,
                            entry[2] + start * dz,
                            dx,
                            dy,
                            dz,
                            length,
                            c[0],
                            c[1],
                            c[2],
                            c[3],
                            c[4],
                            c[5],
                            c[6],
                            c[7],
                            c[8],
                        )
                        < limit
                    )
                else:
                    hit = ray_triangle_mm(
                        entry[0],
                        entry[1],
                        entry[2],
                        dx,
                        dy,
                        dz,
                        c[0],
                        c[1],
                        c[2],
                        c[3],
                        c[4],
                        c[5],
                        c[6],
                        c[7],
                        c[8],
                    )
                    touched = SKIN_MM < hit <= end
                if touched:
                    blocked[open_k[k]] |= flag
                    break


@njit(cache=True, nogil=True)
def _gather_open(flags, doubt, dx, dy, dz, open_k, open_x, open_y, open_z):  # type: ignore[no-untyped-def]
    """List the directions that nothing blocks yet and that are in doubt; returns how many."""
    n = 0
    for k in range(len(dx)):
        if flags[k] == 0 and doubt[k] > 0.0:
            open_k[n] = k
            open_x[n], open_y[n], open_z[n] = dx[k], dy[k], dz[k]
            n += 1
    return n


@njit(cache=True, nogil=True)
def judge_entries(
    entries,
    normals,
    fan_of,
    fans,
    first,
    past,
    joint,
    cortex,
    radius_joint,
    radius_cortex,
    cortex_from,
    depth,
    old_points,
    old_radii,
    verdict,
):  # type: ignore[no-untyped-def]
    """Fill verdict[entry, direction] with what blocks it; 0 fits.

    entries (n, 3) and normals (n, 3) of the outer face there; fan_of (n,) which fan of directions
    each takes; fans (f, 3, k) single precision; joint and cortex are the tree arrays
    (corners, box, right, patch_first, patch_mm, patch_radius, patch_span).
    """
    j_corners, j_box, j_right, j_first, j_points, j_radii, j_spans = joint
    c_corners, c_box, c_right, c_first, c_points, c_radii, c_spans = cortex
    n_directions = fans.shape[2]
    near_joint = np.empty(len(j_points), dtype=np.int64)
    near_cortex = np.empty(len(c_points), dtype=np.int64)
    blocked = np.empty((3, n_directions), dtype=np.float32)
    doubt = np.empty((3, n_directions), dtype=np.float32)
    every = np.ones(n_directions, dtype=np.float32)
    open_k = np.empty(n_directions, dtype=np.int64)
    ox = np.empty(n_directions, dtype=np.float32)
    oy = np.empty(n_directions, dtype=np.float32)
    oz = np.empty(n_directions, dtype=np.float32)
    for e in range(first, past):
        entry = entries[e]
        flags = verdict[e]
        dx, dy, dz = fans[fan_of[e], 0], fans[fan_of[e], 1], fans[fan_of[e], 2]
        blocked[:] = np.float32(-4.0)
        doubt[:] = np.float32(-4.0)
        n_joint = gather_patches(
            entry, depth + radius_joint, j_box, j_right, j_first, j_points, j_radii, near_joint
        )
        n_cortex = gather_patches(
            entry, depth + radius_cortex, c_box, c_right, c_first, c_points, c_radii, near_cortex
        )
        _shade_set(
            entry, near_joint, n_joint, j_points, j_radii, radius_joint, 0.0, depth,
            dx, dy, dz, blocked[0], doubt[0],
        )  # fmt: skip
        _shade_set(
            entry, near_cortex, n_cortex, c_points, c_radii, radius_cortex, cortex_from, depth,
            dx, dy, dz, blocked[1], doubt[1],
        )  # fmt: skip
        _shade_old(entry, old_points, old_radii, depth, dx, dy, dz, blocked[2], doubt[2])
        for k in range(n_directions):
            found = 0
            if blocked[0, k] > 0.0:
                found |= JOINT
            if blocked[1, k] > 0.0:
                found |= CORTEX
            if blocked[2, k] > 0.0:
                found |= OLD_ANCHOR
            if dx[k] * normals[e, 0] + dy[k] * normals[e, 1] + dz[k] * normals[e, 2] >= 0.0:
                found |= LEAVES_BONE
            flags[k] = found
        n_open = _gather_open(flags, doubt[0], dx, dy, dz, open_k, ox, oy, oz)
        _measure_doubtful(
            entry, open_k, ox, oy, oz, n_open, near_joint, n_joint, j_points, j_radii, j_spans,
            j_corners, radius_joint, 0.0, depth, JOINT, flags,
        )  # fmt: skip
        n_open = _gather_open(flags, doubt[1], dx, dy, dz, open_k, ox, oy, oz)
        _measure_doubtful(
            entry, open_k, ox, oy, oz, n_open, near_cortex, n_cortex, c_points, c_radii, c_spans,
            c_corners, radius_cortex, cortex_from, depth, CORTEX, flags,
        )  # fmt: skip
        n_open = _gather_open(flags, every, dx, dy, dz, open_k, ox, oy, oz)
        _measure_doubtful(
            entry, open_k, ox, oy, oz, n_open, near_cortex, n_cortex, c_points, c_radii, c_spans,
            c_corners, 0.0, 0.0, cortex_from, LEAVES_BONE, flags,
        )  # fmt: skip


@njit(cache=True, nogil=True)
def _shade_old(entry, old_points, old_radii, depth, dx, dy, dz, blocked, doubt):  # type: ignore[no-untyped-def]
    """Shade by the points of old anchors, which have no patches behind them."""
    for o in range(len(old_points)):
        x = old_points[o, 0] - entry[0]
        y = old_points[o, 1] - entry[1]
        z = old_points[o, 2] - entry[2]
        rho = np.sqrt(x * x + y * y + z * z)
        cosine = cap_cosine(rho, old_radii[o], 0.0, depth)
        if cosine <= 1.0:
            scale = 1.0 / max(rho, 1e-9)
            limit = np.float32(cosine - COSINE_SLACK)
            _shade(
                np.float32(x * scale), np.float32(y * scale), np.float32(z * scale),
                limit, limit, dx, dy, dz, blocked, doubt,
            )  # fmt: skip
