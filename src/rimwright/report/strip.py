"""The rim strip: the rim unrolled to its true length, labrum above and anchors below.

From 6 through 9, 12 and 3 back to 6, one scale for everything in it: lengths along the rim,
widths of labrum and graft, depths and diameters of drills.
"""

from __future__ import annotations

from collections.abc import Sequence

from rimwright.anatomy import Anchor, Plan, spoken_hour
from rimwright.report.bands import draw_findings, draw_graft, draw_run
from rimwright.report.figure import (
    EM,
    LINE,
    Figure,
    Lanes,
    cross,
    group,
    polyline,
    rect,
    text,
    text_width,
    wrap,
)
from rimwright.report.labrum_words import describe_map, short_words, width_words
from rimwright.report.legend import draw_key, key_entries
from rimwright.report.markup import Markup, join
from rimwright.report.pegs import draw_fan, draw_old, draw_pegs, old_anchor_hour, peg_tip
from rimwright.report.tissue import graft_runs, tissue_runs
from rimwright.report.unrolled import Unrolled, notch_stretches, station_of, stretches
from rimwright.report.wording import STATUS_SHAPES, number, side_words

WIDTH, LEFT, RIGHT = 1000.0, 52.0, 986.0
"""Drawing units; the strip fills a page of 180 mm at about life size."""
NOTES_TOP = 32.0
"""Where the notes over the sectors begin, drawing units."""
NOTE_LINES = 2
"""Longest note over a sector, lines; the table of the labrum map says the rest."""
ORIENTATION = {3: "posterior", 6: "cranial", 9: "anterior"}
"""Station and word; hours after 6."""


def draw_strip(plan: Plan) -> Figure:
    """
    The strip of a plan with its planned option.

    Parameters
    ----------
    plan
        Without a measured rim the hours are spaced evenly and no millimetres are shown.

    Returns
    -------
    Figure
        Named rim-strip.
    """
    rim = plan.hip.rim if plan.hip else None
    runs = tissue_runs(plan.labrum, plan.planned)
    probe = Unrolled(rim=rim, left=LEFT, right=RIGHT)
    notes, notes_height = _sector_notes(plan, probe, top=NOTES_TOP)
    action_y = NOTES_TOP + notes_height + 18.0
    rim_y = action_y + 16.0 + max(run.height_mm for run in runs) * probe.units_per_mm * 1.1 + 6.0
    track = Unrolled(rim=rim, left=LEFT, right=RIGHT, rim_y=rim_y)
    deepest_mm = _deepest_mm(plan)
    bone_bottom = rim_y + deepest_mm * track.units_per_mm + 26.0
    labels, labels_height = _anchor_labels(plan, track, top=bone_bottom + 4.0)
    axis_y = bone_bottom + labels_height + 12.0
    key_top = axis_y + 36.0
    key, key_height = draw_key(key_entries(plan, runs), (LEFT, key_top), width=RIGHT - LEFT)
    body = [
        rect((LEFT, rim_y), (RIGHT - LEFT, bone_bottom - rim_y), class_="f-bone"),
        _hours(track, top=20.0, bottom=bone_bottom),
        notes,
        _actions(plan, track, y=action_y),
        _notch(track, bottom=bone_bottom),
        [draw_run(track, run) for run in runs],
        [draw_graft(track, run) for run in graft_runs(runs)],
        [draw_findings(track, run) for run in runs],
        polyline([(LEFT, rim_y), (RIGHT, rim_y)], class_="f-rim"),
        _blocked(plan, track),
        [draw_old(track, rim, anchor=anchor) for anchor in plan.old_anchors],
        [draw_fan(track, rim, anchor=anchor) for anchor in plan.anchors],
        draw_pegs(track, rim, anchors=plan.anchors),
        labels,
        _heights(track, deepest_mm=deepest_mm if plan.anchors or plan.old_anchors else 0.0),
        _scale(track, y=axis_y),
        key,
    ]
    return Figure(
        name="rim-strip",
        title=f"Rim strip, {side_words(plan.side)}",
        description=describe_strip(plan),
        width=WIDTH,
        height=key_top + key_height + 4.0,
        body=join(body),
    )


def describe_strip(plan: Plan) -> str:
    """What the strip shows, in sentences."""
    rim = plan.hip.rim if plan.hip else None
    parts = ["The rim unrolled from 6 through 9 (posterior), 12 (cranial), 3 (anterior) to 6."]
    if rim is None:
        parts.append("No rim was measured: hours are spaced evenly, lengths are not to scale.")
    else:
        parts.append(f"Length {number(rim.length_mm, 'mm')}, the notch bridged straight.")
    parts.append(describe_map(plan.labrum))
    if plan.planned:
        actions = [f"{item.sector} {item.action.value}" for item in plan.planned.option.actions]
        parts.append(f"Planned: {plan.planned_option}; {'; '.join(actions) or 'no action'}.")
    for place, anchor in enumerate(plan.anchors, 1):
        parts.append(f"Anchor {place} at {spoken_hour(anchor.hour)}, {anchor.status.value}.")
    for old in plan.old_anchors:
        hour = old_anchor_hour(rim, old)
        parts.append(f"Old anchor at {spoken_hour(hour)}." if hour is not None else "")
    blocked = [spoken_hour(corridor.hour) for corridor in plan.corridors if not corridor.fits]
    if blocked:
        parts.append(f"No drill fits at {', '.join(blocked)}.")
    return " ".join(part for part in parts if part)


def _deepest_mm(plan: Plan) -> float:
    """Depth of bone to draw, mm."""
    planned = [anchor.depth_mm for anchor in plan.anchors]
    old = [anchor.depth_mm for anchor in plan.old_anchors]
    return max([*planned, *old, 4.0])


def _hours(track: Unrolled, *, top: float, bottom: float) -> Markup:
    """Hour lines with their numbers and the words of orientation."""
    parts = []
    for station in range(13):
        x = track.x_at(float(station))
        hour = (station + 6) % 12 or 12
        parts.append(polyline([(x, top + 6), (x, bottom)], class_="f-grid"))
        word = ORIENTATION.get(station)
        parts.append(text(f"{hour} {word}" if word else str(hour), (x, top), kind="mb"))
    return join(parts)


def _sector_notes(plan: Plan, track: Unrolled, *, top: float) -> tuple[Markup, float]:
    """Width, tissue and seal over each sector that has room; the height they take."""
    parts, lines_used = [], 1
    spans: list[tuple[float, float, list[str]]] = []
    for found in plan.labrum.sectors:
        choices = [short_words(found), width_words(found)]
        choices += [number(found.width_mm, "mm")] if found.width_mm is not None else []
        spans += [(a, b, choices) for a, b in stretches(found.sector)[:1]]
    for sector in plan.labrum.unknown_sectors():
        spans += [(a, b, ["not known"]) for a, b in stretches(sector)]
    for start, end, choices in spans:
        left, right = track.x_at(start), track.x_at(end)
        lines, words = _fitting(choices, right - left)
        lines_used = max(lines_used, len(lines))
        for row, words_of_row in enumerate(lines):
            at = ((left + right) / 2, top + EM + row * LINE)
            parts.append(text(words_of_row, at, kind="mhq" if words == "not known" else "mh"))
    return join(parts), lines_used * LINE


def _fitting(choices: Sequence[str], width: float) -> tuple[list[str], str]:
    """The first choice of words that has room, in lines; nothing where none has."""
    for words in choices:
        lines = wrap(words, width - 6)
        if len(lines) <= NOTE_LINES and all(text_width(row) <= width for row in lines):
            return lines, words
    return [], ""


def _actions(plan: Plan, track: Unrolled, *, y: float) -> Markup:
    """A bracket over each sector the option acts on, with the action in words."""
    if plan.planned is None:
        return Markup("")
    parts = []
    lanes = Lanes(left=LEFT, right=RIGHT)
    for item in plan.planned.option.actions:
        for start, end in stretches(item.sector):
            left, right = track.x_at(start) + 2, track.x_at(end) - 2
            spots = [(left, y + 14), (left, y + 8), (right, y + 8), (right, y + 14)]
            parts.append(polyline(spots, class_="f-thin"))
        start, end = max(stretches(item.sector), key=lambda span: span[1] - span[0])
        x, lane = lanes.place(item.action.value, (track.x_at(start) + track.x_at(end)) / 2)
        if lane == 0:
            parts.append(text(item.action.value, (x, y + 3), kind="mbh"))
    return join(parts)


def _notch(track: Unrolled, *, bottom: float) -> Markup:
    """The notch: no bone, bridged straight."""
    parts = []
    for start, end in notch_stretches(track.rim):
        left, right = track.x_at(start), track.x_at(end)
        parts.append(
            rect((left, track.rim_y), (right - left, bottom - track.rim_y), class_="f-paper")
        )
        spots = [(left, bottom), (left, track.rim_y), (right, track.rim_y), (right, bottom)]
        parts.append(polyline(spots, class_="f-cut"))
        for row, words in enumerate(wrap("notch, no bone", max(right - left - 4, 50))):
            at = ((left + right) / 2, track.rim_y + 24 + row * LINE)
            parts.append(text(words, at, kind="mhq"))
    return join(parts)


def _blocked(plan: Plan, track: Unrolled) -> Markup:
    """A cross under every hour at which no drill fits."""
    spots = [
        (track.x_at(station_of(corridor.hour)), track.rim_y + 9.0)
        for corridor in plan.corridors
        if not corridor.fits
    ]
    return join([cross(spot, size=4.5) for spot in spots])


def _anchor_labels(plan: Plan, track: Unrolled, *, top: float) -> tuple[Markup, float]:
    """Hour and state of each anchor under its peg, in as many lanes as they need."""
    rim, lanes = track.rim, Lanes(left=LEFT, right=RIGHT, gap=6.0)
    leaders: list[Markup] = []
    parts: list[Markup] = []
    for place, anchor in enumerate(plan.anchors, 1):
        tip = peg_tip(track, rim, anchor=anchor)
        x, lane = lanes.place(_label(anchor), tip[0])
        at = (x, top + EM + lane * LINE)
        leader = polyline([(tip[0], tip[1] + 13), (at[0], at[1] - 13)], class_="f-axis")
        leaders.append(leader)
        parts.append(group(text(_label(anchor), at, kind="mh"), data_anchor=str(place)))
    for old in plan.old_anchors:
        hour = old_anchor_hour(rim, old)
        if hour is None:
            continue
        x, lane = lanes.place("old", track.x_at(station_of(hour)))
        parts.append(text("old", (x, top + EM + lane * LINE), kind="mhq"))
    return join([leaders, parts]), lanes.n_lanes * LINE


def _label(anchor: Anchor) -> str:
    """11:30 where all is well, with shape and word where it is not."""
    hour = spoken_hour(anchor.hour)
    if anchor.status.value == "ok":
        return hour
    return f"{hour} {STATUS_SHAPES[anchor.status]} {anchor.status.value}"


def _heights(track: Unrolled, *, deepest_mm: float) -> Markup:
    """Millimetres above and below the rim at the left edge."""
    if track.rim is None:
        return Markup("")
    marks: Sequence[float] = [
        0.0,
        5.0,
        *[-10.0 * step for step in range(1, int(deepest_mm // 10) + 1)],
    ]
    parts = []
    for height_mm in marks:
        y = track.rim_y - height_mm * track.units_per_mm
        parts.append(polyline([(LEFT - 7, y), (LEFT, y)], class_="f-axis"))
        parts.append(text(f"{abs(height_mm):g}", (LEFT - 10, y + 5.5), kind="eq"))
    return join(
        [*parts, text("mm", (LEFT - 10, track.rim_y - 5 * track.units_per_mm - 12), kind="eq")]
    )


def _scale(track: Unrolled, *, y: float) -> Markup:
    """Millimetres along the rim, or the words that there are none."""
    if track.length_mm is None:
        words = "no rim measured: hours spaced evenly, not to scale, no millimetres along the rim"
        return text(words, ((LEFT + RIGHT) / 2, y + EM), kind="mq")
    parts = [polyline([(LEFT, y), (RIGHT, y)], class_="f-axis")]
    for mark in range(0, int(track.length_mm) + 1, 10):
        x = LEFT + mark * track.units_per_mm
        parts.append(polyline([(x, y), (x, y + 6)], class_="f-axis"))
        parts.append(text("0 mm" if mark == 0 else f"{mark}", (x, y + 22), kind="mq"))
    return join(parts)
