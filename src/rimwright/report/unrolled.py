"""The rim as a track to draw along: unrolled to its true length, or rolled up as seen from lateral.

Stations are hours after 6, so 9, 12 and 3 o'clock are 3, 6 and 9, and an arc that crosses 12 is
one stretch; an arc that crosses 6 is two. Both tracks answer one question: where in the drawing
lies a point so many millimetres above (labrum) or below (bone) the rim at a station. What is
drawn along a track is therefore the same picture in the strip and in the ring.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

import numpy as np

from rimwright.anatomy import (
    HOURS_ON_DIAL,
    RIM_STEP_HOURS,
    Floats,
    RimCurve,
    Sector,
    Side,
    hours_after,
    wrap_hour,
)
from rimwright.report.figure import Spot

NOMINAL_UNITS_PER_MM = 6.0
"""Scale of widths where no rim was measured: keeps them in proportion, claims no length."""
NOMINAL_RADIUS_MM = 24.0
"""Radius the ring is drawn with where no rim was measured; drawing only."""


class Track(Protocol):
    """A rim to draw along."""

    @property
    def units_per_mm(self) -> float:
        """Drawing units in a millimetre."""
        ...

    def point(self, station: float, height_mm: float = 0.0, *, along_mm: float = 0.0) -> Spot:
        """A place above (+) or below (−) the rim, and shifted along it through the hours."""
        ...


@dataclass(frozen=True, kw_only=True, eq=False)
class Unrolled:
    """
    The strip: 6 through 9, 12 and 3 back to 6, at true length where the rim was measured.

    Parameters
    ----------
    rim
        None where no rim was measured: then hours are spaced evenly and there are no millimetres.
    left, right
        Ends of the strip, drawing units.
    rim_y
        Height of the rim line, drawing units.
    """

    rim: RimCurve | None
    left: float
    right: float
    rim_y: float = 0.0

    @cached_property
    def arcs_mm(self) -> Floats | None:
        """(121,) arc length at every tenth of an hour from 6, mm; None without a rim."""
        return None if self.rim is None else self.rim.arc_positions_mm()

    @property
    def length_mm(self) -> float | None:
        """Length of the closed curve, mm; None without a rim."""
        return None if self.arcs_mm is None else float(self.arcs_mm[-1])

    @property
    def units_per_mm(self) -> float:
        """Drawing units in a millimetre; without a rim one that keeps widths in proportion."""
        if self.length_mm is None:
            return NOMINAL_UNITS_PER_MM
        return (self.right - self.left) / self.length_mm

    def x_at(self, station: float) -> float:
        """Place of a station, 0 … 12, drawing units."""
        if self.arcs_mm is None or self.length_mm is None:
            fraction = station / HOURS_ON_DIAL
        else:
            stations = np.arange(len(self.arcs_mm)) * RIM_STEP_HOURS
            fraction = float(np.interp(station, stations, self.arcs_mm)) / self.length_mm
        return self.left + (self.right - self.left) * fraction

    def point(self, station: float, height_mm: float = 0.0, *, along_mm: float = 0.0) -> Spot:
        """A place above or below the rim, and shifted along it through the hours."""
        scale = self.units_per_mm
        return self.x_at(station) + along_mm * scale, self.rim_y - height_mm * scale


@dataclass(frozen=True, kw_only=True, eq=False)
class Rolled:
    """
    The ring: the strip rolled up, labrum inwards and bone outwards, as seen from lateral.

    Parameters
    ----------
    rim
        None where no rim was measured: then a circle stands for it.
    side
        Anterior lies to the right of a right hip and to the left of a left one.
    centre
        Centre of the dial in the drawing.
    units_per_mm
        Scale.
    """

    rim: RimCurve | None
    side: Side
    centre: Spot
    units_per_mm: float

    @cached_property
    def radii_mm(self) -> Floats:
        """(120,) distance of the rim from the opening axis at every tenth of an hour, mm."""
        if self.rim is None:
            return np.full(round(HOURS_ON_DIAL / RIM_STEP_HOURS), NOMINAL_RADIUS_MM)
        offset = self.rim.closed_points_mm() - self.rim.centre_mm
        return np.hypot(offset @ self.rim.twelve, offset @ self.rim.three)

    def point(self, station: float, height_mm: float = 0.0, *, along_mm: float = 0.0) -> Spot:
        """A place inside (+) or outside (−) the rim, and shifted along it through the hours."""
        hour = wrap_hour(station + 6.0)
        at = hour / RIM_STEP_HOURS
        radius_mm = float(np.interp(at, np.arange(len(self.radii_mm)), self.radii_mm, period=120))
        turn = clock_angle(hour, self.side)
        along = along_mm if self.side is Side.RIGHT else -along_mm
        out = (radius_mm - height_mm) * self.units_per_mm
        shift = along * self.units_per_mm
        x = self.centre[0] + out * np.sin(turn) + shift * np.cos(turn)
        y = self.centre[1] - out * np.cos(turn) + shift * np.sin(turn)
        return float(x), float(y)


def clock_angle(hour: float, side: Side) -> float:
    """Angle of an hour in a view from lateral with cranial up, radians, clockwise from the top.

    Anterior lies to the right of a right hip and to the left of a left hip; 3 is anterior on both.
    """
    turn = float(np.radians(30.0 * hour))
    return turn if side is Side.RIGHT else -turn


def station_of(hour: float) -> float:
    """Hours after 6, [0, 12)."""
    return hours_after(6.0, hour)


def stretches(sector: Sector) -> tuple[tuple[float, float], ...]:
    """A sector as stretches of stations, cut at 6 o'clock."""
    start = station_of(sector.from_hour)
    end = start + sector.span_hours
    if sector.is_whole_ring:
        return ((0.0, HOURS_ON_DIAL),)
    if end <= HOURS_ON_DIAL + 1e-9:
        return ((start, min(end, HOURS_ON_DIAL)),)
    return ((start, HOURS_ON_DIAL), (0.0, end - HOURS_ON_DIAL))


def notch_stretches(rim: RimCurve | None) -> tuple[tuple[float, float], ...]:
    """The notch as stretches of stations; empty where none was seen."""
    if rim is None or rim.notch_from_hour is None or rim.notch_to_hour is None:
        return ()
    return stretches(Sector(from_hour=rim.notch_from_hour, to_hour=rim.notch_to_hour))
