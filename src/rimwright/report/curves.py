"""Curves by hour: coverage and joint space on the rim's clock, alpha on the femoral clock.

A published value is drawn beside a curve only where it was taken as the curve is; for coverage by
hour about the head centre no such row exists, and the caption says so.
"""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Floats, HipGeometry, spoken_hour
from rimwright.evidence import EvidenceRow
from rimwright.report.figure import Figure, circle, polyline, rect, text
from rimwright.report.hour_axes import WIDTH, HourAxes, value_range
from rimwright.report.markup import Markup, join
from rimwright.report.wording import number

TOP, BOTTOM = 36.0, 236.0
"""Ends of the value axis, drawing units."""


def draw_coverage(hip: HipGeometry) -> Figure | None:
    """Coverage of the head by the bony rim, by hour; None where it was not measured."""
    by_hour = hip.by_hour
    if by_hour is None or not np.isfinite(by_hour.coverage_deg).any():
        return None
    about = "head" if hip.head is not None else "socket"
    return _curve(
        name="coverage",
        title="Coverage by hour",
        heading=f"angle at the {about} centre from the medial pole to the rim edge",
        clock="hour on the rim; gap: notch",
        hours=by_hour.hours,
        values=by_hour.coverage_deg,
        unit="deg",
        step=10.0,
    )


def draw_joint_space(hip: HipGeometry) -> Figure | None:
    """Median joint space along each hour; None where it was not measured."""
    by_hour = hip.by_hour
    if by_hour is None or not np.isfinite(by_hour.joint_space_mm).any():
        return None
    return _curve(
        name="joint-space",
        title="Joint space by hour",
        heading="median gap between lunate and head along each hour; bone, not cartilage, is seen",
        clock="hour on the rim",
        hours=by_hour.hours,
        values=by_hour.joint_space_mm,
        unit="mm",
        step=1.0,
        floor=0.0,
    )


def draw_alpha(hip: HipGeometry, *, norm: EvidenceRow | None) -> Figure | None:
    """Alpha angle in radial planes of the neck, by femoral hour; None where it was not measured."""
    by_hour = hip.by_hour
    if by_hour is None or not np.isfinite(by_hour.alpha_deg).any():
        return None
    return _curve(
        name="alpha",
        title="Alpha angle by femoral hour",
        heading="alpha angle in radial planes through the neck axis",
        clock="FEMORAL hour, round the neck axis: not the hours of the rim",
        hours=by_hour.femoral_hours,
        values=by_hour.alpha_deg,
        unit="deg",
        step=10.0,
        norm=norm,
    )


def _curve(
    *,
    name: str,
    title: str,
    heading: str,
    clock: str,
    hours: Floats,
    values: Floats,
    unit: str,
    step: float,
    floor: float | None = None,
    norm: EvidenceRow | None = None,
) -> Figure:
    """One curve with its largest and smallest value in words."""
    span = _norm_span(norm)
    low, high = value_range([*values.tolist(), *(span or ())], step=step, floor=floor)
    shown = "°" if unit == "deg" else f" {unit}"
    right = 800.0 if span else 960.0
    axes = HourAxes(top=TOP, bottom=BOTTOM, low=low, high=high, step=step, unit=shown, right=right)
    seen = np.flatnonzero(np.isfinite(values))
    largest = int(seen[np.argmax(values[seen])])
    smallest = int(seen[np.argmin(values[seen])])
    marks, sentences = [], [heading[0].upper() + heading[1:] + "."]
    extremes = (("largest", largest, False), ("smallest", smallest, True))
    is_flat = values[largest] - values[smallest] < 0.005 * step
    for word, index, below in extremes[:1] if is_flat else extremes:
        words = f"{number(float(values[index]), unit)} at {spoken_hour(float(hours[index]))}"
        x, y = axes.x(float(hours[index])), axes.y(float(values[index]))
        x_text = min(max(x, axes.left + 70), axes.right - 70)
        marks.append(circle((x, y), 5.0, class_="f-badge"))
        y_text = y + 22 if below and y + 26 < BOTTOM else y - 11
        marks.append(text(words, (x_text, y_text), kind="mbh"))
        sentences.append(f"{word.capitalize()} {words}.")
    if norm is not None and span is not None:
        sentences.append(f"Beside it {norm.quantity}: {norm.value} ({norm.id}).")
    body = [
        text(heading, (axes.left, 16.0)),
        axes.draw(clock=clock),
        [polyline(run, class_="f-line") for run in axes.runs(hours, values)],
        _norm(axes, norm, span),
        marks,
    ]
    return Figure(
        name=name,
        title=title,
        description=" ".join(sentences),
        width=WIDTH,
        height=BOTTOM + 52.0,
        body=join(body),
    )


def _norm_span(norm: EvidenceRow | None) -> tuple[float, float] | None:
    """Lowest and highest published mean of a row, if the row names them."""
    if norm is None:
        return None
    means = [
        value for key, value in norm.numbers.items() if "mean" in key or key in ("low", "high")
    ]
    return (min(means), max(means)) if means else None


def _norm(axes: HourAxes, norm: EvidenceRow | None, span: tuple[float, float] | None) -> Markup:
    """Published means as a bar beside the frame, not across it: their hours are not in print."""
    if norm is None or span is None:
        return Markup("")
    y_low, y_high = axes.y(span[0]), axes.y(span[1])
    words = ["published means", f"{span[0]:g} to {span[1]:g}°", f"({norm.id})"]
    x = axes.right + 14
    parts = [rect((x, y_high), (14, max(y_low - y_high, 3.0)), class_="f-norm")]
    for row, line in enumerate(words):
        parts.append(text(line, (x + 22, (y_low + y_high) / 2 - 14 + 20 * row), kind="q"))
    return join(parts)
