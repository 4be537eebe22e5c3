"""Bones for the femur's tests: turned shapes with closed forms, and synthetic femora."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Floats, TriangleMesh, Vector
from rimwright.phantom import HipShape, HipTruth
from rimwright.phantom.femur_mesh import build_femur
from rimwright.phantom.hip import EDGE_MM

HEAD_MM, NECK_MM = 24.0, 15.0
"""Radii of the turned head and neck."""
NECK_AXIS = np.array([0.72, 0.25, -0.65]) / np.linalg.norm([0.72, 0.25, -0.65])
"""Axis of the turned neck, LPS, of a left femur: lateral, backwards, down."""
HEAD_CENTRE = np.array([90.0, -12.0, -340.0])


def turned_mesh(
    profile: Floats, *, centre: Vector, axis: Vector, n_facets: int = 180
) -> TriangleMesh:
    """Body of revolution: profile (k, 2) of place along the axis and radius, ends on the axis."""
    helper = np.array([0.0, 0.0, 1.0])
    across = np.cross(helper, axis) / np.linalg.norm(np.cross(helper, axis))
    over = np.cross(axis, across)
    angles = 2.0 * np.pi * np.arange(n_facets) / n_facets
    ring = np.outer(np.cos(angles), across) + np.outer(np.sin(angles), over)
    inner = profile[1:-1]
    rings = centre + inner[:, 0, None, None] * axis + inner[:, 1, None, None] * ring[None, :, :]
    points = np.vstack(
        [rings.reshape(-1, 3), centre + profile[0, 0] * axis, centre + profile[-1, 0] * axis]
    )
    first, last = len(points) - 2, len(points) - 1
    here = np.arange(n_facets)
    there = (here + 1) % n_facets
    faces = [np.column_stack([np.full(n_facets, first), there, here])]
    for k in range(len(inner) - 1):
        a, b = k * n_facets, (k + 1) * n_facets
        faces.append(np.column_stack([a + here, a + there, b + there]))
        faces.append(np.column_stack([a + here, b + there, b + here]))
    end = (len(inner) - 1) * n_facets
    faces.append(np.column_stack([end + here, end + there, np.full(n_facets, last)]))
    return TriangleMesh(vertices_mm=points, triangles=np.vstack(faces))


def head_on_neck(*, head_mm: float = HEAD_MM, neck_mm: float = NECK_MM) -> TriangleMesh:
    """A ball on a straight round neck that flares at its foot: every angle has a closed form."""
    junction = np.arcsin(neck_mm / head_mm)
    polar = np.linspace(np.pi, junction, 90)
    head = np.column_stack([head_mm * np.cos(polar), head_mm * np.sin(polar)])
    start = head_mm * np.cos(junction)
    neck = np.column_stack([np.linspace(start, 38.0, 30)[1:], np.full(29, neck_mm)])
    foot = np.column_stack([np.linspace(38.0, 52.0, 12)[1:], np.linspace(neck_mm, 27.0, 12)[1:]])
    profile = np.vstack([head, neck, foot, [[52.0, 0.0]]])
    return turned_mesh(profile, centre=HEAD_CENTRE, axis=NECK_AXIS)


def mirrored(mesh: TriangleMesh) -> TriangleMesh:
    """The mirror image across the sagittal plane."""
    return TriangleMesh(
        vertices_mm=mesh.vertices_mm * [-1.0, 1.0, 1.0], triangles=mesh.triangles[:, ::-1]
    )


def femur_of(shape: HipShape) -> tuple[TriangleMesh, HipTruth]:
    """The femur of a synthetic hip alone (the pelvis takes longer), and its truth."""
    truth = HipTruth(shape=shape)
    built = build_femur(truth.femur_surface, edge_mm=EDGE_MM)
    return truth.placement.mesh(built.points_mm, built.triangles), truth


def cut_below(mesh: TriangleMesh, *, z_mm: float) -> TriangleMesh:
    """What lies above a level of the image, its cut left open."""
    centroids = mesh.centroids_mm()
    return TriangleMesh(
        vertices_mm=mesh.vertices_mm, triangles=mesh.triangles[centroids[:, 2] > z_mm]
    )
