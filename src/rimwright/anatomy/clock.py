"""The acetabular clock: hours in [0, 12), 3 anterior on both sides, 12 (stored 0) cranial.

Angles here are measured in the pelvic sense: 0 at 12 o'clock, 90 degrees at 3 (anterior),
180 at 6. The same arithmetic serves the femoral clock, but the two are never mixed.
"""

from __future__ import annotations

from enum import StrEnum

import numpy as np

from rimwright.anatomy.arrays import Floats

HOURS_ON_DIAL = 12.0
DEGREES_PER_HOUR = 30.0


class ClockReference(StrEnum):
    """What the hours of a reading were counted from; the references rarely agree to the minute."""

    NOTCH = "notch"
    PSOAS_GROOVE = "psoas groove"
    IMAGE_AXES = "image axes"


def wrap_hour(hour: float) -> float:
    """Bring any hour on to the dial, [0, 12)."""
    wrapped = float(hour) % HOURS_ON_DIAL
    return 0.0 if wrapped >= HOURS_ON_DIAL else wrapped


def wrap_hours(hours: Floats) -> Floats:
    """Bring any hours on to the dial, [0, 12), elementwise."""
    wrapped = np.mod(np.asarray(hours, dtype=np.float64), HOURS_ON_DIAL)
    return np.where(wrapped >= HOURS_ON_DIAL, 0.0, wrapped)


def hours_after(start_hour: float, hour: float) -> float:
    """Hours passed from `start_hour` to `hour` through increasing hours, [0, 12)."""
    return wrap_hour(hour - start_hour)


def hour_gap(first_hour: float, second_hour: float) -> float:
    """Shortest distance round the dial between two hours, [0, 6]."""
    forward = hours_after(first_hour, second_hour)
    return min(forward, HOURS_ON_DIAL - forward)


def hour_of_angle(angle_deg: float) -> float:
    """Hour of an angle counted from 12 towards anterior (3)."""
    return wrap_hour(angle_deg / DEGREES_PER_HOUR)


def angle_of_hour(hour: float) -> float:
    """Angle in degrees from 12 towards anterior (3), [0, 360)."""
    return wrap_hour(hour) * DEGREES_PER_HOUR


def spoken_hour(hour: float) -> str:
    """The hour as read aloud, to the nearest five minutes: 2.5 is '2:30', 0 is '12:00'."""
    minutes = round(wrap_hour(hour) * 60 / 5) * 5 % 720
    whole, rest = divmod(minutes, 60)
    return f"{whole or 12}:{rest:02d}"
