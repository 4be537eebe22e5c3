"""Axes of charts by hour: hours from 6 through 9, 12 and 3 to 6, values upwards with their unit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, hours_after
from rimwright.report.figure import Spot, polyline, text
from rimwright.report.markup import Markup, join

WIDTH = 1000.0
"""Width of a chart, drawing units."""
WORDS = {3: "posterior", 6: "cranial", 9: "anterior"}
"""Station to word; the same on both clocks, which are never drawn on one axis."""


@dataclass(frozen=True, slots=True, kw_only=True)
class HourAxes:
    """
    A frame with hours across and a value upwards.

    Parameters
    ----------
    top, bottom
        Ends of the value axis, drawing units.
    low, high, step
        Values at bottom and top and between lines, in the unit.
    unit
        Written at every value.
    left, right
        Ends of the hour axis, drawing units.
    """

    top: float
    bottom: float
    low: float
    high: float
    step: float
    unit: str = "°"
    left: float = 64.0
    right: float = 960.0

    def x(self, hour: float) -> float:
        """Place of an hour; 6 is the left end."""
        return self.x_at(hours_after(6.0, hour))

    def x_at(self, station: float) -> float:
        """Place of a station, hours after 6."""
        return self.left + (self.right - self.left) * station / 12.0

    def y(self, value: float) -> float:
        """Height of a value, kept within the frame."""
        fraction = (min(max(value, self.low), self.high) - self.low) / (self.high - self.low)
        return self.bottom - (self.bottom - self.top) * fraction

    def draw(self, *, clock: str) -> Markup:
        """Lines and words of both axes; `clock` names the clock under the hours."""
        parts = []
        for station in range(13):
            x, hour = self.x_at(float(station)), (station + 6) % 12 or 12
            word = WORDS.get(station)
            parts.append(polyline([(x, self.top), (x, self.bottom)], class_="f-grid"))
            label = f"{hour} {word}" if word else str(hour)
            parts.append(text(label, (x, self.bottom + 22), kind="mb" if word else "m"))
        for value in self.ticks():
            y = self.y(value)
            parts.append(polyline([(self.left, y), (self.right, y)], class_="f-grid"))
            parts.append(text(f"{value:g}{self.unit}", (self.left - 8, y + 5.5), kind="eq"))
        parts.append(
            polyline([(self.left, self.bottom), (self.right, self.bottom)], class_="f-axis")
        )
        parts.append(text(clock, ((self.left + self.right) / 2, self.bottom + 44), kind="mq"))
        return join(parts)

    def ticks(self) -> list[float]:
        """Values at which a line is drawn."""
        count = round((self.high - self.low) / self.step)
        return [self.low + self.step * number for number in range(count + 1)]

    def runs(self, hours: Floats, values: Floats) -> list[list[Spot]]:
        """A curve by hour as lines, broken where a value is missing and at 6 o'clock."""
        return [
            [(self.x_at(station), self.y(value)) for station, value in run]
            for run in broken_at_gaps(hours, values)
        ]


def broken_at_gaps(hours: Floats, values: Floats) -> list[list[tuple[float, float]]]:
    """Stations and values in order from 6, cut at each NaN; station 0 stands again at 12."""
    if len(hours) == 0:
        return []
    stations = np.mod(np.asarray(hours) - 6.0, 12.0)
    order = np.argsort(stations)
    pairs = [(float(stations[k]), float(values[k])) for k in order]
    if pairs[0][0] == 0.0:
        pairs.append((12.0, pairs[0][1]))
    found: list[list[tuple[float, float]]] = [[]]
    for station, value in pairs:
        if np.isfinite(value):
            found[-1].append((station, value))
        elif found[-1]:
            found.append([])
    return [run for run in found if len(run) > 1]


def value_range(
    values: Sequence[float], *, step: float, floor: float | None = None
) -> tuple[float, float]:
    """Round ends of a value axis that hold all values with a little room."""
    seen = [value for value in values if np.isfinite(value)]
    low = np.floor(min(seen, default=0.0) / step) * step if floor is None else floor
    high = np.ceil((max(seen, default=step) + 0.15 * step) / step) * step
    return float(low), float(max(high, low + step))
