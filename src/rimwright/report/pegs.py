"""Anchors drawn along a track: a peg to scale, its corridor as a fan, its number and its state."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from rimwright.anatomy import Anchor, OldAnchor, RimCurve, Status, wrap_hour
from rimwright.report.figure import Spot, circle, group, polygon, text
from rimwright.report.markup import Markup, join
from rimwright.report.unrolled import Track, station_of

FAN_STEPS = 8
"""Straight steps the end of a fan is drawn with."""
BADGE_RADIUS = 12.5
"""Radius of a badge, drawing units."""
BADGE_PARTS = (1.0, 0.75, 0.5)
"""Parts of a peg's length at which its badge may sit."""


def lean_deg(rim: RimCurve | None, hour: float, direction: np.ndarray) -> float:
    """Angle a drill leans along the rim, towards increasing hours, degrees; 0 without a rim."""
    if rim is None:
        return 0.0
    ahead, behind = rim.point_at(wrap_hour(hour + 0.1)), rim.point_at(wrap_hour(hour - 0.1))
    tangent = ahead - behind
    length = float(np.linalg.norm(tangent))
    if not np.isfinite(length) or length == 0.0:
        return 0.0
    return float(np.degrees(np.arcsin(np.clip(direction @ tangent / length, -1.0, 1.0))))


def peg_tip(track: Track, rim: RimCurve | None, *, anchor: Anchor) -> Spot:
    """Where the tip of an anchor lies in the drawing."""
    lean = np.radians(lean_deg(rim, anchor.hour, anchor.direction))
    return track.point(
        station_of(anchor.hour),
        -anchor.depth_mm * float(np.cos(lean)),
        along_mm=anchor.depth_mm * float(np.sin(lean)),
    )


def draw_fan(track: Track, rim: RimCurve | None, *, anchor: Anchor) -> Markup:
    """The aiming error an anchor tolerates, as a fan of its half angle, to the drill's depth."""
    lean = lean_deg(rim, anchor.hour, anchor.direction)
    station = station_of(anchor.hour)
    turns = np.radians(lean + np.linspace(-1, 1, FAN_STEPS + 1) * anchor.half_angle_deg)
    edge = [
        track.point(
            station,
            -anchor.depth_mm * float(np.cos(turn)),
            along_mm=anchor.depth_mm * float(np.sin(turn)),
        )
        for turn in turns
    ]
    return polygon([track.point(station), *edge], class_="f-fan")


def draw_pegs(track: Track, rim: RimCurve | None, *, anchors: Sequence[Anchor]) -> Markup:
    """All anchors: pegs of their drill's width and depth, a badge with its number on each."""
    spots = badge_spots(track, rim, anchors=anchors)
    pegs, badges = [], []
    for number, (anchor, (x, y)) in enumerate(zip(anchors, spots, strict=True), 1):
        place = str(number)
        disc = circle((x, y), BADGE_RADIUS, class_="f-badge")
        words = text(place, (x, y + 5.8), kind="mb")
        pegs.append(group(_peg(track, rim, anchor=anchor), data_anchor=place))
        badges.append(group(disc, words, data_anchor=place))
    return join([pegs, badges])  # no peg may cover a number


def badge_spots(track: Track, rim: RimCurve | None, *, anchors: Sequence[Anchor]) -> list[Spot]:
    """A badge at the tip of each peg, or higher up on it where tips converge."""
    spots: list[Spot] = []
    for anchor in anchors:
        tip = peg_tip(track, rim, anchor=anchor)
        foot = track.point(station_of(anchor.hour))
        places = [
            (foot[0] + part * (tip[0] - foot[0]), foot[1] + part * (tip[1] - foot[1]))
            for part in BADGE_PARTS
        ]
        free = [p for p in places if all(math.dist(p, q) >= 2 * BADGE_RADIUS for q in spots)]
        spots.append(free[0] if free else tip)
    return spots


def _peg(track: Track, rim: RimCurve | None, *, anchor: Anchor) -> Markup:
    """One peg of its drill's width and depth: filled where ok, open where not."""
    return _shaft(
        track,
        station_of(anchor.hour),
        lean_deg(rim, anchor.hour, anchor.direction),
        drill_mm=anchor.drill_mm,
        depth_mm=anchor.depth_mm,
        class_="f-peg" if anchor.status is Status.OK else "f-pegopen",
    )


def old_anchor_hour(rim: RimCurve | None, anchor: OldAnchor) -> float | None:
    """Hour of an old anchor: as given, else from its entry; None where neither helps."""
    if anchor.hour is not None:
        return anchor.hour
    if rim is None or anchor.entry_mm is None:
        return None
    return float(rim.hours_of(anchor.entry_mm[None, :])[0])


def draw_old(track: Track, rim: RimCurve | None, *, anchor: OldAnchor) -> Markup:
    """An old anchor or tunnel: an empty dashed peg."""
    hour = old_anchor_hour(rim, anchor)
    if hour is None:
        return Markup("")
    lean = 0.0 if anchor.direction is None else lean_deg(rim, hour, anchor.direction)
    return join(
        _shaft(
            track,
            station_of(hour),
            lean,
            drill_mm=anchor.drill_mm,
            depth_mm=anchor.depth_mm,
            class_="f-old",
        )
    )


def _shaft(
    track: Track, station: float, lean: float, *, drill_mm: float, depth_mm: float, class_: str
) -> Markup:
    """A drill of true width and depth from the rim into bone."""
    turn = np.radians(lean)
    deep, wide = (float(np.cos(turn)), float(np.sin(turn))), drill_mm / 2
    corners = []
    for depth, side in ((0.0, -wide), (depth_mm, -wide), (depth_mm, wide), (0.0, wide)):
        down = depth * deep[0] - side * deep[1]
        along = depth * deep[1] + side * deep[0]
        corners.append(track.point(station, -down, along_mm=along))
    return polygon(corners, class_=class_)
