"""The bony edge in radial sections: where the articular side turns to the outer side.

In every half-plane through the opening axis the contour of the bone runs from the lunate over
the edge to the outer wall. Its corner is where the chords before and after a point differ most
in direction; the corner is chosen for all half-planes together, as the closed path that turns
most and jumps least (dynamic programming), so that a bump or a second ridge does not break it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, Ints
from rimwright.morphology.radial_sections import RadialSections

CHORD_MM = 3.0
"""Length of the chords a turn is measured with, mm: over the rounding of a rim, under its width."""
LEAST_TURN_DEG = 12.0
"""A smaller turn is no candidate for the edge, deg."""
N_CANDIDATES = 6
"""Corners kept in each section."""
TURN_WORTH_DEG = 20.0
"""Turn worth one unit of cost, deg."""
JUMP_WORTH_MM = 1.2
"""Jump from section to section that costs one unit, mm; a section is about 0.6 mm wide."""
MOST_JUMP_COST = 12.0
"""A jump never costs more: a real step in the rim must stay possible."""
ZONE_END_WORTH_MM = 8.0
"""Distance of a corner beyond the end of the spherical zone that costs one unit, mm."""
BAND_MM = 1.5
"""Largest miss from the lunate sphere at which a contour counts as articular, mm."""
BAND_SEARCH_MM = 8.0
"""How far inside the edge the articular band is looked for, mm."""
LEAST_BAND_MM = 2.5
"""Least articular contour within that reach; less is notch, mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RimTrace:
    """
    The edge in every section.

    Parameters
    ----------
    column
        (n,) column of the edge in the sections; −1 where there is none.
    across_mm, along_mm
        (n,) its plane coordinates, smoothed along the rim; NaN where there is none.
    inward_across, inward_along
        (n,) unit direction from the edge into bone, half-way between its two faces.
    is_notch
        (n,) bool, no articular surface inside the edge.
    band_mm
        (n,) length of articular contour just inside the edge, mm.
    turn_deg
        (n,) how far the contour turns at the edge.
    """

    column: Ints
    across_mm: Floats
    along_mm: Floats
    inward_across: Floats
    inward_along: Floats
    is_notch: Floats
    band_mm: Floats
    turn_deg: Floats


def trace_rim(sections: RadialSections, *, radius_mm: float, band_mm: float = BAND_MM) -> RimTrace:
    """
    Trace the bony edge through all sections.

    Parameters
    ----------
    sections
        Contours about the centre of the lunate sphere, seeds on the lunate.
    radius_mm
        Radius of the lunate sphere, mm.
    band_mm
        Largest miss from the sphere that counts as articular, mm.

    Returns
    -------
    RimTrace
        Edge, its bisector, and the notch: the longest run of sections without an articular band.
    """
    across, along = np.asarray(sections.across_mm), np.asarray(sections.along_mm)
    step = sections.step_mm
    n, columns = across.shape
    half = round(CHORD_MM / step)
    turn = np.full((n, columns), np.nan)
    before_x = across[:, half:-half] - across[:, : -2 * half]
    before_y = along[:, half:-half] - along[:, : -2 * half]
    after_x = across[:, 2 * half :] - across[:, half:-half]
    after_y = along[:, 2 * half :] - along[:, half:-half]
    turn[:, half:-half] = np.degrees(
        np.arctan2(before_y * after_x - before_x * after_y, before_x * after_x + before_y * after_y)
    )
    miss = np.hypot(across, along) - radius_mm
    articular = np.abs(np.where(np.isfinite(miss), miss, np.inf)) < band_mm
    # the end of the spherical zone: the last articular column reached without a gap of 2 mm
    zone_end = _zone_ends(articular, first=sections.first_index, gap=round(2.0 / step))
    score = np.where(np.isfinite(turn), turn, -np.inf)
    peak = (
        (score[:, 1:-1] >= score[:, :-2])
        & (score[:, 1:-1] > score[:, 2:])
        & (score[:, 1:-1] > LEAST_TURN_DEG)
    )
    score[:, 1:-1][~peak] = -np.inf
    score[:, [0, -1]] = -np.inf
    distance = np.abs(np.arange(columns)[None, :] - zone_end[:, None]) * step
    worth = score / TURN_WORTH_DEG - distance / ZONE_END_WORTH_MM
    best = np.argpartition(worth, -N_CANDIDATES, axis=1)[:, -N_CANDIDATES:]
    best = np.take_along_axis(
        best, np.argsort(-np.take_along_axis(worth, best, axis=1), axis=1), axis=1
    )
    gain = np.take_along_axis(worth, best, axis=1)
    column = _best_closed_path(
        gain, np.take_along_axis(across, best, axis=1), np.take_along_axis(along, best, axis=1)
    )
    chosen = np.where(column >= 0, best[np.arange(n), np.maximum(column, 0)], -1)
    return _finish(sections, chosen, turn, articular, half)


def _zone_ends(articular: Floats, *, first: int, gap: int) -> Ints:
    """Last articular column from the seed outward that no longer gap precedes."""
    n, columns = articular.shape
    ends = np.full(n, first)
    missed = np.zeros(n, dtype=np.int64)
    for column in range(first, columns):
        hit = articular[:, column] & (missed <= gap)
        ends = np.where(hit, column, ends)
        missed = np.where(hit, 0, missed + 1)
    return ends


def _best_closed_path(gain: Floats, across: Floats, along: Floats) -> Ints:
    """Candidate of every row that together gain most and jump least round the ring; −1 for none."""
    n = len(gain)
    usable = np.isfinite(gain)
    rows = np.flatnonzero(usable.any(axis=1))
    path = np.full(n, -1, dtype=np.int64)
    if len(rows) < 3:
        return path
    # the surest row opens and closes the path: most to gain over its second best
    second = np.where(np.isfinite(gain[rows, 1]), gain[rows, 1], 0.0)
    start = int(np.argmax(gain[rows, 0] - second))
    rows = np.roll(rows, -start)
    total = np.full(gain.shape[1], -np.inf)
    total[0] = gain[rows[0], 0]
    came: list[Ints] = []
    for previous, row in zip(rows, (*rows[1:], rows[0]), strict=True):
        jump = (
            np.hypot(
                across[row][None, :] - across[previous][:, None],
                along[row][None, :] - along[previous][:, None],
            )
            / JUMP_WORTH_MM
        ) ** 2
        cost = np.where(np.isfinite(jump), np.minimum(jump, MOST_JUMP_COST), np.inf)
        onward = total[:, None] - cost
        came.append(np.argmax(onward, axis=0))
        total = onward.max(axis=0) + np.where(usable[row], gain[row], -np.inf)
    at = 0
    for position in range(len(rows) - 1, -1, -1):
        at = int(came[position][at])
        path[rows[position]] = at
    path[rows[0]] = 0
    return path


def _finish(
    sections: RadialSections, column: Ints, turn: Floats, articular: Floats, half: int
) -> RimTrace:
    """Notch, smoothing and bisector of a chosen edge."""
    across, along = np.asarray(sections.across_mm), np.asarray(sections.along_mm)
    n = len(column)
    has = column >= 0
    safe = np.maximum(column, half)
    row = np.arange(n)
    reach = round(BAND_SEARCH_MM / sections.step_mm)
    span = safe[:, None] - np.arange(1, reach + 1)[None, :]
    band = articular[row[:, None], np.maximum(span, 0)] & (span >= 0)
    band_mm = band.sum(axis=1) * sections.step_mm * has
    is_notch = longest_run(band_mm < LEAST_BAND_MM)
    x, y = across[row, safe].copy(), along[row, safe].copy()
    edge = has & ~is_notch
    x[~edge] = np.nan
    y[~edge] = np.nan
    ahead = np.minimum(safe + half, across.shape[1] - 1)
    to_joint = np.stack([across[row, safe - half] - x, along[row, safe - half] - y], axis=1)
    to_outer = np.stack([across[row, ahead] - x, along[row, ahead] - y], axis=1)
    to_joint /= np.linalg.norm(to_joint, axis=1, keepdims=True)
    to_outer /= np.linalg.norm(to_outer, axis=1, keepdims=True)
    inward = to_joint + to_outer
    inward /= np.linalg.norm(inward, axis=1, keepdims=True)
    return RimTrace(
        column=np.where(edge, column, -1),
        across_mm=smooth_ring(x),
        along_mm=smooth_ring(y),
        inward_across=smooth_ring(inward[:, 0]),
        inward_along=smooth_ring(inward[:, 1]),
        is_notch=is_notch,
        band_mm=band_mm,
        turn_deg=np.where(edge, turn[row, safe], np.nan),
    )


def longest_run(flags: Floats) -> Floats:
    """Keep only the longest run of True round a ring, runs a short gap apart joined."""
    n = len(flags)
    flags = np.asarray(flags, dtype=bool).copy()
    if flags.all() or not flags.any():
        return np.zeros(n, dtype=bool) if not flags.any() else flags
    start = int(np.flatnonzero(~flags)[0])
    rolled = np.roll(flags, -start)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], rolled.astype(np.int8), [0]])))
    runs = [(int(a), int(b)) for a, b in edges.reshape(-1, 2)]
    joined: list[tuple[int, int]] = []
    for a, b in runs:
        if joined and a - joined[-1][1] <= max(2, n // 80):
            joined[-1] = (joined[-1][0], b)
        else:
            joined.append((a, b))
    a, b = max(joined, key=lambda run: run[1] - run[0])
    kept = np.zeros(n, dtype=bool)
    kept[a:b] = True
    return np.roll(kept, start)


def smooth_ring(values: Floats) -> Floats:
    """Quadratic smoothing over seven neighbours round a ring; gaps stay, and ends keep their own."""
    # weights of a local parabola over seven even points (textbook): keeps lines and parabolas
    weights = np.array([-2.0, 3.0, 6.0, 7.0, 6.0, 3.0, -2.0]) / 21.0
    smooth = sum(w * np.roll(values, 3 - k) for k, w in enumerate(weights))
    return np.where(np.isfinite(smooth), smooth, values)
