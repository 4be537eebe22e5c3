"""A dark band across the head or neck: an open growth plate, or a fracture."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Vector
from rimwright.morphology.scan.blur import Plates
from rimwright.morphology.scan.oriented import OrientedGrid
from rimwright.morphology.scan.sampling import read_profiles

FROM_RADII, TO_RADII = -0.3, 1.1
"""Along the neck's axis, in head radii from its middle: where a plate crosses the head."""
DISC_RADII = 0.45
"""Radius of the disc that a band must cross whole, in head radii."""
STEP_MM, BESIDE_MM, WIDE_MM = 0.5, 4.0, 2.0
"""Step along the axis; how far on either side, and over which length, bone is looked at, mm."""
DARK_SHARE = 0.45
"""A band is darker than this share of the way from soft tissue to the bone beside it."""
LEAST_BONE_HU = 80.0
"""Bone beside a band is at least this much brighter than soft tissue: else it is porous, HU."""
N_DISC = 80


def find_dark_band(
    scan: OrientedGrid,
    *,
    centre_mm: Vector,
    radius_mm: float,
    axis: Vector,
    plates: Plates,
) -> float | None:
    """
    Look for a band of soft tissue across the head.

    Parameters
    ----------
    scan
        The scan.
    centre_mm, radius_mm
        Sphere of the head, mm.
    axis
        Unit, from the head towards the neck.
    plates
        For the brightness of soft tissue.

    Returns
    -------
    float or None
        Distance of the band from the head's middle along the axis, mm; None where none crosses.
    """
    side = np.cross(axis, [0.0, 0.0, 1.0] if abs(axis[2]) < 0.9 else [1.0, 0.0, 0.0])
    side /= np.linalg.norm(side)
    up = np.cross(axis, side)
    k = np.arange(N_DISC)
    out = DISC_RADII * radius_mm * np.sqrt((k + 0.5) / N_DISC)
    turn = k * np.pi * (3.0 - np.sqrt(5.0))
    disc = out[:, None] * (np.cos(turn)[:, None] * side + np.sin(turn)[:, None] * up)
    start = FROM_RADII * radius_mm - BESIDE_MM - WIDE_MM
    n_samples = int(((TO_RADII - FROM_RADII) * radius_mm + 2.0 * (BESIDE_MM + WIDE_MM)) / STEP_MM)
    profiles = read_profiles(
        scan,
        centre_mm + disc,
        np.broadcast_to(axis, disc.shape),
        start_mm=start,
        step_mm=STEP_MM,
        n_samples=n_samples,
    )
    mean = profiles.mean(axis=0).astype(np.float64)
    wide, beside = round(WIDE_MM / STEP_MM), round(BESIDE_MM / STEP_MM)
    smooth = np.convolve(mean, np.ones(wide) / wide, mode="same")
    for at in range(beside + wide, n_samples - beside - wide):
        bone = min(smooth[at - beside], smooth[at + beside])
        if bone - plates.soft_hu < LEAST_BONE_HU:
            continue
        if mean[at] - plates.soft_hu < DARK_SHARE * (bone - plates.soft_hu):
            return float(start + at * STEP_MM)
    return None
