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

Each entry is judged in two sweeps. Surface near the entry shades wide caps, so its points alone
block most directions. The few left open are then carried down the tree of triangles: a box whose
sphere shades none of them is passed by with everything in it.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from rimwright.fixation.tree_queries import STACK, box_point_mm2
from rimwright.fixation.triangle_distance import ray_triangle_mm, segment_triangle_mm2

FITS = 0
JOINT = 1
CORTEX = 2
OLD_ANCHOR = 3
LEAVES_BONE = 4

COSINE_SLACK = 1e-6
"""Slack of the single-precision comparison of two cosines, above its rounding of 2e-7."""
SKIN_MM = 0.05
"""Crossings of the bone surface nearer to the entry than this are the entry itself, mm."""
NEAR_MM = 8.0
"""Surface within this of the entry is shaded first, mm; 6 to 10 take the same time."""
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
def _shade(qx, qy, qz, cosine, dx, dy, dz, nearest):  # type: ignore[no-untyped-def]
    """Raise each direction's largest excess of cosine over the cap of one point."""
    for k in range(len(dx)):
        b = qx * dx[k] + qy * dy[k] + qz * dz[k] - cosine
        nearest[k] = b if b > nearest[k] else nearest[k]


@njit(cache=True, nogil=True)
def _shade_near(entry, found, n, points, radius, start, end, dx, dy, dz, nearest):  # type: ignore[no-untyped-def]
    """Shade by the points of the patches found, which lie on the surface itself."""
    for i in range(n):
        p = found[i]
        x = points[p, 0] - entry[0]
        y = points[p, 1] - entry[1]
        z = points[p, 2] - entry[2]
        rho = np.sqrt(x * x + y * y + z * z)
        cosine = cap_cosine(rho, radius, start, end)
        if cosine > 1.0:
            continue
        scale = 1.0 / max(rho, 1e-9)
        _shade(
            np.float32(x * scale), np.float32(y * scale), np.float32(z * scale),
            np.float32(cosine + COSINE_SLACK), dx, dy, dz, nearest,
        )  # fmt: skip


@njit(cache=True, nogil=True)
def _edge_mm2(ax, ay, az, bx, by, bz):  # type: ignore[no-untyped-def]
    """Squared distance of the origin from the segment a b."""
    ex, ey, ez = bx - ax, by - ay, bz - az
    size = ex * ex + ey * ey + ez * ez
    t = 0.0
    if size > 0.0:
        t = min(max(-(ax * ex + ay * ey + az * ez) / size, 0.0), 1.0)
    x, y, z = ax + t * ex, ay + t * ey, az + t * ez
    return x * x + y * y + z * z


@njit(cache=True, nogil=True)
def _turn(ax, ay, az, bx, by, bz, dx, dy, dz):  # type: ignore[no-untyped-def]
    """Which way b lies from a, seen along d."""
    return (ay * bz - az * by) * dx + (az * bx - ax * bz) * dy + (ax * by - ay * bx) * dz


@njit(cache=True, nogil=True)
def _shadow_within(ax, ay, az, bx, by, bz, cx, cy, cz, dx, dy, dz, limit):  # type: ignore[no-untyped-def]
    """Whether a triangle square to d, seen along d, comes within √limit of the origin."""
    if _edge_mm2(ax, ay, az, bx, by, bz) < limit:
        return True
    if _edge_mm2(bx, by, bz, cx, cy, cz) < limit:
        return True
    if _edge_mm2(cx, cy, cz, ax, ay, az) < limit:
        return True
    one = _turn(ax, ay, az, bx, by, bz, dx, dy, dz)
    two = _turn(bx, by, bz, cx, cy, cz, dx, dy, dz)
    three = _turn(cx, cy, cz, ax, ay, az, dx, dy, dz)
    return (one > 0.0 and two > 0.0 and three > 0.0) or (one < 0.0 and two < 0.0 and three < 0.0)


@njit(cache=True, nogil=True)
def _touches(entry, dx, dy, dz, radius, start, end, c):  # type: ignore[no-untyped-def]
    """Whether a drill comes nearer than radius to a triangle; radius 0: its axis crosses."""
    if radius > 0.0:
        limit = radius * radius
        if _clear_of_plane(entry, dx, dy, dz, start, end, c, limit):
            return False
        ax, ay, az = c[0] - entry[0], c[1] - entry[1], c[2] - entry[2]
        bx, by, bz = c[3] - entry[0], c[4] - entry[1], c[5] - entry[2]
        cx, cy, cz = c[6] - entry[0], c[7] - entry[1], c[8] - entry[2]
        a = ax * dx + ay * dy + az * dz
        b = bx * dx + by * dy + bz * dz
        g = cx * dx + cy * dy + cz * dz
        if start <= min(a, b, g) and max(a, b, g) <= end:
            # Beside the segment all along: the distance is that of their shadows along d.
            return _shadow_within(
                ax - a * dx, ay - a * dy, az - a * dz, bx - b * dx, by - b * dy, bz - b * dz,
                cx - g * dx, cy - g * dy, cz - g * dz, dx, dy, dz, limit,
            )  # fmt: skip
        square = segment_triangle_mm2(
            entry[0] + start * dx, entry[1] + start * dy, entry[2] + start * dz, dx, dy, dz,
            end - start, c[0], c[1], c[2], c[3], c[4], c[5], c[6], c[7], c[8],
        )  # fmt: skip
        return square < limit
    hit = ray_triangle_mm(
        entry[0], entry[1], entry[2], dx, dy, dz,
        c[0], c[1], c[2], c[3], c[4], c[5], c[6], c[7], c[8],
    )  # fmt: skip
    return SKIN_MM < hit <= end


@njit(cache=True, nogil=True)
def _piece_cosine(rho, spread, radius, start, end):  # type: ignore[no-untyped-def]
    """Cosine of the cap that a piece of surface may shade; radius 0: that the axis may cross."""
    if radius > 0.0:
        return cap_cosine(rho, radius + spread, start, end)
    if rho > end + spread:
        return NEVER
    if rho > spread:
        return np.sqrt(1.0 - (spread / rho) ** 2)
    return ALWAYS


@njit(cache=True, nogil=True)
def _any_within(qx, qy, qz, cosine, ox, oy, oz, n):  # type: ignore[no-untyped-def]
    """Whether any of the first n open directions lies within a cap."""
    # A count, not a largest: whole numbers may be summed in any order, so this runs in lanes.
    count = np.int32(0)
    for k in range(n):
        count += np.int32(qx * ox[k] + qy * oy[k] + qz * oz[k] > cosine)
    return count > 0


@njit(cache=True, nogil=True)
def _sweep(entry, tree, radius, start, end, flag, open_k, ox, oy, oz, n_open, verdict):  # type: ignore[no-untyped-def]
    """Carry open directions down a tree; those that touch get the flag; returns how many stay."""
    corners, box, right, patch_first, points, radii, spans = tree
    stack = np.empty(STACK, dtype=np.int64)
    n = 0
    if len(right):
        stack[0] = 0
        n = 1
    n_hit = 0
    while n and n_open:
        n -= 1
        b = stack[n]
        first, past = patch_first[b, 0], patch_first[b, 1]
        if first < 0:
            x = 0.5 * (box[b, 0] + box[b, 3]) - entry[0]
            y = 0.5 * (box[b, 1] + box[b, 4]) - entry[1]
            z = 0.5 * (box[b, 2] + box[b, 5]) - entry[2]
            wx, wy, wz = box[b, 3] - box[b, 0], box[b, 4] - box[b, 1], box[b, 5] - box[b, 2]
            spread = 0.5 * np.sqrt(wx * wx + wy * wy + wz * wz)
            rho = np.sqrt(x * x + y * y + z * z)
            cosine = _piece_cosine(rho, spread, radius, start, end)
            if cosine > 1.0 + COSINE_SLACK:
                continue
            scale = 1.0 / max(rho, 1e-9)
            if cosine < -1.0 or _any_within(
                np.float32(x * scale), np.float32(y * scale), np.float32(z * scale),
                np.float32(cosine - COSINE_SLACK), ox, oy, oz, n_open,
            ):  # fmt: skip
                stack[n], stack[n + 1] = right[b], b + 1
                n += 2
            continue
        for p in range(first, past):
            x = points[p, 0] - entry[0]
            y = points[p, 1] - entry[1]
            z = points[p, 2] - entry[2]
            rho = np.sqrt(x * x + y * y + z * z)
            cosine = _piece_cosine(rho, radii[p], radius, start, end)
            if cosine > 1.0 + COSINE_SLACK:
                continue
            scale = 1.0 / max(rho, 1e-9)
            qx, qy, qz = np.float32(x * scale), np.float32(y * scale), np.float32(z * scale)
            maybe = np.float32(cosine - COSINE_SLACK)
            if not _any_within(qx, qy, qz, maybe, ox, oy, oz, n_open):
                continue
            sure = np.float32(NEVER)
            if radius > 0.0:
                sure = np.float32(cap_cosine(rho, radius, start, end) + COSINE_SLACK)
            for k in range(n_open):
                s = qx * ox[k] + qy * oy[k] + qz * oz[k]
                if s <= maybe or verdict[open_k[k]] != FITS:
                    continue
                touched = s > sure
                if not touched:
                    dx, dy, dz = np.float64(ox[k]), np.float64(oy[k]), np.float64(oz[k])
                    for t in range(spans[p, 0], spans[p, 1]):
                        if _touches(entry, dx, dy, dz, radius, start, end, corners[t]):
                            touched = True
                            break
                if touched:
                    verdict[open_k[k]] = flag
                    n_hit += 1
        if 4 * n_hit > n_open:
            n_open = _close_up(open_k, ox, oy, oz, n_open, verdict)
            n_hit = 0
    return _close_up(open_k, ox, oy, oz, n_open, verdict)


@njit(cache=True, nogil=True)
def _close_up(open_k, ox, oy, oz, n_open, verdict):  # type: ignore[no-untyped-def]
    """Drop the directions no longer open; returns how many stay."""
    n = 0
    for k in range(n_open):
        if verdict[open_k[k]] == FITS:
            open_k[n], ox[n], oy[n], oz[n] = open_k[k], ox[k], oy[k], oz[k]
            n += 1
    return n


@njit(cache=True, nogil=True)
def judge_entries(  # type: ignore[no-untyped-def]
    entries, normals, fan_of, fans, first, past, joint, cortex, radius_joint, radius_cortex,
    cortex_from, depth, old_points, old_radii, verdicts,
):  # fmt: skip
    """Fill verdicts[entry, direction] with the first thing found to block it, or FITS.

    entries (n, 3) and normals (n, 3) of the outer face there; fan_of (n,) which fan of directions
    each takes; fans (f, 3, k) single precision; joint and cortex are the tree arrays
    (corners, box, right, patch_first, patch_mm, patch_radius, patch_span).
    """
    n_directions = fans.shape[2]
    near_joint = np.empty(len(joint[4]), dtype=np.int64)
    near_cortex = np.empty(len(cortex[4]), dtype=np.int64)
    by_joint = np.empty(n_directions, dtype=np.float32)
    by_cortex = np.empty(n_directions, dtype=np.float32)
    by_old = np.empty(n_directions, dtype=np.float32)
    open_k = np.empty(n_directions, dtype=np.int64)
    ox = np.empty(n_directions, dtype=np.float32)
    oy = np.empty(n_directions, dtype=np.float32)
    oz = np.empty(n_directions, dtype=np.float32)
    for e in range(first, past):
        entry = entries[e]
        verdict = verdicts[e]
        dx, dy, dz = fans[fan_of[e], 0], fans[fan_of[e], 1], fans[fan_of[e], 2]
        by_joint[:] = np.float32(-4.0)
        by_cortex[:] = np.float32(-4.0)
        by_old[:] = np.float32(-4.0)
        n_joint = gather_patches(
            entry, NEAR_MM, joint[1], joint[2], joint[3], joint[4], joint[5], near_joint
        )
        n_cortex = gather_patches(
            entry, NEAR_MM, cortex[1], cortex[2], cortex[3], cortex[4], cortex[5], near_cortex
        )
        _shade_near(
            entry, near_joint, n_joint, joint[4], radius_joint, 0.0, depth, dx, dy, dz, by_joint
        )
        _shade_near(
            entry, near_cortex, n_cortex, cortex[4], radius_cortex, cortex_from, depth,
            dx, dy, dz, by_cortex,
        )  # fmt: skip
        _shade_old(entry, old_points, old_radii, depth, dx, dy, dz, by_old)
        n_open = 0
        for k in range(n_directions):
            if dx[k] * normals[e, 0] + dy[k] * normals[e, 1] + dz[k] * normals[e, 2] >= 0.0:
                verdict[k] = LEAVES_BONE
            elif by_joint[k] > 0.0:
                verdict[k] = JOINT
            elif by_cortex[k] > 0.0:
                verdict[k] = CORTEX
            elif by_old[k] > 0.0:
                verdict[k] = OLD_ANCHOR
            else:
                verdict[k] = FITS
                open_k[n_open], ox[n_open], oy[n_open], oz[n_open] = k, dx[k], dy[k], dz[k]
                n_open += 1
        n_open = _sweep(
            entry, cortex, radius_cortex, cortex_from, depth, CORTEX,
            open_k, ox, oy, oz, n_open, verdict,
        )  # fmt: skip
        n_open = _sweep(
            entry, joint, radius_joint, 0.0, depth, JOINT, open_k, ox, oy, oz, n_open, verdict
        )
        _sweep(
            entry, cortex, 0.0, 0.0, cortex_from, LEAVES_BONE,
            open_k, ox, oy, oz, n_open, verdict,
        )  # fmt: skip


@njit(cache=True, nogil=True)
def _shade_old(entry, old_points, old_radii, depth, dx, dy, dz, nearest):  # type: ignore[no-untyped-def]
    """Shade by the points of old anchors, whose spacing their radii already cover."""
    for o in range(len(old_points)):
        x = old_points[o, 0] - entry[0]
        y = old_points[o, 1] - entry[1]
        z = old_points[o, 2] - entry[2]
        rho = np.sqrt(x * x + y * y + z * z)
        cosine = cap_cosine(rho, old_radii[o], 0.0, depth)
        if cosine > 1.0:
            continue
        scale = 1.0 / max(rho, 1e-9)
        _shade(
            np.float32(x * scale), np.float32(y * scale), np.float32(z * scale),
            np.float32(cosine - COSINE_SLACK), dx, dy, dz, nearest,
        )  # fmt: skip
