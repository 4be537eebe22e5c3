"""Anchors: the kinds to hand, those already in the rim, and those planned."""

from __future__ import annotations

from dataclasses import dataclass

from rimwright.anatomy.arrays import Vector, frozen_floats, unit_vector
from rimwright.anatomy.measurement import Status


@dataclass(frozen=True, slots=True, kw_only=True)
class AnchorKind:
    """
    A size of anchor to hand: drill diameter and drill depth, mm.

    Parameters
    ----------
    drill_mm, depth_mm
        mm, > 0.
    """

    drill_mm: float
    depth_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OldAnchor:
    """
    Hardware or a tunnel already in the rim: by hour, or by entry and direction.

    Parameters
    ----------
    drill_mm, depth_mm
        mm, > 0.
    hour
        Where only the hour is known.
    entry_mm, direction
        (3,) mm and unit, image frame, where it was seen.
    """

    drill_mm: float
    depth_mm: float
    hour: float | None = None
    entry_mm: Vector | None = None
    direction: Vector | None = None

    def __post_init__(self) -> None:
        if self.entry_mm is not None:
            object.__setattr__(
                self, "entry_mm", frozen_floats(self.entry_mm, shape=(3,), name="entry_mm")
            )
        if self.direction is not None:
            object.__setattr__(self, "direction", unit_vector(self.direction))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Anchor:
    """
    One planned anchor.

    Parameters
    ----------
    hour
        Acetabular hour of the entry.
    entry_mm, direction
        (3,) mm and unit into bone, image frame.
    depth_mm, drill_mm
        From the entry; drill diameter.
    clearance_joint_mm
        From the drill's surface to the joint surface, from the entry on, mm.
    clearance_cortex_mm
        From the drill's surface to every other bone surface, from 4 mm below the entry, mm.
    half_angle_deg
        Aiming error tolerated in every direction, deg.
    portal
        Name of the portal that reaches it best; None where portals cannot be computed.
    portal_off_deg
        Angle between the drill's direction and the line from the portal, deg; None as above.
    status, reason
        ok = both margins held, no collision, and a portal reaches it.
    density_mean_hu, density_least_hu
        Along the drill from below the cortex to its tip, Hounsfield units of this scan; None where
        the hip was not measured in a CT. No status rests on them.
    """

    hour: float
    entry_mm: Vector
    direction: Vector
    depth_mm: float
    drill_mm: float
    clearance_joint_mm: float
    clearance_cortex_mm: float
    half_angle_deg: float
    portal: str | None = None
    portal_off_deg: float | None = None
    status: Status = Status.OK
    reason: str = ""
    density_mean_hu: float | None = None
    density_least_hu: float | None = None

    def __post_init__(self) -> None:
        object.__setattr__(
            self, "entry_mm", frozen_floats(self.entry_mm, shape=(3,), name="entry_mm")
        )
        object.__setattr__(self, "direction", unit_vector(self.direction))
