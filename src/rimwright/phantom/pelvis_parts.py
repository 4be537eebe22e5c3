"""Ilium, pubis and ischium: rounded parts laid out round the socket, landmarks exact.

Positions are lateral, cranial, anterior of the socket centre in mm at scale 1 (a socket of
27 mm), after general anatomy; they only have to look and behave like bone.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

import numpy as np

from rimwright.anatomy import Vector
from rimwright.phantom.ring_stack import BuiltBody, Ring, stack_rings
from rimwright.phantom.socket_mesh import mesh_socket
from rimwright.phantom.socket_surface import SocketSurface
from rimwright.phantom.solids import body_of, hull_of_balls, solid_of, united

HALF_WIDTH_MM = 88.0
"""Socket centre to the midline, mm at scale 1."""
PLANE_ANTERIOR_MM = 55.0
"""The anterior pelvic plane in front of the socket centre, mm at scale 1."""
PART_EDGES = 6.0
"""Longest edge wanted on the rounded parts against that on the lunate."""
KEPT_WALL_DEG = 24.0
"""Polar angle behind the edge over which nothing but the socket's own wall may show."""
SHOULDER_MM = 0.5
"""The cleared space ends this far inside the shoulder of the socket's body: parts join it, mm."""

ASIS_RADIUS_MM = 5.0
TUBERCLE_RADIUS_MM = 4.0
_BALLS: Mapping[str, tuple[tuple[float, float, float], float]] = {
    "asis": ((32.0, 76.0, PLANE_ANTERIOR_MM - ASIS_RADIUS_MM), ASIS_RADIUS_MM),
    "tubercle": ((-61.0, -18.0, PLANE_ANTERIOR_MM - TUBERCLE_RADIUS_MM), TUBERCLE_RADIUS_MM),
    "roof": ((3.0, 44.0, 2.0), 12.0),
    "roof_front": ((2.0, 41.0, 17.0), 9.5),
    "roof_back": ((-7.0, 41.0, -16.0), 11.0),
    "aiis": ((4.0, 41.0, 35.0), 5.5),
    "crest_front": ((38.0, 98.0, 30.0), 4.5),
    "crest_top": ((36.0, 118.0, -12.0), 4.5),
    "crest_back": ((0.0, 112.0, -62.0), 5.0),
    "psis": ((-44.0, 82.0, -88.0), 7.0),
    "auricular": ((-38.0, 55.0, -52.0), 9.0),
    "wing": ((14.0, 80.0, -12.0), 4.0),
    "notch_roof": ((-26.0, 46.0, -38.0), 9.0),
    "brim": ((-30.0, 10.0, 17.0), 8.5),
    "front": ((-19.0, 12.0, 20.0), 8.0),
    "ramus_middle": ((-44.0, -8.0, 36.0), 6.5),
    "pubic_body": ((-72.0, -28.0, 40.0), 8.0),
    "symphysis_low": ((-77.0, -48.0, 30.0), 7.0),
    "low_ramus": ((-56.0, -66.0, 8.0), 5.5),
    "tuber_front": ((-33.0, -70.0, -12.0), 8.0),
    "tuber": ((-20.0, -58.0, -30.0), 12.0),
    "ischium": ((-17.0, -36.0, -27.0), 12.0),
    "ischium_root": ((-26.0, -8.0, -24.0), 12.0),
    "spine": ((-43.0, -16.0, -44.0), 3.0),
    "column": ((-27.0, 18.0, -28.0), 11.0),
}
_HULLS = (
    ("roof", "roof_front", "roof_back"),
    ("roof", "roof_front", "wing"),
    ("roof", "roof_back", "wing"),
    ("roof_front", "aiis"),
    ("roof_front", "aiis", "wing"),
    ("aiis", "wing", "asis"),
    ("asis", "crest_front", "wing"),
    ("crest_front", "crest_top", "wing"),
    ("crest_top", "crest_back", "wing"),
    ("crest_back", "auricular", "wing"),
    ("crest_back", "auricular", "psis"),
    ("auricular", "notch_roof", "wing"),
    ("notch_roof", "roof_back", "wing"),
    ("notch_roof", "roof_back", "column"),
    ("column", "ischium_root"),
    ("ischium_root", "ischium"),
    ("ischium_root", "ischium", "spine"),
    ("ischium", "tuber"),
    ("tuber", "tuber_front"),
    ("tuber_front", "low_ramus"),
    ("low_ramus", "symphysis_low"),
    ("symphysis_low", "pubic_body"),
    ("pubic_body", "tubercle"),
    ("tubercle", "ramus_middle"),
    ("pubic_body", "ramus_middle"),
    ("ramus_middle", "brim"),
    ("brim", "front", "roof_front", "roof_back"),
    ("brim", "front", "ischium_root"),
    ("roof", "roof_front", "roof_back", "brim", "column"),
    ("brim", "column", "ischium_root"),
)


def pelvic_landmarks(scale: float) -> dict[str, Vector]:
    """ASIS and pubic tubercle of the own and the other side: true foremost points, built frame."""
    asis, tubercle = np.array(_BALLS["asis"][0]), np.array(_BALLS["tubercle"][0])
    own = {
        "asis": asis + np.array([0.0, 0.0, ASIS_RADIUS_MM]),
        "pubic_tubercle": tubercle + np.array([0.0, 0.0, TUBERCLE_RADIUS_MM]),
    }
    other = {f"{name}_other": mirrored(point) for name, point in own.items()}
    return {name: scale * point for name, point in (own | other).items()}


def mirrored(points_mm: Vector, *, half_width_mm: float = HALF_WIDTH_MM) -> Vector:
    """Points on the other side of the midline, built frame."""
    points = np.array(points_mm, dtype=np.float64)
    points[..., 0] = -2.0 * half_width_mm - points[..., 0]
    return points


@cache
def _parts_at_scale_one(edge_mm: float) -> Any:
    """Union of all parts, refined; the costly step, the same for every shape."""
    hulls = [hull_of_balls(*(_BALLS[name] for name in names)) for names in _HULLS]
    return united(hulls).refine_to_length(edge_mm)


def build_hip_bone(surface: SocketSurface, *, edge_mm: float) -> BuiltBody:
    """Unite the socket's body with the rest of the hip bone, the joint and the rim kept clear."""
    scale = surface.shape.scale
    socket = solid_of(mesh_socket(surface, edge_mm=edge_mm))
    parts = _parts_at_scale_one(PART_EDGES * edge_mm).scale((scale, scale, scale))
    return body_of((parts - solid_of(_kept_clear(surface))) + socket)


def _kept_clear(surface: SocketSurface) -> BuiltBody:
    """The joint, the space before it and the space over the rim's own wall.

    Inside the socket's body its surface lies half-way between joint and outer face, where the
    cut is never seen.
    """
    angles = 2 * np.pi * np.arange(96) / 96
    edge, _ = surface.rounding_polar(angles, 1.0)
    limit = edge - np.radians(KEPT_WALL_DEG)
    far_mm = surface.outer_distance_mm(limit, angles) - SHOULDER_MM
    rings = []
    for fraction in (0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0):
        polar = limit * fraction
        inner = surface.joint_distance_mm(polar, angles)
        middle = 0.5 * (inner + surface.outer_distance_mm(polar, angles))
        rings.append(Ring(angles=angles, points_mm=surface.point(polar, angles, middle)))
    for fraction in (0.0, 0.05, 0.12, 0.2, 0.3, 0.4, 0.6, 0.8):
        polar = limit + (np.pi - limit) * fraction
        rings.append(Ring(angles=angles, points_mm=surface.point(polar, angles, far_mm)))
    zero = np.zeros(1)
    depth = 0.5 * (surface.joint_distance_mm(zero, zero) + surface.outer_distance_mm(zero, zero))
    first = surface.point(zero, zero, depth)[0]
    last = surface.point(zero + np.pi, zero, far_mm.mean()[None])[0]
    return stack_rings(first, last, rings=rings)
