"""The BoneField protocol: how near is bone surface, for many points at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from rimwright.anatomy.arrays import Floats, Mask, Points


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FieldSample:
    """
    Answers at n points.

    Parameters
    ----------
    joint_mm
        (n,) distance to the joint surface (everything inside the rim), mm, >= 0.
    cortex_mm
        (n,) distance to every other bone surface (outer wall, inner pelvic wall, psoas groove),
        mm, >= 0.
    inside
        (n,) bool, inside bone.
    density_hu
        (n,) Hounsfield units; NaN where the source knows none (a mesh).
    """

    joint_mm: Floats
    cortex_mm: Floats
    inside: Mask
    density_hu: Floats


class BoneField(Protocol):
    """What fixation may ask of a bone, whether it came from a mesh or from a CT."""

    @property
    def error_mm(self) -> float:
        """Largest error of a distance this field may make, mm."""
        ...

    def sample(self, points_mm: Points) -> FieldSample:
        """Distances, side and density at (n, 3) points, image frame."""
        ...
