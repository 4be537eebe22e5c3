"""Portals' reach: which hours each portal's line meets, beside the hours of the anchors."""

from __future__ import annotations

from rimwright.anatomy import Plan, spoken_hour
from rimwright.report.figure import Figure, circle, polyline, rect, text, text_width
from rimwright.report.hour_axes import WIDTH, WORDS
from rimwright.report.markup import Markup, join
from rimwright.report.unrolled import stretches

LEFT, RIGHT = 230.0, 980.0
"""Ends of the hour axis, drawing units."""
TOP, ROW = 66.0, 34.0
"""First row and distance of rows, drawing units."""


def draw_portals(plan: Plan) -> Figure | None:
    """The reach of every portal by hour; None where portals were not computed."""
    if not plan.portals:
        return None
    bottom = TOP + ROW * len(plan.portals)
    sentences = ["Hours of the rim that a straight line from each portal reaches past the head."]
    for portal in plan.portals:
        reach = ", ".join(str(sector) for sector in portal.reaches) or "no hour"
        sentences.append(f"{portal.name}: {reach}.")
    body = [_hours(bottom), _anchors(plan, bottom), _rows(plan)]
    return Figure(
        name="portals",
        title="Portals' reach by hour",
        description=" ".join(sentences),
        width=WIDTH,
        height=bottom + 48.0,
        body=join(body),
    )


def _x(station: float) -> float:
    """Place of a station, hours after 6."""
    return LEFT + (RIGHT - LEFT) * station / 12.0


def _hours(bottom: float) -> Markup:
    """Hour lines and their numbers."""
    parts = []
    for station in range(13):
        x, word = _x(float(station)), WORDS.get(station)
        hour = str((station + 6) % 12 or 12)
        parts.append(polyline([(x, TOP - 12), (x, bottom)], class_="f-grid"))
        parts.append(text(hour, (x, bottom + 20), kind="m"))
        if word:
            parts.append(text(word, (x, bottom + 40), kind="mb"))
    return join(parts)


def _anchors(plan: Plan, bottom: float) -> Markup:
    """The anchors by number over the rows, each with a line through them."""
    parts = [text("anchors", (8, TOP - 24))] if plan.anchors else []
    for place, anchor in enumerate(plan.anchors, 1):
        x = _x((anchor.hour - 6.0) % 12.0)
        parts.append(polyline([(x, TOP - 17), (x, bottom)], class_="f-axis"))
        parts.append(circle((x, TOP - 30), 12.5, class_="f-badge"))
        parts.append(text(str(place), (x, TOP - 24.2), kind="mb"))
    return join(parts)


def _rows(plan: Plan) -> Markup:
    """A bar for each stretch a portal reaches; words where it reaches none."""
    parts = []
    for row, portal in enumerate(plan.portals):
        y = TOP + ROW * row
        parts.append(text(portal.name, (8, y + 18)))
        for sector in portal.reaches:
            for start, end in stretches(sector):
                size = (_x(end) - _x(start), 18.0)
                parts.append(rect((_x(start), y + 4), size, class_="f-bar2"))
            start, end = max(stretches(sector), key=lambda span: span[1] - span[0])
            words = f"{spoken_hour(sector.from_hour)}–{spoken_hour(sector.to_hour)}"
            if text_width(words) <= _x(end) - _x(start) + 6:  # else the table says it
                parts.append(text(words, ((_x(start) + _x(end)) / 2, y + 19), kind="mh"))
        if not portal.reaches:
            parts.append(text("reaches no hour", ((LEFT + RIGHT) / 2, y + 19), kind="mq"))
    return join(parts)
