"""The shaft: how much of it is seen, and the line through the centres of its sections."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, Ints, Points, SphereFit, Vector
from rimwright.morphology.femur.sections import stack_sections
from rimwright.morphology.femur.surface import CRANIAL, FemurSurface

LEVEL_STEP_MM = 3.0
"""Step of the sections along the shaft, mm."""
WINDOW_MM = 30.0
"""The shaft's own size is the least area that a stretch of this length stays within, mm."""
FLARE_MOST = 1.15
"""Sections up to this much larger than that are shaft; trochanters and condyles are larger."""
FROM_RADII = 1.8
"""Depth below the head centre, in head radii, above which head and neck still share a section."""
SLIM_MOST = 0.8
"""Largest radius of the shaft (circle of the same area) over the head's; adults are near 0.6,
sections through the trochanters near 1."""
END_GAP_MM = 4.0
"""Sections nearer than this to the end of the bone are cut obliquely and left out, mm."""
LEAST_SEEN_MM = 40.0
"""Less shaft than this does not fix a direction: 1 mm of drift over it is 1.4 deg."""
SHORT_MM = 80.0
"""Less shaft than this is doubtful: its bow and its ends steer the line."""
N_TURNS = 12
"""Most corrections of the direction."""
SETTLED_RAD = 1e-6
"""The direction has settled when it turns less than this."""
FAR_FRACTION = 0.93
"""Points this share of the greatest distance from the head are the far end."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundShaft:
    """
    The shaft's line, pelvic frame.

    Parameters
    ----------
    axis, point_mm
        Unit, distal to proximal; the middle of the sections used, (3,) mm.
    radius_mm
        Radius of the circle of the area of the slimmest stretch, mm.
    seen_mm
        Length of shaft that the line rests on, mm.
    below_head_mm
        Depth below the head centre, along the axis, where the seen shaft starts, mm.
    end_mm
        The same for the far end of the bone, mm.
    centres_mm
        (k, 3), centres of the sections used.
    ends_naturally
        Whether the bone tapers off at its far end (condyles) and is not cut there.
    """

    axis: Vector
    point_mm: Vector
    radius_mm: float
    seen_mm: float
    below_head_mm: float
    end_mm: float
    centres_mm: Points
    ends_naturally: bool


def find_shaft(surface: FemurSurface, head: SphereFit) -> FoundShaft | str:
    """
    Find the shaft below a head.

    Parameters
    ----------
    surface, head
        Pelvic frame.

    Returns
    -------
    FoundShaft or str
        The shaft, or the reason why none is seen.
    """
    offset = surface.points_mm - head.centre_mm
    reach = np.linalg.norm(offset, axis=1)
    far = reach > FAR_FRACTION * reach.max()
    towards_far = surface.areas_mm2[far] @ offset[far]
    caudal = np.zeros(3)
    caudal[CRANIAL] = -1.0
    reason = ""
    for start in (towards_far / np.linalg.norm(towards_far), caudal):
        found = _follow(surface, head, start)
        if isinstance(found, FoundShaft):
            return found
        reason = found
    return reason


def line_direction(centres_mm: Points, *, shares: Floats | None = None) -> Vector:
    """Unit direction of the best line through points, from the first towards the last."""
    weights = np.ones(len(centres_mm)) if shares is None else shares
    middle = weights @ centres_mm / weights.sum()
    offset = centres_mm - middle
    _, vectors = np.linalg.eigh((offset * weights[:, None]).T @ offset)
    direction = vectors[:, 2]
    return direction if (centres_mm[-1] - centres_mm[0]) @ direction > 0 else -direction


def _follow(surface: FemurSurface, head: SphereFit, start: Vector) -> FoundShaft | str:
    """Follow the shaft from a first distal direction until its line settles."""
    distal, head_centre = start, head.centre_mm
    for _ in range(N_TURNS):
        depth = (surface.points_mm - head_centre) @ distal
        end = float(depth.max())
        levels = np.arange(FROM_RADII * head.radius_mm, end - 1.0, LEVEL_STEP_MM)
        if len(levels) < 2:
            return f"no shaft is seen (the bone ends {end:.0f} mm below the head centre)"
        stack = stack_sections(
            surface.points_mm,
            surface.triangles,
            origin_mm=head_centre,
            axis=distal,
            heights_mm=levels,
        )
        run, least_area = _slim_run(
            stack.areas_mm2[levels < end - END_GAP_MM],
            most=np.pi * (SLIM_MOST * head.radius_mm) ** 2,
        )
        seen = (len(run) - 1) * LEVEL_STEP_MM if len(run) else 0.0
        if seen < LEAST_SEEN_MM:
            return (
                f"too little shaft is seen (got {max(seen, 0.0):.0f} mm, "
                f"need {LEAST_SEEN_MM:.0f} mm; the bone ends {end:.0f} mm below the head centre)"
            )
        centres = stack.centroids_mm[run]
        turned = line_direction(centres)
        settled = float(np.linalg.norm(turned - distal)) < SETTLED_RAD
        distal = turned
        if settled:
            break
    last = stack.areas_mm2[levels > end - WINDOW_MM]
    return FoundShaft(
        axis=-distal,
        point_mm=centres.mean(axis=0),
        radius_mm=float(np.sqrt(least_area / np.pi)),
        seen_mm=seen,
        below_head_mm=float(levels[run[0]]),
        end_mm=end,
        centres_mm=centres,
        ends_naturally=bool(stack.areas_mm2[-1] < 0.5 * last.max()),
    )


def _slim_run(areas: Floats, *, most: float) -> tuple[Ints, float]:
    """Levels of the slim stretch of the bone, and the area that its slimmest part stays within."""
    width = int(WINDOW_MM / LEVEL_STEP_MM) + 1
    usable = np.where(areas > 0, areas, np.inf)
    if len(usable) < width:
        return np.empty(0, dtype=np.int64), 0.0
    widest = np.lib.stride_tricks.sliding_window_view(usable, width).max(axis=1)
    start = int(np.argmin(widest))
    if not widest[start] <= most:
        return np.empty(0, dtype=np.int64), 0.0
    slim = usable <= min(FLARE_MOST * widest[start], most)
    before, after = np.flatnonzero(~slim[:start]), np.flatnonzero(~slim[start:])
    first = int(before[-1]) + 1 if len(before) else 0
    stop = start + int(after[0]) if len(after) else len(slim)
    return np.arange(first, stop), float(widest[start])
