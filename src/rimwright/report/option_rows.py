"""The five options side by side: action by sector, anchors and graft, one small strip each."""

from __future__ import annotations

from rimwright.anatomy import Action, Plan, PlannedOption, Status
from rimwright.report.figure import (
    LINE,
    Figure,
    Lanes,
    cross,
    polyline,
    rect,
    text,
    text_width,
    wrap,
)
from rimwright.report.hour_axes import WIDTH, WORDS
from rimwright.report.markup import Markup, join
from rimwright.report.unrolled import station_of, stretches
from rimwright.report.wording import STANCE_SHAPES, count_of, number

LEFT, RIGHT = 232.0, 760.0
"""Ends of the small strips, drawing units."""
ROW, BAND = 78.0, 26.0
"""Height of a row and of its band, drawing units."""


def draw_options(plan: Plan) -> Figure | None:
    """All options of a plan, each on the same hours; None where there are none."""
    if not plan.options:
        return None
    bottom = 8.0 + ROW * len(plan.options)
    body = [
        _hours(bottom),
        [_row(plan, item, 8.0 + ROW * k) for k, item in enumerate(plan.options)],
    ]
    return Figure(
        name="options",
        title="Options side by side",
        description=" ".join(_sentence(item) for item in plan.options),
        width=WIDTH,
        height=bottom + 30.0,
        body=join(body),
    )


def _sentence(item: PlannedOption) -> str:
    """One option in words."""
    actions = "; ".join(f"{done.sector} {done.action.value}" for done in item.option.actions)
    return (
        f"{item.option.name}, {item.option.stance.value}: {actions or 'no action'}; "
        f"{count_of(len(item.anchors), 'anchor')}; {_graft(item)}."
    )


def _graft(item: PlannedOption) -> str:
    """Stock of an option in words."""
    if item.graft is None:
        return "no graft"
    return f"stock {number(item.graft.stock_length_mm, 'mm', digits=0)}"


def _x(station: float) -> float:
    """Place of a station, hours after 6."""
    return LEFT + (RIGHT - LEFT) * station / 12.0


def _hours(bottom: float) -> Markup:
    """Hour lines through all rows."""
    parts = []
    for station in range(0, 13, 3):
        x, word = _x(float(station)), WORDS.get(station)
        hour = str((station + 6) % 12 or 12)
        parts.append(polyline([(x, 4), (x, bottom)], class_="f-grid"))
        parts.append(text(f"{hour} {word}" if word else hour, (x, bottom + 20), kind="m"))
    return join(parts)


def _row(plan: Plan, item: PlannedOption, top: float) -> Markup:
    """Name and stance, the strip, anchors and stock."""
    is_planned = item.option.name == plan.planned_option
    parts: list[Markup] = []
    if is_planned:
        parts.append(rect((0, top - 2), (6, ROW - 10), class_="f-ink"))
    names = wrap(item.option.name, LEFT - 34)
    for row, words in enumerate(names):
        parts.append(text(words, (14, top + 15 + LINE * row), kind="b"))
    stance = f"{STANCE_SHAPES[item.option.stance]} {item.option.stance.value}"
    parts.append(text(stance, (14, top + 15 + LINE * len(names))))
    base = top + 14 + BAND
    parts.append(polyline([(LEFT, base), (RIGHT, base)], class_="f-rim"))
    lanes = Lanes(left=LEFT, right=RIGHT)
    for done in item.option.actions:
        for start, end in stretches(done.sector):
            parts.append(_band(done.action, (_x(start), _x(end)), base))
        start, end = max(stretches(done.sector), key=lambda span: span[1] - span[0])
        middle, word = (_x(start) + _x(end)) / 2, done.action.value
        if text_width(word) + 6 <= _x(end) - _x(start):
            parts.append(text(word, (middle, base - 8), kind="mh"))
            continue
        x, lane = lanes.place(word, middle)
        if lane == 0:  # over the band; a second lane would run into the row above
            parts.append(text(word, (x, base - BAND - 5), kind="mh"))
    for anchor in item.anchors:
        x = _x(station_of(anchor.hour))
        class_ = "f-peg" if anchor.status is Status.OK else "f-pegopen"
        parts.append(rect((x - 2.5, base + 1), (5, 16), class_=class_))
    if not item.anchors and any(done.action.needs_anchors for done in item.option.actions):
        parts.append(cross((RIGHT + 22, top + 8), size=5.0))
        parts.append(text("not laid out", (RIGHT + 36, top + 14)))
    else:
        parts.append(text(count_of(len(item.anchors), "anchor"), (RIGHT + 14, top + 14)))
    parts.append(text(_graft(item), (RIGHT + 14, top + 14 + LINE)))
    if is_planned:
        parts.append(text("shown first", (RIGHT + 14, top + 14 + 2 * LINE), kind="b"))
    return join(parts)


def _band(action: Action, span: tuple[float, float], base: float) -> Markup:
    """One action on one sector: texture as in the strip, the word where it has room."""
    left, right = span
    top, size = base - BAND, (right - left, BAND)
    parts: list[Markup] = []
    if action in (Action.KEEP, Action.REPAIR):
        parts.append(rect((left, top), size, class_="f-native"))
    elif action is Action.DEBRIDE:
        parts.append(rect((left, top), size, class_="f-cut"))
    elif action is Action.AUGMENT:
        parts.append(rect((left, top), (size[0], BAND / 2), class_="f-graft"))
        parts.append(rect((left, base - BAND / 2), (size[0], BAND / 2), class_="f-native"))
    else:
        parts.append(rect((left, top), size, class_="f-graft"))
    return join(parts)
