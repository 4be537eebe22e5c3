"""The four measurements of a femur: value, method, spread, and what is doubtful about each."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, Measurement, spoken_hour
from rimwright.morphology.femur.alpha import departure_mm, largest_alpha
from rimwright.morphology.femur.condyles import FoundCondyles
from rimwright.morphology.femur.head import FoundHead
from rimwright.morphology.femur.neck import FoundNeck
from rimwright.morphology.femur.sections import Dial, RadialContours
from rimwright.morphology.femur.shaft import SHORT_MM, FoundShaft
from rimwright.morphology.femur.spread import (
    FemurSpread,
    neck_shaft_angle_deg,
    version_angle_deg,
)
from rimwright.morphology.femur.surface import FemurSurface

ROUGH_HEAD_MM = 0.8
"""A head that misses its sphere by more than this (rms, mm) is worn, rough or holds metal."""
WIDE_DEPARTURE_MM = 1.5
"""An alpha angle read at a departure wider than this, mm, is doubtful: it reads low."""
LITTLE_COVER = 0.5
"""A head of which less than this share of the ball is seen is doubtful."""
HOURS_SEEN_LEAST = 0.8
"""Share of the femoral hours that must have an alpha angle for the largest to be trusted."""
ALPHA_METHOD = "radial planes through the neck axis, every quarter hour"
OFFSET_METHOD = (
    "femoral 3 o'clock: head radius less the distance of the anterior neck's tangent "
    "parallel to the neck axis"
)
NECK_SHAFT_METHOD = "neck axis (head centre to narrowest neck) against shaft axis, in space"
VERSION_METHOD = (
    "head centre to neck centre at its narrowest, against the posterior condylar line, both "
    "seen along the shaft axis"
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FemurParts:
    """
    What was found on the surface, pelvic frame.

    Parameters
    ----------
    surface, head, neck
        The bone, its head and its neck.
    shaft, condyles
        What was found, or the reason why it was not.
    dial, contours
        The femoral clock and the planes through the neck axis.
    """

    surface: FemurSurface
    head: FoundHead
    neck: FoundNeck
    shaft: FoundShaft | str
    condyles: FoundCondyles | str
    dial: Dial
    contours: RadialContours


def head_doubts(head: FoundHead) -> list[str]:
    """What is doubtful about the head as a whole."""
    doubts = []
    if head.sphere.rms_mm > ROUGH_HEAD_MM:
        doubts.append(
            f"the femoral head misses its sphere by {head.sphere.rms_mm:.1f} mm rms: "
            "worn, rough or holding metal"
        )
    if head.cover_fraction < LITTLE_COVER:
        doubts.append(
            f"only {100 * head.cover_fraction:.0f} % of the head's ball lies on its sphere"
        )
    return doubts


def refused_readings(reason: str) -> dict[str, Measurement]:
    """All four measurements refused for one reason."""
    return {
        "alpha_angle_max": Measurement.refused("deg", reason, method=ALPHA_METHOD),
        "head_neck_offset": Measurement.refused("mm", reason, method=OFFSET_METHOD),
        "neck_shaft_angle": Measurement.refused("deg", reason, method=NECK_SHAFT_METHOD),
        "femoral_version": Measurement.refused("deg", reason, method=VERSION_METHOD),
    }


def _head_doubted(measurement: Measurement, parts: FemurParts) -> Measurement:
    """Pass the doubts of the head on to what rests on its sphere."""
    for doubt in head_doubts(parts.head):
        measurement = measurement.doubted(doubt)
    return measurement


def alpha_reading(
    parts: FemurParts, hours: Floats, alpha: Floats, *, spread: FemurSpread
) -> Measurement:
    """The largest alpha angle and where it is."""
    departure = departure_mm(parts.head.sphere.rms_mm)
    seen = np.isfinite(alpha)
    place = largest_alpha(alpha)
    if seen.mean() < 0.5 or place is None:
        return Measurement.refused(
            "deg",
            f"the outline of head and neck is seen at {np.count_nonzero(seen)} of {len(alpha)} "
            "femoral hours only",
            method=ALPHA_METHOD,
        )
    clock = "" if not isinstance(parts.shaft, str) else "; 12 is cranial in the image (no shaft)"
    measurement = Measurement(
        value=float(alpha[place]),
        unit="deg",
        method=f"{ALPHA_METHOD}; outline over {departure:.1f} mm outside the head sphere; largest "
        f"from 9 through 12 to 5, at femoral {spoken_hour(hours[place])}{clock}",
        spread=spread.alpha_deg,
    )
    if departure > WIDE_DEPARTURE_MM:
        measurement = measurement.doubted(
            f"on a head this rough ({parts.head.sphere.rms_mm:.1f} mm rms) the outline counts as "
            f"off the sphere from {departure:.1f} mm on"
        )
    if seen.mean() < HOURS_SEEN_LEAST:
        measurement = measurement.doubted(
            f"seen at {np.count_nonzero(seen)} of {len(alpha)} femoral hours only"
        )
    return _head_doubted(measurement, parts)


def offset_reading(
    parts: FemurParts, offset_mm: float | None, *, spread: FemurSpread
) -> Measurement:
    """The anterior head-neck offset."""
    if offset_mm is None:
        return Measurement.refused(
            "mm", "the anterior outline of head and neck is not seen", method=OFFSET_METHOD
        )
    measurement = Measurement(
        value=offset_mm, unit="mm", method=OFFSET_METHOD, spread=spread.offset_mm
    )
    if isinstance(parts.shaft, str):
        measurement = measurement.doubted("femoral 3 o'clock rests on the image axes: no shaft")
    return _head_doubted(measurement, parts)


def neck_shaft_reading(parts: FemurParts, *, spread: FemurSpread) -> Measurement:
    """The neck-shaft angle."""
    if isinstance(parts.shaft, str):
        return Measurement.refused("deg", parts.shaft, method=NECK_SHAFT_METHOD)
    measurement = Measurement(
        value=neck_shaft_angle_deg(parts.neck.axis, parts.shaft.axis),
        unit="deg",
        method=f"{NECK_SHAFT_METHOD}; {parts.shaft.seen_mm:.0f} mm of shaft seen",
        spread=spread.neck_shaft_deg,
    )
    return _shaft_doubted(measurement, parts.shaft)


def version_reading(parts: FemurParts, *, spread: FemurSpread) -> Measurement:
    """The femoral version."""
    if isinstance(parts.condyles, str) or isinstance(parts.shaft, str):
        return Measurement.refused("deg", str(parts.condyles), method=VERSION_METHOD)
    shaft, condyles = parts.shaft, parts.condyles
    across = parts.neck.axis - (parts.neck.axis @ shaft.axis) * shaft.axis
    measurement = Measurement(
        value=version_angle_deg(across, condyles.towards_medial, condyles.forward),
        unit="deg",
        method=VERSION_METHOD,
        spread=spread.version_deg,
    )
    return _shaft_doubted(measurement, shaft)


def _shaft_doubted(measurement: Measurement, shaft: FoundShaft) -> Measurement:
    """A short shaft makes a doubtful direction."""
    if shaft.seen_mm < SHORT_MM:
        return measurement.doubted(
            f"only {shaft.seen_mm:.0f} mm of shaft is seen (need {SHORT_MM:.0f} mm)"
        )
    return measurement
