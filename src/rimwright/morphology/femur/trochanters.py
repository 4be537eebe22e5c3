"""Tips of the greater and the lesser trochanter."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Vector
from rimwright.morphology.femur.head import FoundHead
from rimwright.morphology.femur.neck import FoundNeck
from rimwright.morphology.femur.shaft import FoundShaft
from rimwright.morphology.femur.surface import ANTERIOR, CRANIAL, FemurSurface

TIP_FROM_OFFSET = 0.15
"""The greater trochanter stands over the shaft: its tip is looked for from this share of the
head's offset medial of the shaft line outwards; further in, the neck's upper edge begins."""
TIP_FROM_RADII = 0.8
"""Without a shaft: the tip lies at least this many head radii lateral of the neck's narrowest."""
STRIP_MM = 3.0
"""Width of the strips, medial to lateral, whose highest points make the ridge, mm."""
LESSER_FROM_RADII, LESSER_TO_RADII = 1.2, 5.0
"""Depths below the head centre where the lesser trochanter is looked for, head radii."""
LESSER_SECTOR_DEG = (25.0, 115.0)
"""Where it is looked for round the shaft, from medial (0) through posterior (90)."""
LESSER_STEP_MM = 2.0
"""Step of the profile down the shaft, mm."""
LESSER_RISE_MM = 2.0
"""The bump must stand out of the line over its neighbours by this much, mm."""


def greater_trochanter(
    surface: FemurSurface, head: FoundHead, neck: FoundNeck, shaft: FoundShaft | None
) -> Vector | None:
    """
    Most proximal point of the greater trochanter, pelvic frame; None where it is not seen.

    Notes
    -----
    Proximal is along the shaft where one is seen, else cranial.
    """
    points = surface.points_mm
    if shaft is None:
        proximal = np.zeros(3)
        proximal[CRANIAL] = 1.0
        outwards = neck.axis - (neck.axis @ proximal) * proximal
        outwards /= np.linalg.norm(outwards)
        lateral_part = (points - neck.centre_mm) @ outwards > TIP_FROM_RADII * head.sphere.radius_mm
    else:
        proximal = shaft.axis
        outwards = neck.axis - (neck.axis @ proximal) * proximal
        outwards /= np.linalg.norm(outwards)
        offset_mm = float((shaft.point_mm - head.sphere.centre_mm) @ outwards)
        lateral_part = (points - shaft.point_mm) @ outwards > -TIP_FROM_OFFSET * offset_mm
    index = np.flatnonzero(lateral_part)
    if len(index) < 10:
        return None
    heights = points[index] @ proximal
    sideways = points[index] @ outwards
    strip = ((sideways - sideways.min()) / STRIP_MM).astype(np.int64)
    ridge = np.full(strip.max() + 1, -np.inf)
    np.maximum.at(ridge, strip, heights)
    # The neck's upper edge may still fall where the part begins: the tip is beyond that fall.
    start = 0
    while start + 1 < len(ridge) and ridge[start + 1] < ridge[start]:
        start += 1
    if start + 1 >= len(ridge):
        return None
    beyond = strip >= start
    return points[index[beyond][np.argmax(heights[beyond])]]


def lesser_trochanter(
    surface: FemurSurface, head: FoundHead, neck: FoundNeck, shaft: FoundShaft
) -> Vector | None:
    """
    Tip of the lesser trochanter, pelvic frame; None where no bump stands out.

    Notes
    -----
    The farthest surface from the shaft line by level, in the sector from medial to behind; the
    tip is where that profile rises most over the straight line across its neighbours.
    """
    radius = head.sphere.radius_mm
    medial = -neck.axis + (neck.axis @ shaft.axis) * shaft.axis
    medial /= np.linalg.norm(medial)
    behind = np.cross(medial, shaft.axis)
    if behind[ANTERIOR] > 0:
        behind = -behind
    offset = surface.points_mm - shaft.point_mm
    depth = (head.sphere.centre_mm - surface.points_mm) @ shaft.axis
    turn = np.degrees(np.arctan2(offset @ behind, offset @ medial))
    reach = np.hypot(offset @ behind, offset @ medial)
    own = (
        (depth > LESSER_FROM_RADII * radius)
        & (depth < LESSER_TO_RADII * radius)
        & (turn > LESSER_SECTOR_DEG[0])
        & (turn < LESSER_SECTOR_DEG[1])
    )
    index = np.flatnonzero(own)
    if len(index) < 20:
        return None
    level = ((depth[index] - LESSER_FROM_RADII * radius) / LESSER_STEP_MM).astype(np.int64)
    profile = np.full(level.max() + 1, -np.inf)
    np.maximum.at(profile, level, reach[index])
    span = max(round(0.7 * radius / LESSER_STEP_MM), 1)
    met = np.flatnonzero(np.isfinite(profile))
    profile = np.interp(np.arange(len(profile)), met, profile[met])
    if len(profile) < 2 * span + 3:
        return None
    middle = np.arange(span, len(profile) - span)
    rise = profile[middle] - 0.5 * (profile[middle - span] + profile[middle + span])
    peak = profile[middle] >= np.maximum(profile[middle - 1], profile[middle + 1])
    rise = np.where(peak, rise, -np.inf)
    best = int(np.argmax(rise))
    if rise[best] < LESSER_RISE_MM:
        return None
    own_level = index[level == met[np.argmin(np.abs(met - middle[best]))]]
    return surface.points_mm[own_level[np.argmax(reach[own_level])]]
