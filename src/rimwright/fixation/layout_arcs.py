"""The arcs of bone that sectors cover: hours to try, arc lengths, and the places to be held."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, RimCurve, Sector, hours_after, wrap_hour

LAYOUT_STEP_HOURS = 0.125
"""Hours tried lie this near, about 1.6 mm of rim: spacing misses its target by half of it. Every
other one is an hour of the corridors too, which are then judged once."""
SAME_HOUR = 1e-6
"""Ends of sectors nearer than this touch, hours."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LayoutArc:
    """
    One unbroken arc of bone to fix tissue to.

    Parameters
    ----------
    hours
        (h,) hours tried, in order along the arc.
    along_mm
        (h,) arc length from the arc's start, mm.
    length_mm
        Of the arc, mm; of the whole rim where it is closed.
    held_mm
        Places along the arc that need an anchor near: both ends and where sectors touch.
    closed
        Whether the arc runs round and meets itself; then nothing is an end.
    """

    hours: Floats
    along_mm: Floats
    length_mm: float
    held_mm: tuple[float, ...]
    closed: bool


def arcs_of(rim: RimCurve, sectors: Sequence[Sector]) -> tuple[LayoutArc, ...]:
    """
    Cut sectors at the notch and join those that touch.

    Parameters
    ----------
    rim
        The edge; hours where it has no point are left out.
    sectors
        Without overlap, any order.

    Returns
    -------
    tuple of LayoutArc
        In order of hours after 6; none where the sectors lie in the notch altogether.
    """
    arcs = []
    for run in _joined(sectors):
        start = run[0].from_hour
        span = sum(sector.span_hours for sector in run)
        inner = np.cumsum([0.0] + [sector.span_hours for sector in run])
        arcs += _bone_pieces(rim, start=start, span=min(span, 12.0), marks=inner)
    return tuple(sorted(arcs, key=lambda arc: hours_after(6.0, float(arc.hours[0]))))


def _joined(sectors: Sequence[Sector]) -> list[list[Sector]]:
    """Runs of sectors that touch end to end."""
    ordered = sorted(sectors, key=lambda sector: sector.from_hour)
    runs: list[list[Sector]] = []
    for sector in ordered:
        if runs and _touch(runs[-1][-1], sector):
            runs[-1].append(sector)
        else:
            runs.append([sector])
    if len(runs) > 1 and _touch(runs[-1][-1], runs[0][0]):
        runs[0] = runs.pop() + runs[0]
    return runs


def _touch(first: Sector, second: Sector) -> bool:
    """Whether the second begins where the first ends."""
    off = hours_after(first.to_hour, second.from_hour)
    return min(off, 12.0 - off) < SAME_HOUR


def _bone_pieces(rim: RimCurve, *, start: float, span: float, marks: Floats) -> list[LayoutArc]:
    """The pieces of one run outside the notch."""
    inside = np.arange(
        np.ceil(start / LAYOUT_STEP_HOURS), np.floor((start + span) / LAYOUT_STEP_HOURS) + 1
    )
    # the last hours with a rim point beside the notch, so that no bone is lost to the step
    beside = rim.hours[rim.is_bone & ~(np.roll(rim.is_bone, 1) & np.roll(rim.is_bone, -1))]
    steps = np.unique(
        np.round(
            np.concatenate(
                [inside * LAYOUT_STEP_HOURS - start, np.mod(beside - start, 12.0), marks]
            ),
            6,
        )
    )
    steps = steps[(steps >= 0.0) & (steps <= span)]
    whole = span >= 12.0 - SAME_HOUR
    is_bone = np.array([_is_bone(rim, start + step) for step in steps])
    if whole and is_bone.all():
        kept = steps[:-1]
        hours = np.array([wrap_hour(round(wrap_hour(start + step), 6)) for step in kept])
        length = float(rim.arc_positions_mm()[-1])
        return [
            LayoutArc(
                hours=hours,
                along_mm=_along(rim, hours),
                length_mm=length,
                held_mm=(),
                closed=True,
            )
        ]
    if whole and is_bone[0] and is_bone[-1]:
        # Begin behind the notch, so that the ring is not cut where it was merely begun.
        first = int(np.flatnonzero(~is_bone)[-1]) + 1
        shift = float(steps[first])
        return _bone_pieces(
            rim, start=wrap_hour(start + shift), span=12.0 - SAME_HOUR * 2, marks=np.zeros(1)
        )
    pieces = []
    edges = np.flatnonzero(np.diff(np.concatenate([[0], is_bone.astype(int), [0]])))
    for low, past in zip(edges[::2], edges[1::2], strict=True):
        kept = steps[low:past]
        hours = np.array([wrap_hour(round(wrap_hour(start + step), 6)) for step in kept])
        along = _along(rim, hours)
        held = [
            float(along[np.abs(kept - mark).argmin()])
            for mark in marks
            if kept[0] - SAME_HOUR <= mark <= kept[-1] + SAME_HOUR
        ]
        pieces.append(
            LayoutArc(
                hours=hours,
                along_mm=along,
                length_mm=float(along[-1]),
                held_mm=tuple(sorted({0.0, float(along[-1]), *held})),
                closed=False,
            )
        )
    return pieces


def _is_bone(rim: RimCurve, hour: float) -> bool:
    """Whether the rim has a point at an hour and the hour is not inside the notch."""
    # Sums of tenths miss the notch's own end by 1e-15, which would put it inside.
    hour = wrap_hour(round(wrap_hour(hour), 6))
    return bool(np.isfinite(rim.point_at(hour)).all()) and not rim.is_in_notch(hour)


def _along(rim: RimCurve, hours: Floats) -> Floats:
    """Arc length of each hour from the first, mm."""
    positions = rim.arc_positions_mm()
    stations = np.linspace(0.0, 12.0, len(positions))
    at = np.interp([hours_after(6.0, float(hour)) for hour in hours], stations, positions)
    along = np.mod(at - at[0], positions[-1])
    along[0] = 0.0
    return along
