"""A sphere fitted to a surface, with its miss."""

from __future__ import annotations

from dataclasses import dataclass

from rimwright.anatomy.arrays import Vector, frozen_floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SphereFit:
    """
    Centre and radius with the root-mean-square miss of the points used.

    Parameters
    ----------
    centre_mm
        (3,), mm, image frame.
    radius_mm
        mm, > 0.
    rms_mm
        Root-mean-square distance of the points used from the sphere, mm.
    n_points
        How many points the fit rests on.
    """

    centre_mm: Vector
    radius_mm: float
    rms_mm: float
    n_points: int = 0

    def __post_init__(self) -> None:
        object.__setattr__(
            self, "centre_mm", frozen_floats(self.centre_mm, shape=(3,), name="centre_mm")
        )
        if not self.radius_mm > 0:
            raise ValueError("radius_mm: need more than 0")
