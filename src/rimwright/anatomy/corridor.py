"""The corridor at one hour: which drill directions stay in bone and keep their margins."""

from __future__ import annotations

from dataclasses import dataclass

from rimwright.anatomy.arrays import Vector, frozen_floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Corridor:
    """
    Best entry and direction at one hour, and the error it tolerates; none fits = zeros.

    Parameters
    ----------
    hour
        Acetabular hour.
    entry_mm, direction
        (3,) mm and unit into bone, image frame; None where nothing fits.
    half_angle_deg
        Largest cone about the best axis in which every direction fits, deg.
    rim_angle_deg
        Widest run of fitting directions in the radial plane of the hour, deg.
    depth_to_cortex_mm
        From the entry along the axis to the far bone surface, mm.
    bone_volume_mm3
        Volume of bone that fitting drills of this size can sweep from this entry, mm³.
    blocked_by
        '' where something fits, else what stops it: 'joint', 'cortex', 'old anchor'.
    """

    hour: float
    entry_mm: Vector | None
    direction: Vector | None
    half_angle_deg: float
    rim_angle_deg: float
    depth_to_cortex_mm: float
    bone_volume_mm3: float
    blocked_by: str = ""

    def __post_init__(self) -> None:
        for name in ("entry_mm", "direction"):
            value = getattr(self, name)
            if value is not None:
                object.__setattr__(self, name, frozen_floats(value, shape=(3,), name=name))

    @property
    def fits(self) -> bool:
        """Whether any direction fits."""
        return self.entry_mm is not None
