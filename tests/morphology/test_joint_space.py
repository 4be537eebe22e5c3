"""The gap between lunate and head, on spheres whose gap is known."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from rimwright.anatomy import SocketFaces, SphereFit, TriangleMesh
from rimwright.morphology.joint_space import least_joint_space, measure_joint_space


def ball(radius_mm: float, centre_mm: tuple[float, float, float]) -> TriangleMesh:
    body = trimesh.creation.icosphere(subdivisions=4, radius=radius_mm)
    return TriangleMesh(vertices_mm=body.vertices + np.array(centre_mm), triangles=body.faces)


@pytest.mark.oracle
@pytest.mark.parametrize("shift_mm", [0.0, 1.0, 2.5])
def test_gap_of_shifted_spheres(shift_mm: float) -> None:
    """Along a ray from the head's centre the gap to a sphere shifted by s is known in closed form.

    |p| solves |p − s| = R along the ray; chords of a triangle of 1.8 mm sag by 0.02 mm.
    """
    socket = ball(25.0, (0.0, 0.0, shift_mm))
    cup = np.flatnonzero(socket.centroids_mm()[:, 2] < 0)
    faces = SocketFaces(joint=cup, lunate=cup)
    head = SphereFit(centre_mm=np.zeros(3), radius_mm=22.0, rms_mm=0.0)
    gap = measure_joint_space(socket, faces, femur=ball(22.0, (0.0, 0.0, 0.0)), head=head)
    rays = socket.centroids_mm()[cup]
    rays = rays / np.linalg.norm(rays, axis=1, keepdims=True)
    height = rays[:, 2] * shift_mm
    expected = height + np.sqrt(height**2 + 25.0**2 - shift_mm**2) - 22.0
    assert np.isfinite(gap).mean() > 0.99
    np.testing.assert_allclose(gap[np.isfinite(gap)], expected[np.isfinite(gap)], atol=0.04)


def test_least_gap_is_by_area() -> None:
    """One hundredth of the area, not of the triangles: a fleck of small ones does not make it."""
    gap = np.concatenate([np.full(50, 0.1), np.full(50, 3.0)])
    area = np.concatenate([np.full(50, 1e-5), np.full(50, 1.0)])
    assert least_joint_space(gap, area) == pytest.approx(3.0, abs=0.01)
    assert least_joint_space(gap, np.ones(100)) == pytest.approx(0.1, abs=0.01)


def test_overlap_is_negative() -> None:
    """Bones that overlap give a negative gap, never zero or none."""
    socket = ball(25.0, (0.0, 0.0, 0.0))
    cup = np.flatnonzero(socket.centroids_mm()[:, 2] < 0)
    head = SphereFit(centre_mm=np.zeros(3), radius_mm=25.5, rms_mm=0.0)
    gap = measure_joint_space(
        socket, SocketFaces(joint=cup, lunate=cup), femur=ball(25.5, (0.0, 0.0, 0.0)), head=head
    )
    assert np.nanmedian(gap) == pytest.approx(-0.5, abs=0.05)
