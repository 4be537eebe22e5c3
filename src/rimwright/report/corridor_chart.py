"""The corridor chart: by hour, how far a drill may lean before it leaves its margins."""

from __future__ import annotations

from rimwright.anatomy import Corridor, Plan, spoken_hour
from rimwright.report.figure import (
    LINE,
    Figure,
    Lanes,
    circle,
    cross,
    group,
    polyline,
    rect,
    text,
    text_width,
)
from rimwright.report.hour_axes import WIDTH, HourAxes, value_range
from rimwright.report.legend import Entry, draw_key
from rimwright.report.markup import Markup, join
from rimwright.report.wording import number

BAR = 13.0
"""Width of a bar, drawing units; corridors stand a quarter of an hour, 18.7 units, apart."""
WORD_ROOM_DEG = 7.0
"""Room over the highest value for the words of what blocks a drill, degrees."""


def draw_corridors(plan: Plan, *, aiming_error_deg: float | None) -> Figure | None:
    """
    The chart of a plan's corridors.

    Parameters
    ----------
    plan
        Its corridors and anchors.
    aiming_error_deg
        Tolerance line; None draws none.

    Returns
    -------
    Figure or None
        Named corridors; None where no corridor was computed.
    """
    if not plan.corridors:
        return None
    values = [max(c.half_angle_deg, c.rim_angle_deg) for c in plan.corridors]
    if any(not corridor.fits for corridor in plan.corridors):
        values.append(max(values) + WORD_ROOM_DEG)
    low, high = value_range([*values, aiming_error_deg or 0.0], step=10.0, floor=0.0)
    entries = _key(plan, aiming_error_deg)
    key, key_height = draw_key(entries, (64.0, 2.0), width=WIDTH - 80.0)
    top = key_height + 46.0
    axes = HourAxes(top=top, bottom=top + 280.0, low=low, high=high, step=10.0)
    body = [
        key,
        axes.draw(clock=f"hour on the rim; {_drill(plan)}"),
        [_bar(axes, corridor) for corridor in plan.corridors if corridor.fits],
        _blocked(plan, axes),
        _limit(axes, aiming_error_deg),
        _anchors(plan, axes),
    ]
    return Figure(
        name="corridors",
        title="Corridors by hour",
        description=describe_corridors(plan, aiming_error_deg=aiming_error_deg),
        width=WIDTH,
        height=axes.bottom + 54.0,
        body=join(body),
    )


def describe_corridors(plan: Plan, *, aiming_error_deg: float | None) -> str:
    """What the chart shows, in sentences."""
    fitting = [c for c in plan.corridors if c.fits]
    parts = [f"Half angle and rim angle of the corridor at each quarter hour, {_drill(plan)}."]
    if fitting:
        widest = max(fitting, key=lambda c: c.half_angle_deg)
        narrowest = min(fitting, key=lambda c: c.half_angle_deg)
        for word, corridor in (("Widest", widest), ("Narrowest", narrowest)):
            angle = number(corridor.half_angle_deg, "deg")
            parts.append(f"{word} at {spoken_hour(corridor.hour)}, half angle {angle}.")
    parts += [
        f"Nothing fits at {spoken_hour(corridor.hour)}: {corridor.blocked_by}."
        for corridor in plan.corridors
        if not corridor.fits
    ]
    if aiming_error_deg is not None:
        parts.append(f"Line at the aiming error of {number(aiming_error_deg, 'deg')}.")
    return " ".join(parts)


def _drill(plan: Plan) -> str:
    """The drill the corridors were computed for."""
    kind = plan.corridor_kind
    if kind is None:
        return "drill not stated"
    return f"drill {number(kind.drill_mm, 'mm')}, {number(kind.depth_mm, 'mm', digits=0)} deep"


def _bar(axes: HourAxes, corridor: Corridor) -> Markup:
    """Half angle as a bar, rim angle as a ring above it."""
    x = axes.x(corridor.hour)
    y = axes.y(corridor.half_angle_deg)
    return join(
        [
            rect((x - BAR / 2, y), (BAR, axes.bottom - y), class_="f-bar"),
            circle((x, axes.y(corridor.rim_angle_deg)), 4.5, class_="f-dot2"),
        ]
    )


def _blocked(plan: Plan, axes: HourAxes) -> Markup:
    """A cross at every hour where nothing fits, and what stops it in words above."""
    parts: list[Markup] = []
    lanes = Lanes(left=axes.left, right=axes.right)
    groups: list[list[Corridor]] = []
    for corridor in sorted((c for c in plan.corridors if not c.fits), key=lambda c: axes.x(c.hour)):
        last = groups[-1][-1] if groups else None
        near = last is not None and axes.x(corridor.hour) - axes.x(last.hour) < 2 * BAR
        if last is not None and near and last.blocked_by == corridor.blocked_by:
            groups[-1].append(corridor)
        else:
            groups.append([corridor])
    for members in groups:
        spots = [axes.x(corridor.hour) for corridor in members]
        parts += [cross((x, axes.bottom - 8), size=5.0) for x in spots]
        words = members[0].blocked_by or "blocked"
        middle = sum(spots) / len(spots)
        x, lane = lanes.place(words, middle)
        y = _clear_of_bars(plan, axes, reach=(x, text_width(words) / 2 + BAR)) - lane * LINE
        parts.append(polyline([(middle, axes.bottom - 18), (x, y + 5)], class_="f-axis"))
        parts.append(text(words, (x, y), kind="mh"))
    return join(parts)


def _clear_of_bars(plan: Plan, axes: HourAxes, *, reach: tuple[float, float]) -> float:
    """A height over every bar and ring within reach of a label's middle."""
    middle, half = reach
    near = [
        axes.y(max(corridor.half_angle_deg, corridor.rim_angle_deg))
        for corridor in plan.corridors
        if abs(axes.x(corridor.hour) - middle) <= half
    ]
    return max(min([*near, axes.bottom - 22]) - 12, axes.top + 16)


def _limit(axes: HourAxes, aiming_error_deg: float | None) -> Markup:
    """The aiming error a corridor should tolerate, as a dashed line."""
    if aiming_error_deg is None:
        return Markup("")
    y = axes.y(aiming_error_deg)
    return polyline([(axes.left, y), (axes.right, y)], class_="f-limit")


def _anchors(plan: Plan, axes: HourAxes) -> Markup:
    """Planned anchors over the chart, by number."""
    parts = []
    for place, anchor in enumerate(plan.anchors, 1):
        x = axes.x(anchor.hour)
        line = polyline([(x, axes.top - 10), (x, axes.top)], class_="f-thin")
        badge = circle((x, axes.top - 22), 12.5, class_="f-badge")
        words = text(str(place), (x, axes.top - 16.2), kind="mb")
        parts.append(group(line, badge, words, data_anchor=str(place)))
    return join(parts)


def _key(plan: Plan, aiming_error_deg: float | None) -> list[Entry]:
    """What bar, ring, line and cross mean."""
    entries = [
        (rect((10, 2), (13, 14), class_="f-bar"), "half angle: cone round the best axis"),
        (circle((17, 9), 4.5, class_="f-dot2"), "rim angle: in the radial plane"),
    ]
    if aiming_error_deg is not None:
        line = polyline([(2, 9), (32, 9)], class_="f-limit")
        entries.append((line, f"aiming error {number(aiming_error_deg, 'deg', digits=0)}"))
    if any(not corridor.fits for corridor in plan.corridors):
        entries.append((cross((17, 9), size=5.0), "nothing fits, and what stops it"))
    return entries
