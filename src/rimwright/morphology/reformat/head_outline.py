"""The outline of head and neck in a femoral picture of a CT: one edge on each ray from the centre.

Bone is left where the density, going outward, falls through half way between soft tissue and the
bone's own edge, and goes on falling to soft tissue.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats

SOFT_TISSUE_HU = 50.0
"""Muscle, cartilage and joint fluid on CT lie about here, HU (common knowledge, from memory)."""
LEAST_BONE_HU = 150.0
"""A shell whose median peak is less than this above soft tissue shows no bone edge, HU."""
FROM_RADII = 0.8
"""Rays are searched from this share of the head radius outward: further in is marrow."""
BEYOND_MM = 8.0
"""Rays are searched to this far outside the head's circle, mm: on a slender neck that is still
5° of outline, more than a lip."""
RAY_STEP_MM = 0.1
"""Step along a ray, mm: a quarter of a pixel; the edge is interpolated between steps."""
ANGLE_STEP_DEG = 0.5
"""Angle between rays: 0.2 mm on the circle."""
LEAST_ANGLE_DEG, MOST_ANGLE_DEG = 15.0, 155.0
"""Rays, by their angle to the neck axis: from inside the neck to the fovea."""
TO_SOFT = 0.25
"""Past an edge the density must fall to this share of the way from soft tissue to bone …"""
WITHIN_MM = 2.0
"""… within this distance, mm; otherwise it was a pore of the marrow, or the joint is too narrow
for this scan."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HeadOutline:
    """
    Distance of the bone's edge from the head's centre, in one half of a femoral picture.

    Parameters
    ----------
    angles_deg
        (n,), increasing: angle of the rays to the neck axis.
    radii_mm
        (n,), mm; NaN where no edge is told.
    soft_hu, bone_hu
        What the edge was set half way between, HU.
    """

    angles_deg: Floats
    radii_mm: Floats
    soft_hu: float
    bone_hu: float


def ray_grid(radius_mm: float) -> tuple[Floats, Floats]:
    """
    Angles and distances at which a picture is read for its outline.

    Parameters
    ----------
    radius_mm
        Head radius, mm.

    Returns
    -------
    angles_deg, distances_mm
        (n,) to the neck axis, and (m,) from the head's centre.
    """
    angles = np.arange(LEAST_ANGLE_DEG, MOST_ANGLE_DEG + ANGLE_STEP_DEG / 2, ANGLE_STEP_DEG)
    distances = np.arange(FROM_RADII * radius_mm, radius_mm + BEYOND_MM, RAY_STEP_MM)
    return angles, distances


def trace_outline(
    profiles_hu: Floats, *, angles_deg: Floats, distances_mm: Floats, radius_mm: float
) -> HeadOutline | str:
    """
    Find the edge on every ray.

    Parameters
    ----------
    profiles_hu
        (n, m): density along each ray, HU; NaN outside the field.
    angles_deg, distances_mm
        (n,) and (m,), of `ray_grid`.
    radius_mm
        Head radius, mm.

    Returns
    -------
    HeadOutline or str
        The outline, or the reason why there is none.
    """
    near = np.abs(distances_mm - radius_mm) < WITHIN_MM
    seen = np.isfinite(profiles_hu).all(axis=1)
    on_head = seen & (angles_deg > 60.0)
    if np.count_nonzero(on_head) < 20:
        return "the head lies outside the field"
    bone_hu = float(np.median(profiles_hu[on_head][:, near].max(axis=1)))
    if bone_hu - SOFT_TISSUE_HU < LEAST_BONE_HU:
        return f"no bone edge is seen at the head ({bone_hu:.0f} HU at its circle)"
    level = 0.5 * (SOFT_TISSUE_HU + bone_hu)
    low = SOFT_TISSUE_HU + TO_SOFT * (bone_hu - SOFT_TISSUE_HU)
    radii = np.full(len(angles_deg), np.nan)
    for ray in np.flatnonzero(seen):
        radii[ray] = _edge_on_ray(profiles_hu[ray], distances_mm, level=level, low=low)
    return HeadOutline(
        angles_deg=angles_deg, radii_mm=radii, soft_hu=SOFT_TISSUE_HU, bone_hu=bone_hu
    )


def _edge_on_ray(profile: Floats, distances_mm: Floats, *, level: float, low: float) -> float:
    """Distance of the first fall through a level that goes on to soft tissue, else NaN."""
    is_bone = profile >= level
    falls = np.flatnonzero(is_bone[:-1] & ~is_bone[1:])
    reach = round(WITHIN_MM / RAY_STEP_MM)
    for place in falls:
        if profile[place + 1 : place + 1 + reach].min() <= low:
            share = (profile[place] - level) / (profile[place] - profile[place + 1])
            return float(distances_mm[place] + share * RAY_STEP_MM)
    return float("nan")
