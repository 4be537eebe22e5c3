"""The bony rim by hour: one closed curve with the notch as a flagged gap."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy.arrays import Floats, Mask, Points, Vector, frozen_floats
from rimwright.anatomy.clock import (
    HOURS_ON_DIAL,
    ClockReference,
    hours_after,
    wrap_hour,
    wrap_hours,
)

RIM_STEP_HOURS = 0.1
N_RIM_HOURS = 120


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RimCurve:
    """
    The bony edge at every tenth of an hour, with the frame the hours are counted in.

    Parameters
    ----------
    hours
        (120,), 0.0, 0.1 … 11.9.
    points_mm
        (120, 3), mm, image frame; NaN in the notch.
    outward
        (120, 3), unit, image frame: from the joint side over the edge to the outer bone,
        at right angles to the rim and to the opening axis' radial plane tangent; NaN in the notch.
    bone_inward
        (120, 3), unit, image frame: in the radial plane of the hour, from the edge into the
        bone, half-way between the articular and the outer face; NaN in the notch.
    centre_mm, axis, twelve, three
        The dial: its centre, the opening axis (pointing out of the socket), and the unit
        directions of 12 and 3 o'clock, at right angles to the axis and to each other.
    notch_from_hour, notch_to_hour
        Ends of the notch; None where no notch was seen.
    reference
        What the hours were counted from.
    hour_doubt
        One standard deviation of the hour zero, hours.
    length_mm
        Length of the closed curve, the notch bridged straight, mm.
    """

    hours: Floats
    points_mm: Points
    outward: Floats
    bone_inward: Floats
    centre_mm: Vector
    axis: Vector
    twelve: Vector
    three: Vector
    notch_from_hour: float | None
    notch_to_hour: float | None
    reference: ClockReference
    hour_doubt: float
    length_mm: float

    def __post_init__(self) -> None:
        n = N_RIM_HOURS
        object.__setattr__(self, "hours", frozen_floats(self.hours, shape=(n,), name="hours"))
        for name in ("points_mm", "outward", "bone_inward"):
            array = frozen_floats(getattr(self, name), shape=(n, 3), name=name, allow_nan=True)
            object.__setattr__(self, name, array)
        for name in ("centre_mm", "axis", "twelve", "three"):
            object.__setattr__(
                self, name, frozen_floats(getattr(self, name), shape=(3,), name=name)
            )

    @property
    def is_bone(self) -> Mask:
        """(120,) bool: True outside the notch."""
        return np.isfinite(self.points_mm[:, 0])

    def is_in_notch(self, hour: float) -> bool:
        """Whether an hour lies strictly inside the notch."""
        if self.notch_from_hour is None or self.notch_to_hour is None:
            return False
        along = hours_after(self.notch_from_hour, hour)
        return 0.0 < along < hours_after(self.notch_from_hour, self.notch_to_hour)

    def hours_of(self, points_mm: Points) -> Floats:
        """Hour of any points, (n,), by their direction round the opening axis."""
        relative = np.asarray(points_mm, dtype=np.float64) - self.centre_mm
        angle_deg = np.degrees(np.arctan2(relative @ self.three, relative @ self.twelve))
        return wrap_hours(angle_deg / 30.0)

    def radial_direction(self, hour: float) -> Vector:
        """Unit direction in the plane of the dial from its centre towards an hour."""
        angle = np.radians(30.0 * hour)
        return np.cos(angle) * self.twelve + np.sin(angle) * self.three

    def point_at(self, hour: float) -> Vector:
        """Rim point at an hour, linear between tenths, (3,) mm; NaN in the notch."""
        return self._interpolate(self.points_mm, hour)

    def bone_inward_at(self, hour: float) -> Vector:
        """Unit `bone_inward` at an hour; NaN in the notch."""
        vector = self._interpolate(self.bone_inward, hour)
        return vector / np.linalg.norm(vector)

    def _interpolate(self, values: Floats, hour: float) -> Vector:
        """Linear between neighbouring tenths of an hour, round the dial."""
        at = wrap_hour(hour) / RIM_STEP_HOURS
        low = int(np.floor(at + 1e-9)) % N_RIM_HOURS
        fraction = max(at - np.floor(at + 1e-9), 0.0)
        if fraction < 1e-9:
            return values[low].copy()
        return (1 - fraction) * values[low] + fraction * values[(low + 1) % N_RIM_HOURS]

    def closed_points_mm(self) -> Points:
        """The curve with the notch filled by straight steps, (120, 3) mm."""
        points = self.points_mm.copy()
        seen = np.flatnonzero(self.is_bone)
        if len(seen) == N_RIM_HOURS:
            return points
        positions = np.arange(N_RIM_HOURS)
        for axis in range(3):
            points[:, axis] = np.interp(
                positions, seen, points[seen, axis], period=float(N_RIM_HOURS)
            )
        return points

    def arc_positions_mm(self) -> Floats:
        """Arc length from 6 o'clock through 9, 12 and 3 back to 6, at 121 stations, mm.

        Station k stands at hour 6 + k / 10; the first is 0, the last the closed length.
        """
        start = round(6.0 / RIM_STEP_HOURS)
        points = np.roll(self.closed_points_mm(), -start, axis=0)
        steps = np.linalg.norm(np.diff(np.vstack([points, points[:1]]), axis=0), axis=1)
        return np.concatenate([[0.0], np.cumsum(steps)])

    def arc_position_mm(self, hour: float) -> float:
        """Arc length from 6 o'clock through increasing hours to an hour, mm."""
        stations = np.arange(N_RIM_HOURS + 1) * RIM_STEP_HOURS
        return float(np.interp(hours_after(6.0, hour), stations, self.arc_positions_mm()))

    def arc_between_mm(self, from_hour: float, to_hour: float) -> float:
        """Arc length along the rim from hour to hour through increasing hours, mm.

        Equal hours mean the whole ring.
        """
        length = float(self.arc_positions_mm()[-1])
        arc = (self.arc_position_mm(to_hour) - self.arc_position_mm(from_hour)) % length
        return length if hours_after(from_hour, to_hour) == 0.0 else arc


def hours_of_rim() -> Floats:
    """The 120 hours of a rim curve, 0.0 … 11.9."""
    return np.arange(N_RIM_HOURS, dtype=np.float64) * (HOURS_ON_DIAL / N_RIM_HOURS)
