"""Tubes, drills and cones as closed triangle surfaces, for the scene."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Floats, Points, TriangleMesh, Vector, unit_vector

SIDES = 16
"""Flat sides a round thing is drawn with."""


def tube(points_mm: Points, *, radius_mm: float, closed: bool) -> TriangleMesh:
    """
    A round tube along a line of points.

    Parameters
    ----------
    points_mm
        (n, 3), mm, n >= 2, no two neighbours alike.
    radius_mm
        mm, > 0.
    closed
        Whether the last point joins the first; else the ends are capped.

    Returns
    -------
    TriangleMesh
        Outward normals.
    """
    points = np.asarray(points_mm, dtype=np.float64)
    if closed:
        tangents = np.roll(points, -1, axis=0) - np.roll(points, 1, axis=0)
    else:
        tangents = np.gradient(points, axis=0)
    tangents /= np.linalg.norm(tangents, axis=1, keepdims=True)
    across = _across(tangents[0])
    rings = []
    turns = np.linspace(0, 2 * np.pi, SIDES, endpoint=False)
    for point, tangent in zip(points, tangents, strict=True):
        across = across - (across @ tangent) * tangent
        across /= np.linalg.norm(across)
        other = np.cross(tangent, across)
        circle = np.cos(turns)[:, None] * across + np.sin(turns)[:, None] * other
        rings.append(point + radius_mm * circle)
    return _skin(np.array(rings), closed=closed)


def drill(
    entry_mm: Vector, direction: Vector, *, depth_mm: float, diameter_mm: float
) -> TriangleMesh:
    """A capped cylinder from an entry along a direction."""
    end = entry_mm + depth_mm * unit_vector(direction)
    return tube(np.stack([entry_mm, end]), radius_mm=diameter_mm / 2, closed=False)


def cone(
    apex_mm: Vector, direction: Vector, *, depth_mm: float, half_angle_deg: float
) -> TriangleMesh:
    """A cone from its apex, of a half angle, closed by a flat end."""
    axis = unit_vector(direction)
    across = _across(axis)
    other = np.cross(axis, across)
    turns = np.linspace(0, 2 * np.pi, 2 * SIDES, endpoint=False)
    radius = depth_mm * np.tan(np.radians(half_angle_deg))
    end = apex_mm + depth_mm * axis
    rim = end + radius * (np.cos(turns)[:, None] * across + np.sin(turns)[:, None] * other)
    vertices = np.vstack([rim, apex_mm, end])
    k = np.arange(len(turns))
    after = (k + 1) % len(turns)
    apex, middle = np.full_like(k, len(turns)), np.full_like(k, len(turns) + 1)
    sides = np.stack([apex, after, k], axis=1)
    flat = np.stack([middle, k, after], axis=1)
    return TriangleMesh(vertices_mm=vertices, triangles=np.vstack([sides, flat]))


def _across(direction: Vector) -> Vector:
    """Any unit vector at right angles to a direction."""
    helper = np.eye(3)[int(np.argmin(np.abs(direction)))]
    across = np.cross(direction, helper)
    return across / np.linalg.norm(across)


def _skin(rings: Floats, *, closed: bool) -> TriangleMesh:
    """Triangles between rings of points, outward; caps where the tube is open."""
    n, sides = rings.shape[:2]
    vertices = rings.reshape(-1, 3)
    k = np.arange(sides)
    after = (k + 1) % sides
    triangles = []
    for ring in range(n if closed else n - 1):
        low, high = ring * sides, (ring + 1) % n * sides
        triangles.append(np.stack([low + k, low + after, high + k], axis=1))
        triangles.append(np.stack([low + after, high + after, high + k], axis=1))
    if not closed:
        ends = np.stack([rings[0].mean(axis=0), rings[-1].mean(axis=0)])
        first, last = len(vertices), len(vertices) + 1
        vertices = np.vstack([vertices, ends])
        triangles.append(np.stack([np.full_like(k, first), after, k], axis=1))
        top = (n - 1) * sides
        triangles.append(np.stack([np.full_like(k, last), top + k, top + after], axis=1))
    return TriangleMesh(vertices_mm=vertices, triangles=np.vstack(triangles))
