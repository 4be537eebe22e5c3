"""Charts of a rim trim: each measure by millimetre with its limit, coverage and depth by hour."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import CoverageLimit, TrimEffect, spoken_hour
from rimwright.report.figure import LINE, Figure, Spot, circle, polyline, rect, text, wrap
from rimwright.report.hour_axes import WIDTH, HourAxes, value_range
from rimwright.report.legend import Entry, draw_key
from rimwright.report.markup import Markup, join
from rimwright.report.wording import MEASUREMENT_NAMES, number

PANELS = 3
"""Panels side by side."""
PANEL = (WIDTH / PANELS, 250.0)
"""Width and height of a panel, drawing units."""
FRAME = (52.0, 62.0, 310.0, 196.0)
"""Left, top, right and bottom of the frame inside a panel, drawing units."""
TICKS = (1.0, 2.0, 5.0, 10.0, 20.0)
"""Distances of lines to choose from, degrees or per cent."""
BAR = 6.0
"""Width of a bar; hours stand a tenth apart, 7.5 units."""


def draw_trim_steps(effect: TrimEffect) -> Figure | None:
    """
    Each limited measure against the depth of the same arcs, a panel each.

    Parameters
    ----------
    effect
        Its steps and limits.

    Returns
    -------
    Figure or None
        Named trim-steps; None where nothing was asked to be trimmed.
    """
    panels = [p for limit in effect.limits if (p := _panel(effect, limit)) is not None]
    if not panels:
        return None
    rows = math.ceil(len(panels) / PANELS)
    body = [
        panel.draw(((k % PANELS) * PANEL[0], (k // PANELS) * PANEL[1]))
        for k, panel in enumerate(panels)
    ]
    return Figure(
        name="trim-steps",
        title="Rim trim by the millimetre",
        description=" ".join(panel.sentence() for panel in panels),
        width=WIDTH,
        height=rows * PANEL[1],
        body=join(body),
    )


def draw_trim_hours(effect: TrimEffect) -> Figure | None:
    """
    Coverage before and after by hour, and the depth taken under it.

    Parameters
    ----------
    effect
        Its curves.

    Returns
    -------
    Figure or None
        Named trim-hours; None where nothing is taken.
    """
    if effect.deepest_mm <= 0.0 or not np.isfinite(effect.coverage_before_deg).any():
        return None
    both = [*effect.coverage_before_deg.tolist(), *effect.coverage_after_deg.tolist()]
    low, high = value_range(both, step=10.0)
    key, key_height = draw_key(KEY, (64.0, 2.0), width=WIDTH - 80.0)
    top = key_height + 22.0
    axes = HourAxes(top=top, bottom=top + 200.0, low=low, high=high, step=10.0)
    depth_low, depth_high = value_range(effect.depth_mm.tolist(), step=1.0, floor=0.0)
    below = HourAxes(
        top=axes.bottom + 60.0,
        bottom=axes.bottom + 140.0,
        low=depth_low,
        high=depth_high,
        step=1.0 if depth_high <= 4 else 2.0,
        unit=" mm",
    )
    deepest = int(np.argmax(effect.depth_mm))
    x, y = below.x(float(effect.hours[deepest])), below.y(effect.deepest_mm)
    bars = [
        rect((below.x(float(h)) - BAR / 2, below.y(float(d))), (BAR, below.bottom - below.y(d)),
             class_="f-bar")
        for h, d in zip(effect.hours, effect.depth_mm, strict=True)
        if d > 0.0
    ]  # fmt: skip
    lost = effect.coverage_before_deg - effect.coverage_after_deg
    most = int(np.nanargmax(lost))
    body = [
        key,
        axes.draw(clock="hour on the rim; gap: notch"),
        [
            polyline(r, class_="f-line2")
            for r in axes.runs(effect.hours, effect.coverage_before_deg)
        ],
        [polyline(r, class_="f-line") for r in axes.runs(effect.hours, effect.coverage_after_deg)],
        below.draw(clock="depth taken, tapers included"),
        bars,
        text(number(effect.deepest_mm, "mm"), (x, y - 6), kind="mbh"),
    ]
    return Figure(
        name="trim-hours",
        title="Coverage before and after the trim, by hour",
        description=(
            f"Deepest {number(effect.deepest_mm, 'mm')} at "
            f"{spoken_hour(float(effect.hours[deepest]))}; most coverage lost "
            f"{number(float(lost[most]), 'deg')} at {spoken_hour(float(effect.hours[most]))}."
        ),
        width=WIDTH,
        height=below.bottom + 54.0,
        body=join(body),
    )


KEY: list[Entry] = [
    (polyline([(2, 9), (32, 9)], class_="f-line2"), "coverage before"),
    (polyline([(2, 9), (32, 9)], class_="f-line"), "coverage after, predicted"),
    (rect((14, 1), (6, 16), class_="f-bar"), "bone taken"),
]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Panel:
    """One measure by depth."""

    limit: CoverageLimit
    depths_mm: tuple[float, ...]
    values: tuple[float, ...]
    planned_mm: float
    unit: str

    def sentence(self) -> str:
        """The panel in words."""
        limit = self.limit
        room = "not met at any depth tried"
        if limit.room_mm is not None:
            room = f"met at {number(limit.room_mm, 'mm')}"
        return (
            f"{MEASUREMENT_NAMES.get(limit.measurement, limit.measurement)}: "
            f"{number(self.values[0], 'deg')} at {self.depths_mm[0]:g} mm, "
            f"{number(self.values[-1], 'deg')} at {self.depths_mm[-1]:g} mm; limit "
            f"{number(limit.limit, 'deg')}, {room}."
        )

    def draw(self, at: Spot) -> Markup:
        """Frame, curve, limit and the planned depth."""
        left, right = at[0] + FRAME[0], at[0] + FRAME[2]
        top, bottom = at[1] + FRAME[1], at[1] + FRAME[3]
        values = [*self.values, self.limit.limit]
        wide = max(values) - min(values)
        step = next((s for s in TICKS if wide / s <= 4.0), TICKS[-1])
        low = math.floor(min(values) / step) * step
        high = max(math.ceil(max(values) / step) * step, low + step)
        last_mm = max(self.depths_mm[-1], 1.0)

        def x(depth_mm: float) -> float:
            return left + (right - left) * depth_mm / last_mm

        def y(value: float) -> float:
            return bottom - (bottom - top) * (value - low) / (high - low)

        name = MEASUREMENT_NAMES.get(self.limit.measurement, self.limit.measurement)
        parts = [
            text(line, (at[0] + 14, at[1] + 18 + LINE * k), kind="b")
            for k, line in enumerate(wrap(name, PANEL[0] - 30)[:2])
        ]
        for k in range(round((high - low) / step) + 1):
            value = low + step * k
            parts.append(polyline([(left, y(value)), (right, y(value))], class_="f-grid"))
            shown = number(value, self.unit, digits=0)
            parts.append(text(shown, (left - 6, y(value) + 5.5), kind="eq"))
        for depth_mm in self.depths_mm:
            words = f"{depth_mm:g}" + (" mm" if depth_mm == self.depths_mm[-1] else "")
            parts.append(text(words, (x(depth_mm), bottom + 20), kind="mq"))
        limit_y = y(self.limit.limit)
        parts.append(polyline([(left, limit_y), (right, limit_y)], class_="f-limit"))
        curve = [(x(d), y(v)) for d, v in zip(self.depths_mm, self.values, strict=True)]
        parts.append(polyline(curve, class_="f-line"))
        words = f"limit {number(self.limit.limit, 'deg', digits=0)}"
        is_low = limit_y - 20 < top
        gaps = abs(self.values[0] - self.limit.limit), abs(self.values[-1] - self.limit.limit)
        at_right = gaps[1] > gaps[0]  # where the curve is far from the line
        limit_x, kind = (right - 4, "eh") if at_right else (left + 6, "h")
        parts.append(text(words, (limit_x, limit_y + (18 if is_low else -6)), kind=kind))
        if self.planned_mm > 0.0:
            planned_x = x(min(self.planned_mm, last_mm))
            parts.append(polyline([(planned_x, top), (planned_x, bottom)], class_="f-thin"))
            value = float(np.interp(self.planned_mm, self.depths_mm, self.values))
            parts.append(circle((planned_x, y(value)), 5.0, class_="f-badge"))
            said = f"planned {number(self.planned_mm, 'mm')}"
            kind = "h" if planned_x < (left + right) / 2 else "eh"
            shift = 6 if kind == "h" else -6
            parts.append(text(said, (planned_x + shift, bottom - 6), kind=kind))
        return join(parts)


def _panel(effect: TrimEffect, limit: CoverageLimit) -> _Panel | None:
    """A measure with at least two depths that could be read."""
    read: list[tuple[float, float]] = []
    for step in effect.steps:
        value = step.values.get(limit.measurement)
        if value is not None and math.isfinite(value):
            read.append((step.depth_mm, value))
    if len(read) < 2:
        return None
    measured = effect.before.get(limit.measurement)
    return _Panel(
        limit=limit,
        unit="deg" if measured is None else measured.unit,
        depths_mm=tuple(depth for depth, _ in read),
        values=tuple(value for _, value in read),
        planned_mm=max((trim.depth_mm for trim in effect.trims), default=0.0),
    )
