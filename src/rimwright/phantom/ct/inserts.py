"""What is put into a made scan beside bone: metal, and gaps of soft tissue through a bone."""

from __future__ import annotations

from dataclasses import dataclass

from rimwright.anatomy.arrays import Vector, frozen_floats, unit_vector


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MetalCapsule:
    """
    A metal rod with round ends: an anchor, a screw, a stem; a ball where both ends are one.

    Parameters
    ----------
    start_mm, end_mm
        (3,), mm, image frame; ends of the middle line.
    radius_mm
        Of rod and ends, mm.
    """

    start_mm: Vector
    end_mm: Vector
    radius_mm: float

    def __post_init__(self) -> None:
        for name in ("start_mm", "end_mm"):
            object.__setattr__(
                self, name, frozen_floats(getattr(self, name), shape=(3,), name=name)
            )
        if not self.radius_mm > 0.0:
            raise ValueError(f"radius_mm: got {self.radius_mm}, need more than 0")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoneGap:
    """
    A flat slab of soft tissue through one bone, as an open physis.

    Parameters
    ----------
    bone_index
        Which of the bones given is cut.
    point_mm, normal
        (3,), a point of the slab's middle plane, mm, and the plane's normal.
    thickness_mm
        Of the slab, mm.
    radius_mm
        The slab ends this far from its point, mm, so that it need not cut the bone elsewhere.
    """

    bone_index: int
    point_mm: Vector
    normal: Vector
    thickness_mm: float
    radius_mm: float

    def __post_init__(self) -> None:
        object.__setattr__(
            self, "point_mm", frozen_floats(self.point_mm, shape=(3,), name="point_mm")
        )
        object.__setattr__(self, "normal", unit_vector(self.normal, name="normal"))
        if not (self.thickness_mm > 0.0 and self.radius_mm > 0.0):
            raise ValueError("a gap needs a thickness and a radius above 0")
