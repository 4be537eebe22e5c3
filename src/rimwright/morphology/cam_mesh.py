"""The femur after a cam is taken away: its surface drawn in along rays from the head's centre."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import CamPlan, Floats, HipGeometry, TriangleMesh
from rimwright.errors import LayoutRefusal
from rimwright.morphology.cam_resection import femoral_dial

OWN_SURFACE_MM = 1.5
"""A vertex this near to the contour before the cut lies on it, mm; the contour is interpolated
between hours 3 to 6 mm apart."""


def resected_femur(hip: HipGeometry, plan: CamPlan) -> TriangleMesh:
    """
    Move the surface of the head-neck junction to where the plan leaves it.

    Parameters
    ----------
    hip
        The hip the plan was made for.
    plan
        Depth by femoral hour and angle.

    Returns
    -------
    TriangleMesh
        The same triangles; closed if it was closed.

    Raises
    ------
    LayoutRefusal
        The hip has no femur with a neck.

    Notes
    -----
    Depths are read linearly between hours and angles.
    """
    dial = femoral_dial(hip)
    if dial is None or hip.femur_bone is None:
        raise LayoutRefusal("there is no femur to cut", "cam", "Give the femur")
    pelvic = hip.frame.pelvic_from_image
    offset = pelvic.points(hip.femur_bone.vertices_mm) - dial.centre_mm
    reach = np.linalg.norm(offset, axis=1)
    polar = np.degrees(np.arccos(np.clip((offset @ dial.axis) / np.maximum(reach, 1e-9), -1, 1)))
    hour = np.degrees(np.arctan2(offset @ dial.three, offset @ dial.twelve)) / 30.0 % 12.0
    depth = _read(plan, np.nan_to_num(np.asarray(plan.depth_map_mm)), hour, polar)
    contour = _read(plan, np.asarray(plan.contour_before_mm), hour, polar)
    is_own = np.isfinite(contour) & (np.abs(reach - contour) < OWN_SURFACE_MM) & (depth > 0.0)
    share = np.where(is_own, depth / np.maximum(reach, 1e-9), 0.0)
    centre = hip.head.centre_mm if hip.head is not None else np.zeros(3)
    vertices = hip.femur_bone.vertices_mm
    return TriangleMesh(
        vertices_mm=vertices - share[:, None] * (vertices - centre),
        triangles=hip.femur_bone.triangles,
    )


def _read(plan: CamPlan, values: Floats, hour: Floats, polar_deg: Floats) -> Floats:
    """Values of a map at any hour and angle, (n,); NaN outside its angles."""
    angles = np.asarray(plan.angles_deg)
    n = len(plan.femoral_hours)
    at_hour = hour * n / 12.0
    at_angle = (polar_deg - angles[0]) / (angles[1] - angles[0])
    inside = (at_angle >= 0.0) & (at_angle <= len(angles) - 1)
    low_hour = np.floor(at_hour).astype(np.int64) % n
    low = np.clip(np.floor(at_angle), 0, len(angles) - 2).astype(np.int64)
    part_hour, part = at_hour - np.floor(at_hour), at_angle - low
    total = np.zeros(len(hour))
    for step_hour, weight_hour in ((0, 1.0 - part_hour), (1, part_hour)):
        for step, weight in ((0, 1.0 - part), (1, part)):
            total += weight_hour * weight * values[(low_hour + step_hour) % n, low + step]
    return np.where(inside, total, np.nan)
