"""What was measured on one femur."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from rimwright.anatomy import (
    FemoralAxes,
    Floats,
    Measurement,
    SphereFit,
    Vector,
    frozen_floats,
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FemurGeometry:
    """
    Head, axes and measurements of one femur, image frame; what is missing says why.

    Parameters
    ----------
    head
        Sphere of the femoral head, mm.
    axes
        Neck, shaft, clock and landmarks; None where no neck is seen.
    measurements
        alpha_angle_max, head_neck_offset, neck_shaft_angle, femoral_version.
    femoral_hours, alpha_deg
        (48,) each: hours round the neck axis, and the alpha angle there; NaN where not seen.
    landmarks_mm
        Name to (3,) mm, image frame: those of greater_trochanter, lesser_trochanter,
        condyle_medial and condyle_lateral that are seen.
    shaft_seen_mm
        Length of shaft that the shaft axis rests on, mm; 0 where there is none.
    unavailable, warnings
        Missing part to reason; doubts of the whole.
    """

    head: SphereFit
    axes: FemoralAxes | None
    measurements: Mapping[str, Measurement]
    femoral_hours: Floats
    alpha_deg: Floats
    landmarks_mm: Mapping[str, Vector] = field(default_factory=dict)
    shaft_seen_mm: float = 0.0
    unavailable: Mapping[str, str] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for name in ("femoral_hours", "alpha_deg"):
            array = frozen_floats(getattr(self, name), shape=(None,), name=name, allow_nan=True)
            object.__setattr__(self, name, array)
