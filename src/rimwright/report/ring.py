"""The rim ring: the strip rolled up, as seen from the lateral side of the hip."""

from __future__ import annotations

from rimwright.anatomy import Plan, Side, spoken_hour, wrap_hour
from rimwright.report.bands import draw_findings, draw_graft, draw_run
from rimwright.report.figure import Figure, circle, cross, path, polyline, text
from rimwright.report.labrum_words import describe_map
from rimwright.report.markup import Markup, element, join
from rimwright.report.pegs import draw_fan, draw_old, draw_pegs
from rimwright.report.tissue import graft_runs, tissue_runs
from rimwright.report.unrolled import Rolled, notch_stretches, station_of
from rimwright.report.wording import count_of, side_words

SIZE = 620.0
"""Width of the drawing, drawing units."""
TOP = 46.0
"""Room for the heading, drawing units."""
HOUR_GAP_MM = 25.5
"""How far outside the rim the hours stand, mm: beyond a drill of usual depth."""
HALF_SPAN_MM = 53.0
"""Half of what is shown round a rim of usual size, mm."""
LABEL_MM = 2.0
"""Room for an hour's figure beyond its place, mm."""


def draw_ring(plan: Plan) -> Figure:
    """
    The ring of a plan with its planned option.

    Parameters
    ----------
    plan
        Without a measured rim a circle stands for it.

    Returns
    -------
    Figure
        Named rim-ring; anterior to the right for a right hip, to the left for a left one.
    """
    rim = plan.hip.rim if plan.hip else None
    planned = [anchor.depth_mm for anchor in plan.anchors]
    old = [anchor.depth_mm for anchor in plan.old_anchors]
    gap_mm = max([HOUR_GAP_MM, *(depth_mm + 5.5 for depth_mm in (*planned, *old))])
    rolled = Rolled(rim=rim, side=plan.side, centre=(0.0, 0.0), units_per_mm=1.0)
    widest_mm = max(HALF_SPAN_MM - HOUR_GAP_MM, float(rolled.radii_mm.max()) + LABEL_MM)
    half_mm = widest_mm + gap_mm
    centre = (SIZE / 2, TOP + SIZE / 2)
    track = Rolled(rim=rim, side=plan.side, centre=centre, units_per_mm=SIZE / (2 * half_mm))
    runs = tissue_runs(plan.labrum, plan.planned)
    body = [
        text(f"{side_words(plan.side)}, seen from lateral", (SIZE / 2, 20.0), kind="mb"),
        _hours(track, gap_mm=gap_mm),
        _orientation(plan.side),
        [draw_run(track, run) for run in runs],
        [draw_graft(track, run) for run in graft_runs(runs)],
        [draw_findings(track, run) for run in runs],
        _rim(track),
        [
            cross(track.point(station_of(corridor.hour), -1.8), size=4.5)
            for corridor in plan.corridors
            if not corridor.fits
        ],
        [draw_old(track, rim, anchor=anchor) for anchor in plan.old_anchors],
        [draw_fan(track, rim, anchor=anchor) for anchor in plan.anchors],
        draw_pegs(track, rim, anchors=plan.anchors),
        _middle(plan, centre),
    ]
    return Figure(
        name="rim-ring",
        title=f"Rim ring, {side_words(plan.side)} seen from lateral",
        description=describe_ring(plan),
        width=SIZE,
        height=TOP + SIZE - 6.0,
        body=join(body),
    )


def describe_ring(plan: Plan) -> str:
    """What the ring shows, in sentences."""
    hand = "right" if plan.side is Side.RIGHT else "left"
    anchors = [f"{n} at {spoken_hour(a.hour)}" for n, a in enumerate(plan.anchors, 1)]
    return (
        f"The rim as a dial seen from lateral, 12 cranial on top, 3 anterior on the {hand}. "
        f"Labrum inside, bone outside. {describe_map(plan.labrum)} "
        f"Anchors: {', '.join(anchors) or 'none'}."
    )


def _hours(track: Rolled, *, gap_mm: float) -> Markup:
    """The twelve hours round the dial."""
    parts = []
    for hour in range(1, 13):
        station = station_of(float(hour % 12))
        inner, outer = track.point(station, 0.0), track.point(station, -(gap_mm - 2.6))
        parts.append(polyline([inner, outer], class_="f-grid"))
        x, y = track.point(station, -gap_mm)
        parts.append(text(str(hour), (x, y + 5.8), kind="mb"))
    return join(parts)


def _orientation(side: Side) -> Markup:
    """Anterior and posterior in words beside the heading, where no drill can cover them."""
    words = ("posterior", "anterior") if side is Side.RIGHT else ("anterior", "posterior")
    return join(
        [
            text(f"← {words[0]}", (4.0, 20.0), kind="b"),
            text(f"{words[1]} →", (SIZE - 4.0, 20.0), kind="be"),
            text("cranial", (SIZE / 2 + 22.0, TOP + 12.0), kind="q"),
        ]
    )


def _rim(track: Rolled) -> Markup:
    """The bony edge, solid; over the notch, dashed."""
    stations = [step / 10 for step in range(121)]
    rim = track.rim
    solid = [
        track.point(station)
        for station in stations
        if rim is None or not rim.is_in_notch(wrap_hour(station + 6.0))
    ]
    gaps = notch_stretches(rim)
    parts = [element("path", d=path(solid, closed=not gaps), class_="f-rim")]
    for start, end in gaps:
        bridge = [track.point(s) for s in (start, *stations, end) if start <= s <= end]
        parts.append(polyline(bridge, class_="f-cut"))
    if gaps:
        x, y = track.point(0.0)
        parts.append(text("notch, no bone", (x, y + 24.0), kind="mhq"))
    return join(parts)


def _middle(plan: Plan, centre: tuple[float, float]) -> Markup:
    """What the dial is of, in its middle."""
    words = [plan.planned_option, count_of(len(plan.anchors), "anchor")]
    if plan.hip is None or plan.hip.rim is None:
        words.append("no rim measured")
    parts = [circle(centre, 3.0, class_="f-ink")]
    for row, line in enumerate(words):
        parts.append(text(line, (centre[0], centre[1] + 26 + 21 * row), kind="mh"))
    return join(parts)
