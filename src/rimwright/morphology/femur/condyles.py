"""The condyles: the line that touches both from behind, seen along the shaft."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.spatial import ConvexHull

from rimwright.anatomy import Vector
from rimwright.morphology.femur.neck import FoundNeck
from rimwright.morphology.femur.shaft import FoundShaft
from rimwright.morphology.femur.surface import ANTERIOR, FemurSurface

ZONE_MM = 50.0
"""Length of the far end that holds the backs of the condyles, mm."""
WIDTH_LEAST = 1.9
"""Width of condyles over the shaft's diameter; a shaft alone has 1, condyles about 3."""
BRIDGE_LEAST_MM = 20.0
"""The line from condyle to condyle spans the notch: at least this long, mm."""
BEHIND_LEAST = 0.5
"""Cosine of the largest angle (60 deg) between straight behind and that line's normal."""
DEEPER_LEAST = 1.15
"""The notch behind is deeper than the groove in front by this factor; nearer, none is named."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundCondyles:
    """
    Backs of both condyles, pelvic frame.

    Parameters
    ----------
    medial_mm, lateral_mm
        (3,), where the line across the backs touches, mm.
    towards_medial, forward
        Unit, normal to the shaft: along that line, and at right angles to it to the front.
    is_turned
        Whether the backs of the condyles point to the front of the image: the bone is of the
        other side or turned by half a turn.
    """

    medial_mm: Vector
    lateral_mm: Vector
    towards_medial: Vector
    forward: Vector
    is_turned: bool


def find_condyles(surface: FemurSurface, neck: FoundNeck, shaft: FoundShaft) -> FoundCondyles | str:
    """
    Find the backs of the condyles.

    Parameters
    ----------
    surface, neck, shaft
        Pelvic frame.

    Returns
    -------
    FoundCondyles or str
        Both backs, or the reason why they are not seen.
    """
    medial = -neck.axis + (neck.axis @ shaft.axis) * shaft.axis
    medial /= np.linalg.norm(medial)
    front = np.cross(shaft.axis, medial)
    front = front if front[ANTERIOR] >= 0 else -front
    offset = surface.points_mm - shaft.point_mm
    along = offset @ shaft.axis
    zone = np.flatnonzero(along < along.min() + ZONE_MM)
    flat = np.column_stack([offset[zone] @ medial, offset[zone] @ front])
    width = float(np.ptp(flat, axis=0).max())
    if width < WIDTH_LEAST * 2.0 * shaft.radius_mm:
        return (
            f"the condyles are not seen (the bone ends {shaft.end_mm:.0f} mm below the head "
            "centre without widening)"
        )
    if not shaft.ends_naturally:
        return f"the condyles are cut (the bone ends {shaft.end_mm:.0f} mm below the head centre)"
    back = _touching_line(flat, behind=np.array([0.0, -1.0]))
    ahead = _touching_line(flat, behind=np.array([0.0, 1.0]))
    if back is None:
        return "no line touches both condyles from behind"
    is_turned = False
    if ahead is not None:
        depth_back, depth_ahead = _reach_behind(flat, back), _reach_behind(flat, ahead)
        is_turned = depth_ahead > DEEPER_LEAST * depth_back
    first, second = zone[back[0]], zone[back[1]]
    if flat[back[0], 0] < flat[back[1], 0]:
        first, second = second, first
    line = surface.points_mm[first] - surface.points_mm[second]
    line = line - (line @ shaft.axis) * shaft.axis
    line /= np.linalg.norm(line)
    forward = np.cross(shaft.axis, line)
    forward = forward if forward @ front > 0 else -forward
    return FoundCondyles(
        medial_mm=surface.points_mm[first],
        lateral_mm=surface.points_mm[second],
        towards_medial=line,
        forward=forward,
        is_turned=is_turned,
    )


def _touching_line(flat: np.ndarray, *, behind: np.ndarray) -> np.ndarray | None:
    """Indices of the two ends of the longest hull edge that faces backwards; None if too short."""
    hull = ConvexHull(flat)
    ends = flat[hull.simplices]
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    facing = hull.equations[:, :2] @ behind
    score = np.where(facing > BEHIND_LEAST, length * facing, 0.0)
    best = int(np.argmax(score))
    if score[best] <= 0 or length[best] < BRIDGE_LEAST_MM:
        return None
    ends_index: np.ndarray = hull.simplices[best]
    return ends_index


def _reach_behind(flat: np.ndarray, edge: np.ndarray) -> float:
    """How far the shaft's line lies in front of a touching line, mm."""
    start, end = flat[edge[0]], flat[edge[1]]
    along = (end - start) / np.linalg.norm(end - start)
    return float(abs(start[0] * along[1] - start[1] * along[0]))
