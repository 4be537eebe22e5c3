"""The bony edge in radial sections: where the articular side turns to the outer side.

In every half-plane through the opening axis the contour of the bone runs from the lunate over
the edge to the outer wall. Its corner is where the chords before and after a point differ most
in direction; the corner is chosen for all half-planes together, as the closed path that turns
most and jumps least (dynamic programming), so that a bump or a second ridge does not break it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, Ints, Mask
from rimwright.morphology.radial_sections import RadialSections

LEAST_TURN_DEG = 12.0
"""A smaller turn is no candidate for the edge, deg."""
N_CANDIDATES = 6
"""Corners kept in each section."""
TURN_WORTH_DEG = 20.0
"""Turn worth one unit of cost, deg."""
JUMP_WORTH_MM = 1.2
"""Jump from section to section that costs one unit, mm; a section is 0.4 to 2.4 mm wide."""
MOST_JUMP_COST = 12.0
"""A jump never costs more: a real step in the rim must stay possible."""
ZONE_END_WORTH_MM = 5.0
"""Distance of a corner beyond the end of the spherical zone that costs one unit, mm."""
GAP_MM = 2.0
"""A gap in the articular contour shorter than this does not end it, mm."""
BAND_SEARCH_MM = 8.0
"""How far inside the edge the articular band is looked for, mm."""
PARABOLA = np.array([-2.0, 3.0, 6.0, 7.0, 6.0, 3.0, -2.0]) / 21.0
"""Weights of a local parabola over seven even points (textbook): keeps lines and parabolas."""
BESIDE_HOURS = 0.035
"""Part of the rim beside the notch whose corner is drawn by the notch's wall, hours (0.5 mm)."""
WALL_FROM_MM = 2.0
"""The edge's own rounding, left out when a section beside the notch is judged, mm."""
WALL_QUANTILE, WALL_SHARE = 0.85, 0.1
"""A section beside the notch cuts its wall where this quantile of its contour's miss from the
sphere is more than this share of the articular limit."""
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
        (n,) bool, no edge: the notch and what lies close beside it.
    is_gap
        (n,) bool, no articular surface inside the edge: what is counted as notch.
    beside_mm
        (n,) how far the contour just inside the edge leaves the sphere (85 % of it less), mm.
    band_mm
        (n,) length of articular contour just inside the edge, mm.
    turn_deg
        (n,) how far the contour turns at the edge.
    floor_edge
        (n, 4) as `across_mm`, `along_mm`, `inward_across`, `inward_along`, with the receded edge of
        the floor in the notch; NaN where no contour was followed.
    """

    column: Ints
    across_mm: Floats
    along_mm: Floats
    inward_across: Floats
    inward_along: Floats
    is_notch: Mask
    is_gap: Mask
    beside_mm: Floats
    band_mm: Floats
    turn_deg: Floats
    floor_edge: Floats


def trace_rim(
    sections: RadialSections,
    *,
    radius_mm: float,
    band_mm: float,
    chord_mm: float,
) -> RimTrace:
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
    chord_mm
        Length of the chords a turn is measured with, mm.

    Returns
    -------
    RimTrace
        Edge, its bisector, and the notch: the longest run of sections without an articular band.
    """
    across, along = np.asarray(sections.across_mm), np.asarray(sections.along_mm)
    step = sections.step_mm
    n, columns = across.shape
    half = round(chord_mm / step)
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
    zone_end = _zone_ends(
        articular,
        first=sections.first_index,
        gap=round(GAP_MM / step),
        inward=round(BAND_SEARCH_MM / step),
    )
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
    return _finish(sections, chosen, turn, miss, half, band_limit_mm=band_mm)


def _zone_ends(articular: Mask, *, first: int, gap: int, inward: int) -> Ints:
    """End of the spherical zone: last articular column that a walk outward reaches.

    The walk starts at the seed, or at the last articular column up to `inward` columns inside
    it, and passes over gaps of up to `gap` columns.
    """
    n, columns = articular.shape
    starts = np.full(n, first)
    for back in range(inward, -1, -1):
        if first - back >= 0:
            starts = np.where(articular[:, first - back], first - back, starts)
    ends = starts.copy()
    missed = np.zeros(n, dtype=np.int64)
    for column in range(max(first - inward, 0), columns):
        begun = column >= starts
        hit = articular[:, column] & (missed <= gap) & begun
        ends = np.where(hit, column, ends)
        missed = np.where(hit, 0, missed + begun)
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
    sections: RadialSections,
    column: Ints,
    turn: Floats,
    miss: Floats,
    half: int,
    *,
    band_limit_mm: float,
) -> RimTrace:
    """Notch, smoothing and bisector of a chosen edge."""
    across, along = np.asarray(sections.across_mm), np.asarray(sections.along_mm)
    n = len(column)
    has = column >= 0
    safe = np.maximum(column, half)
    row = np.arange(n)
    reach = round(BAND_SEARCH_MM / sections.step_mm)
    span = safe[:, None] - np.arange(1, reach + 1)[None, :]
    off = np.abs(np.where(np.isfinite(miss), miss, np.inf))[row[:, None], np.maximum(span, 0)]
    band = (off < band_limit_mm) & (span >= 0)
    band_mm = band.sum(axis=1) * sections.step_mm * has
    is_notch = longest_run(band_mm < LEAST_BAND_MM)
    # a section beside the notch may cut its wall
    wall_from = round(WALL_FROM_MM / sections.step_mm)
    beside_mm = np.quantile(np.minimum(off[:, wall_from:], 99.0), WALL_QUANTILE, axis=1)
    is_wall = beside_mm > WALL_SHARE * band_limit_mm
    is_beside = np.roll(is_notch, 1) | np.roll(is_notch, -1)
    is_gap = is_notch | (is_wall & is_beside)
    # the edge this near the wall is not the rim's: left out of the curve, not counted as notch
    near = round(BESIDE_HOURS * n / 12.0)
    for step in range(1, max(near, 1) + 1):
        is_notch = is_notch | np.roll(is_gap, step) | np.roll(is_gap, -step)
    edge = has & ~is_notch
    # the corner between columns: top of the parabola through the turn at three of them
    before, at, after = (turn[row, np.clip(safe + k, 0, turn.shape[1] - 1)] for k in (-1, 0, 1))
    curve = before - 2 * at + after
    with np.errstate(invalid="ignore", divide="ignore"):
        shift = np.where(curve < 0, 0.5 * (before - after) / curve, 0.0)
    shift = np.clip(np.where(np.isfinite(shift), shift, 0.0), -0.5, 0.5)
    beside = np.clip(safe + np.where(shift < 0, -1, 1), 0, across.shape[1] - 1)
    part = np.abs(shift)
    x = np.where(has, (1 - part) * across[row, safe] + part * across[row, beside], np.nan)
    y = np.where(has, (1 - part) * along[row, safe] + part * along[row, beside], np.nan)
    ahead = np.minimum(safe + half, across.shape[1] - 1)
    to_joint = np.stack([across[row, safe - half] - x, along[row, safe - half] - y], axis=1)
    to_outer = np.stack([across[row, ahead] - x, along[row, ahead] - y], axis=1)
    to_joint /= np.linalg.norm(to_joint, axis=1, keepdims=True)
    to_outer /= np.linalg.norm(to_outer, axis=1, keepdims=True)
    inward = to_joint + to_outer
    inward /= np.linalg.norm(inward, axis=1, keepdims=True)
    floor_edge = np.column_stack([x, y, inward])
    rim = np.where(edge[:, None], floor_edge, np.nan)
    if is_notch.any():
        floor = [smooth_ring(column, is_gap=~is_notch) for column in floor_edge.T]
        floor_edge = np.where(is_notch[:, None], np.column_stack(floor), floor_edge)
    return RimTrace(
        column=np.where(edge, column, -1),
        across_mm=smooth_ring(rim[:, 0], is_gap=is_notch),
        along_mm=smooth_ring(rim[:, 1], is_gap=is_notch),
        inward_across=smooth_ring(rim[:, 2], is_gap=is_notch),
        inward_along=smooth_ring(rim[:, 3], is_gap=is_notch),
        is_notch=is_notch,
        is_gap=is_gap,
        beside_mm=beside_mm,
        band_mm=band_mm,
        turn_deg=np.where(edge, turn[row, safe], np.nan),
        floor_edge=floor_edge,
    )


def longest_run(flags: Mask) -> Mask:
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


def smooth_ring(values: Floats, *, is_gap: Mask) -> Floats:
    """
    Smooth a ring of values by a local parabola, twice; only the gap stays open.

    Parameters
    ----------
    values
        (n,), NaN where nothing was read.
    is_gap
        (n,) bool, the one run that stays NaN; single missing values elsewhere are bridged.

    Returns
    -------
    Floats
        (n,).
    """
    n = len(values)
    has_gap = bool(np.asarray(is_gap).any())
    first = int(np.flatnonzero(~is_gap & np.roll(is_gap, 1))[0]) if has_gap else 0
    run = np.roll(values, -first)[: int((~is_gap).sum())]
    seen = np.flatnonzero(np.isfinite(run))
    if len(seen) < len(PARABOLA):
        return np.asarray(values)
    run = np.interp(np.arange(len(run)), seen, run[seen])
    reach = len(PARABOLA) // 2
    for _ in range(2):
        if has_gap:  # odd reflection: the ends stay where they are
            ahead = 2 * run[0] - run[reach:0:-1]
            behind = 2 * run[-1] - run[-2 : -2 - reach : -1]
        else:
            ahead, behind = run[-reach:], run[:reach]
        run = np.convolve(np.concatenate([ahead, run, behind]), PARABOLA, mode="valid")
    smooth = np.full(n, np.nan)
    smooth[: len(run)] = run
    return np.roll(smooth, first)
