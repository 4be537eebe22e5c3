"""How a made scan looks: Hounsfield units of each tissue, cortex, blur and noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy.arrays import Vector, frozen_floats

LEAST_HU, MOST_HU = -1024, 3071
"""What 12 bits with the usual intercept of −1024 hold; a made scan is cut there, HU."""
ZONE_BLEND_MM = 4.0
"""A thinner cortex goes over into the common one within this distance, mm."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CtLook:
    """
    Tissue values, cortex, blur and noise of a made scan.

    The Hounsfield units are round numbers from memory, for tests and the demo only: nothing that
    measures may rest on them.

    Parameters
    ----------
    cortex_hu, spongy_hu, soft_hu, fat_hu, air_hu, metal_hu
        Hounsfield units. Muscle, cartilage and joint fluid are all `soft_hu`.
    cortex_mm
        Thickness of cortical bone, measured inward from the bone's surface, mm.
    blur_mm
        Standard deviation of the scanner's blur, the same in all directions, mm.
    noise_hu
        Standard deviation of the noise of a voxel, HU; neighbours are independent.
    """

    cortex_hu: float = 1400.0
    spongy_hu: float = 250.0
    soft_hu: float = 40.0
    fat_hu: float = -90.0
    air_hu: float = -1000.0
    metal_hu: float = 3000.0
    cortex_mm: float = 1.5
    blur_mm: float = 0.6
    noise_hu: float = 30.0

    def __post_init__(self) -> None:
        for name in ("cortex_mm", "blur_mm", "noise_hu"):
            if not 0.0 <= getattr(self, name) < np.inf:
                raise ValueError(f"{name}: got {getattr(self, name)}, need 0 or more")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CortexZone:
    """
    A ball in which the cortex has its own thickness, as under cartilage or in the iliac wing.

    Parameters
    ----------
    centre_mm
        (3,), mm, image frame.
    radius_mm
        Of the ball, mm; outside it the cortex goes over into the common one.
    cortex_mm
        Thickness inside, mm.
    """

    centre_mm: Vector
    radius_mm: float
    cortex_mm: float

    def __post_init__(self) -> None:
        object.__setattr__(
            self, "centre_mm", frozen_floats(self.centre_mm, shape=(3,), name="centre_mm")
        )
        if not (self.radius_mm > 0.0 and self.cortex_mm >= 0.0):
            raise ValueError("a zone needs a radius above 0 and a thickness of 0 or more")
