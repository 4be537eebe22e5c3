"""Look for the direction of the largest cone near a start, on points of the bone surface.

The cosine of angle(d, q) − α is cos·cos + sin·sin, so a direction is judged against many points
by products and one square root each. Points stand on every corner, edge middle and centre of the
triangles that can matter; the cone found is then bounded exactly by `cone`.
"""

from __future__ import annotations

import numpy as np
from numba import njit

from rimwright.fixation.shading import cap_cosine, gather_patches

WINDOW_RAD = float(np.radians(6.0))
"""How far the search may move from its start: a little over one step of the grid it starts on."""
FIRST_STEP_RAD = float(np.radians(2.5))
LAST_STEP_RAD = float(np.radians(0.3))
CLOSE_RADII = 2.5
"""Triangles nearer to the entry than this many times the distance kept are cut once more: the
caps of near points widen fast."""
_MOST_POINTS = 20000


# No cosine here is ever NaN, which lets the search for the largest run in lanes.
@njit(cache=True, nogil=True, fastmath={"nnan", "nsz"})
def _widest(d, ux, uy, uz, cos_cap, sin_cap, n):  # type: ignore[no-untyped-def]
    """Largest cosine of the angle left to any cap; above 1 where a cap holds d."""
    nearest = -1.0
    for i in range(n):
        s = ux[i] * d[0] + uy[i] * d[1] + uz[i] * d[2]
        across = 1.0 - s * s
        c = s * cos_cap[i] + np.sqrt(max(across, 0.0)) * sin_cap[i]
        c = 2.0 if s > cos_cap[i] else c
        nearest = c if c > nearest else nearest
    return nearest


@njit(cache=True, nogil=True)
def _add(x, y, z, cosine, d, limit, ux, uy, uz, cos_cap, sin_cap, n):  # type: ignore[no-untyped-def]
    """Append a point; one whose cap stays farther than `limit` from d is left out."""
    if cosine > 1.0 or n >= len(ux):
        return n
    cosine = max(cosine, -1.0)
    sine = np.sqrt(max(1.0 - cosine * cosine, 0.0))
    cos_limit, sin_limit = limit
    scale = 1.0 / max(np.sqrt(x * x + y * y + z * z), 1e-9)
    s = (x * d[0] + y * d[1] + z * d[2]) * scale
    # cos(α + limit), where the two together stay under a half-turn
    if cosine > -cos_limit and s < cosine * cos_limit - sine * sin_limit:
        return n
    ux[n], uy[n], uz[n] = x * scale, y * scale, z * scale
    cos_cap[n] = cosine
    sin_cap[n] = sine
    return n + 1


@njit(cache=True, nogil=True)
def _add_triangle(entry, c, radius, start, end, d, limit, ux, uy, uz, cos_cap, sin_cap, n):  # type: ignore[no-untyped-def]
    """Append a triangle's corners, edge middles and centre."""
    for k in range(7):
        if k < 3:
            a, b, w = k, k, 0.0
        elif k < 6:
            a, b, w = k - 3, (k - 2) % 3, 0.5
        else:
            a, b, w = 0, 0, 0.0
        if k < 6:
            x = (1.0 - w) * c[3 * a] + w * c[3 * b]
            y = (1.0 - w) * c[3 * a + 1] + w * c[3 * b + 1]
            z = (1.0 - w) * c[3 * a + 2] + w * c[3 * b + 2]
        else:
            x = (c[0] + c[3] + c[6]) / 3.0
            y = (c[1] + c[4] + c[7]) / 3.0
            z = (c[2] + c[5] + c[8]) / 3.0
        x, y, z = x - entry[0], y - entry[1], z - entry[2]
        cosine = cap_cosine(np.sqrt(x * x + y * y + z * z), radius, start, end)
        n = _add(x, y, z, cosine, d, limit, ux, uy, uz, cos_cap, sin_cap, n)
    return n


@njit(cache=True, nogil=True)
def _add_near(  # type: ignore[no-untyped-def]
    entry, d, limit, found, n_found, points, radii, spans, corners, radius, start, end,
    ux, uy, uz, cos_cap, sin_cap, n,
):  # fmt: skip
    """Append the points of the patches whose cap may come within `limit` of d."""
    quarter = np.empty(9)
    turns = (np.cos(limit), np.sin(limit))
    for i in range(n_found):
        p = found[i]
        x = points[p, 0] - entry[0]
        y = points[p, 1] - entry[1]
        z = points[p, 2] - entry[2]
        rho = np.sqrt(x * x + y * y + z * z)
        most = cap_cosine(rho, radius + radii[p], start, end)
        if most > 1.0:
            continue
        s = (x * d[0] + y * d[1] + z * d[2]) / max(rho, 1e-9)
        reach = np.arccos(max(most, -1.0)) + limit
        if reach < np.pi and s < np.cos(reach):
            continue
        for t in range(spans[p, 0], spans[p, 1]):
            c = corners[t]
            n = _add_triangle(
                entry, c, radius, start, end, d, turns, ux, uy, uz, cos_cap, sin_cap, n
            )
            if rho < CLOSE_RADII * radius:
                for k in range(3):
                    for axis in range(3):
                        at = c[3 * k + axis]
                        quarter[axis] = at
                        quarter[3 + axis] = 0.5 * (at + c[3 * ((k + 1) % 3) + axis])
                        quarter[6 + axis] = 0.5 * (at + c[3 * ((k + 2) % 3) + axis])
                    n = _add_triangle(
                        entry,
                        quarter,
                        radius,
                        start,
                        end,
                        d,
                        turns,
                        ux,
                        uy,
                        uz,
                        cos_cap,
                        sin_cap,
                        n,
                    )
    return n


@njit(cache=True, nogil=True)
def _first_guess(entry, d, found, n_found, points, radius, start, end):  # type: ignore[no-untyped-def]
    """Half-angle left to the patches' own points: the cone cannot be larger."""
    best = np.pi
    for i in range(n_found):
        p = found[i]
        x = points[p, 0] - entry[0]
        y = points[p, 1] - entry[1]
        z = points[p, 2] - entry[2]
        rho = np.sqrt(x * x + y * y + z * z)
        cosine = cap_cosine(rho, radius, start, end)
        if cosine > 1.0:
            continue
        s = (x * d[0] + y * d[1] + z * d[2]) / max(rho, 1e-9)
        s = min(max(s, -1.0), 1.0)
        # Worth the two arc cosines only where it can lower the best.
        if s < np.cos(min(np.arccos(max(cosine, -1.0)) + best, np.pi)):
            continue
        best = min(best, np.arccos(s) - np.arccos(max(cosine, -1.0)))
    return best


@njit(cache=True, nogil=True)
def seek_cones(  # type: ignore[no-untyped-def]
    entries, starts, first, past, joint, cortex,
    radius_joint, radius_cortex, cortex_from, depth, old_points, old_radii, axes, half_angles,
):  # fmt: skip
    """For each entry the direction near its start with the largest cone over the points, radians.

    Arrays as in `shading.judge_entries`; starts (n, 3) fitting.
    """
    j_corners, j_box, j_right, j_first, j_points, j_radii, j_spans = joint
    c_corners, c_box, c_right, c_first, c_points, c_radii, c_spans = cortex
    near_joint = np.empty(len(j_points), dtype=np.int64)
    near_cortex = np.empty(len(c_points), dtype=np.int64)
    ux = np.empty(_MOST_POINTS)
    uy = np.empty(_MOST_POINTS)
    uz = np.empty(_MOST_POINTS)
    cos_cap = np.empty(_MOST_POINTS)
    sin_cap = np.empty(_MOST_POINTS)
    d = np.empty(3)
    best_d = np.empty(3)
    side_a = np.empty(3)
    side_b = np.empty(3)
    for e in range(first, past):
        entry = entries[e]
        n_joint = gather_patches(
            entry, depth + radius_joint, j_box, j_right, j_first, j_points, j_radii, near_joint
        )
        n_cortex = gather_patches(
            entry, depth + radius_cortex, c_box, c_right, c_first, c_points, c_radii, near_cortex
        )
        best_d[:] = starts[e]
        guess = min(
            _first_guess(entry, best_d, near_joint, n_joint, j_points, radius_joint, 0.0, depth),
            _first_guess(
                entry, best_d, near_cortex, n_cortex, c_points, radius_cortex, cortex_from, depth
            ),
        )
        # A cone changes no faster than its direction, so only these points matter in the window.
        limit = min(max(guess, 0.0) + 2.0 * WINDOW_RAD, np.pi)
        turns = (np.cos(limit), np.sin(limit))
        n = 0
        for o in range(len(old_points)):
            x = old_points[o, 0] - entry[0]
            y = old_points[o, 1] - entry[1]
            z = old_points[o, 2] - entry[2]
            cosine = cap_cosine(np.sqrt(x * x + y * y + z * z), old_radii[o], 0.0, depth)
            n = _add(x, y, z, cosine, best_d, turns, ux, uy, uz, cos_cap, sin_cap, n)
        n = _add_near(
            entry, best_d, limit, near_joint, n_joint, j_points, j_radii, j_spans, j_corners,
            radius_joint, 0.0, depth, ux, uy, uz, cos_cap, sin_cap, n,
        )  # fmt: skip
        n = _add_near(
            entry, best_d, limit, near_cortex, n_cortex, c_points, c_radii, c_spans, c_corners,
            radius_cortex, cortex_from, depth, ux, uy, uz, cos_cap, sin_cap, n,
        )  # fmt: skip
        best = _widest(best_d, ux, uy, uz, cos_cap, sin_cap, n)
        step = FIRST_STEP_RAD
        least_along = np.cos(WINDOW_RAD)
        while step >= LAST_STEP_RAD:
            _sides(best_d, side_a, side_b)
            moved = False
            cx, cy, cz = best_d[0], best_d[1], best_d[2]
            for turn in range(8):
                a = np.sin(step) * np.cos(turn * np.pi / 4)
                b = np.sin(step) * np.sin(turn * np.pi / 4)
                c = np.cos(step)
                d[0] = c * cx + a * side_a[0] + b * side_b[0]
                d[1] = c * cy + a * side_a[1] + b * side_b[1]
                d[2] = c * cz + a * side_a[2] + b * side_b[2]
                along = d[0] * starts[e, 0] + d[1] * starts[e, 1] + d[2] * starts[e, 2]
                if along < least_along:
                    continue
                here = _widest(d, ux, uy, uz, cos_cap, sin_cap, n)
                if here < best - 1e-12:
                    best = here
                    best_d[:] = d
                    moved = True
            if not moved:
                step *= 0.5
        axes[e] = best_d
        half_angles[e] = np.arccos(max(best, -1.0)) if best <= 1.0 else -1.0


@njit(cache=True, nogil=True)
def _sides(d, a, b):  # type: ignore[no-untyped-def]
    """Two unit vectors at right angles to d and to each other."""
    k = 0
    if abs(d[1]) < abs(d[k]):
        k = 1
    if abs(d[2]) < abs(d[k]):
        k = 2
    a[:] = 0.0
    a[k] = 1.0
    dot = d[k]
    for axis in range(3):
        a[axis] -= dot * d[axis]
    size = np.sqrt(a[0] ** 2 + a[1] ** 2 + a[2] ** 2)
    for axis in range(3):
        a[axis] /= size
    b[0] = d[1] * a[2] - d[2] * a[1]
    b[1] = d[2] * a[0] - d[0] * a[2]
    b[2] = d[0] * a[1] - d[1] * a[0]
