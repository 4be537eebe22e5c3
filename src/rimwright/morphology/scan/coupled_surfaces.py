"""Head and socket surface found together: dynamic programming over both radii at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit, prange
from scipy.ndimage import median_filter

from rimwright.anatomy import Floats

STEP_MM = 0.5
"""Distance of the radii that are tried; what follows is worked out between them."""
HALF_EDGE = 1
"""Samples on each side over which a step is taken."""
N_GAPS = 22
"""Joint widths tried, from one step to 11 mm: the floor of the fossa lies that far at most."""
LEAST_FULL_HU, MOST_FULL_HU = 120.0, 450.0
"""Bounds of the step that counts as a full edge; between them it is the scan's own, so that
porous bone and dense are traced alike and one dense wall does not draw its neighbours."""
FULL_QUANTILE = 0.75
"""The full edge is this quantile of the darkest step near the ball's radius on each ray."""
INWARD_COST, OUTWARD_COST, MOST_SPHERE_COST = 0.03, 0.09, 0.9
"""Cost of each squared mm by which the head leaves its sphere, and at most: a fovea lies inward,
a cam outward but where nothing else offers an edge."""
MOVE_COST, GAP_MOVE_COST = 0.04, 0.03
"""Cost of one step of change from ray to ray, in shares of a full edge."""
WIDTH_COST = 0.012
"""Cost of each step of joint width: of two equal walls the nearer one is the socket."""
PAIRED_DEG = 80.0
"""Within this angle from the pole nearly every hip has a socket: there a head's edge without one
is the far side of two plates that touch."""
PAIR_SHARE = 0.8
"""How far, there, the poorer of both edges decides."""
NEIGHBOUR_COST = 0.03
"""Cost of each squared step away from the neighbouring circles' median, second round."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CoupledPaths:
    """
    Radii of both surfaces on the steps tried, and how well each was seen.

    Parameters
    ----------
    head_mm, socket_mm
        (n_polar, n_turns), mm from the rays' origin.
    head_step_hu, socket_step_hu
        (n_polar, n_turns), how much darker outside the head and brighter at the socket, HU.
    full_step_hu
        The step that counted as a full edge, HU.
    """

    head_mm: Floats
    socket_mm: Floats
    head_step_hu: Floats
    socket_step_hu: Floats
    full_step_hu: float


@njit(cache=True, nogil=True, parallel=True)
def _best_paths(edge, head_extra, socket_extra, paired, n_heads, n_gaps, move, gap_move, width):  # type: ignore[no-untyped-def]
    """
    Exact least-cost pair of radii along each circle.

    edge (n_circles, n_along, n_radii) is how much brighter it grows outward, in full edges; the
    extras cost a radius by where it lies; paired (n_circles, n_along) says where a head's edge
    counts only as far as a socket's follows. The head may take the first n_heads radii, the
    socket lies 1 to n_gaps radii beyond.
    """
    n_circles, n_along, n_radii = edge.shape
    heads = np.zeros((n_circles, n_along), np.int32)
    sockets = np.zeros((n_circles, n_along), np.int32)
    for c in prange(n_circles):
        back = np.zeros((n_along, n_heads, n_gaps), np.int8)
        total = np.zeros((n_heads, n_gaps))
        following = np.zeros((n_heads, n_gaps))
        for a in range(n_along):
            for h in range(n_heads):
                for g in range(n_gaps):
                    s = min(h + g + 1, n_radii - 1)
                    first, second = edge[c, a, h], -edge[c, a, s]
                    if paired[c, a]:
                        here = PAIR_SHARE * max(first, second) * 2.0
                        here += (1.0 - PAIR_SHARE) * (first + second)
                    else:
                        here = first + second
                    here += head_extra[c, a, h] + socket_extra[c, a, s] + width * g
                    if a == 0:
                        following[h, g] = here
                        continue
                    best = 1e30
                    choice = 0
                    for dh in range(-1, 2):
                        hh = h + dh
                        if hh < 0 or hh >= n_heads:
                            continue
                        for dg in range(-2, 3):
                            gg = g + dg
                            if gg < 0 or gg >= n_gaps:
                                continue
                            # the socket's own change is dh + dg
                            cost = total[hh, gg] + move * abs(dh) + gap_move * abs(dh + dg)
                            if cost < best:
                                best = cost
                                choice = (dh + 1) * 5 + dg + 2
                    following[h, g] = best + here
                    back[a, h, g] = choice
            total, following = following, total
        at = int(np.argmin(total))
        h, g = at // n_gaps, at % n_gaps
        for a in range(n_along - 1, -1, -1):
            heads[c, a] = h
            sockets[c, a] = min(h + g + 1, n_radii - 1)
            choice = back[a, h, g]
            if a > 0:
                h, g = h + choice // 5 - 1, g + choice % 5 - 2
    return heads, sockets


def _circles(field: Floats) -> Floats:
    """Meridians joined over the pole: (n_turns / 2, 2 n_polar, …)."""
    half = field.shape[1] // 2
    there = np.swapaxes(field[::-1, :half], 0, 1)
    back = np.swapaxes(field[:, half:], 0, 1)
    return np.ascontiguousarray(np.concatenate([there, back], axis=1))


def _unjoined(circles: Floats, n_polar: int) -> Floats:
    """The way back from `_circles`."""
    there = np.swapaxes(circles[:, :n_polar], 0, 1)[::-1]
    back = np.swapaxes(circles[:, n_polar:], 0, 1)
    return np.concatenate([there, back], axis=1)


def trace_surfaces(
    profiles: Floats,
    *,
    polar_deg: Floats,
    start_mm: float,
    radius_mm: float,
    inside_mm: float,
    outside_mm: float,
) -> CoupledPaths:
    """
    Trace head and socket through unwrapped profiles.

    Parameters
    ----------
    profiles
        (n_polar, n_turns, n_samples), HU, STEP_MM apart.
    polar_deg
        (n_polar,), angle of each ring from the socket's pole.
    start_mm
        Radius of the first sample.
    radius_mm
        Rough radius of the head.
    inside_mm, outside_mm
        How far inside and outside of it the head's surface may lie.

    Returns
    -------
    CoupledPaths
        Two surfaces that never cross, exact along each great circle, drawn together with their
        neighbours in a second round.
    """
    step = np.zeros_like(profiles)
    step[..., HALF_EDGE:-HALF_EDGE] = (
        profiles[..., 2 * HALF_EDGE :] - profiles[..., : -2 * HALF_EDGE]
    )
    samples = start_mm + STEP_MM * np.arange(profiles.shape[2])
    near = np.abs(samples - radius_mm) < 3.0
    darkest = -step[..., near].min(axis=2)
    full = float(np.clip(np.quantile(darkest, FULL_QUANTILE), LEAST_FULL_HU, MOST_FULL_HU))
    share = np.clip(step / full, -1.0, 1.0)
    away = samples - radius_mm
    sphere = np.where(away > 0, OUTWARD_COST, INWARD_COST) * away**2
    sphere = np.minimum(sphere, MOST_SPHERE_COST)
    first = max(1, round((radius_mm - inside_mm - start_mm) / STEP_MM))
    n_heads = round((inside_mm + outside_mm) / STEP_MM)
    edge = _circles(share[..., first:]).astype(np.float64)
    sphere_cost = np.broadcast_to(sphere[first:], edge.shape)
    paired = _circles(np.broadcast_to(polar_deg[:, None] < PAIRED_DEG, share.shape[:2]))
    n_polar = profiles.shape[0]
    heads = sockets = np.zeros(0)
    for again in range(2):
        head_extra, socket_extra = sphere_cost, np.zeros_like(edge)
        if again:
            radii = np.arange(edge.shape[2])
            near_heads = median_filter(heads, size=(9, 5), mode="nearest")
            near_sockets = median_filter(sockets, size=(9, 5), mode="nearest")
            head_extra = head_extra + NEIGHBOUR_COST * np.minimum(
                (radii - near_heads[..., None]) ** 2, 30.0
            )
            socket_extra = NEIGHBOUR_COST * np.minimum((radii - near_sockets[..., None]) ** 2, 30.0)
        heads, sockets = _best_paths(
            edge,
            np.ascontiguousarray(head_extra),
            socket_extra,
            paired,
            n_heads,
            N_GAPS,
            MOVE_COST,
            GAP_MOVE_COST,
            WIDTH_COST,
        )
    heads, sockets = _unjoined(heads, n_polar), _unjoined(sockets, n_polar)
    at = np.indices(heads.shape)
    return CoupledPaths(
        head_mm=start_mm + STEP_MM * (first + heads),
        socket_mm=start_mm + STEP_MM * (first + sockets),
        head_step_hu=-step[at[0], at[1], first + heads],
        socket_step_hu=step[at[0], at[1], np.minimum(first + sockets, step.shape[2] - 1)],
        full_step_hu=full,
    )
