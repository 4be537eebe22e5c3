"""Arthroscopic portals: a skin point and the hours its straight line reaches on this hip."""

from __future__ import annotations

from dataclasses import dataclass

from rimwright.anatomy.arrays import Vector, frozen_floats
from rimwright.anatomy.sector import Sector


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Portal:
    """
    A portal on this hip; its skin is assumed, so it is a caution of the plan.

    Parameters
    ----------
    name
        Trade name (anterolateral, mid-anterior, …).
    skin_mm
        (3,) mm, image frame, on the assumed skin.
    reaches
        Sectors of the rim that its line reaches past the head.
    evidence
        Evidence ids of its position.
    """

    name: str
    skin_mm: Vector
    reaches: tuple[Sector, ...] = ()
    evidence: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "skin_mm", frozen_floats(self.skin_mm, shape=(3,), name="skin_mm"))
