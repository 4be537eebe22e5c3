"""The bodies of a synthetic hip are closed, outward, mirrored with the side, and repeatable."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from rimwright.anatomy import Side, TriangleMesh
from rimwright.phantom import HipShape, demo_shape, make_hip


def _edge_counts(mesh: TriangleMesh) -> tuple[int, int]:
    """Directed edges without their opposite, and directed edges met twice."""
    t = mesh.triangles
    edges = np.concatenate([t[:, [0, 1]], t[:, [1, 2]], t[:, [2, 0]]])
    n = len(mesh.vertices_mm)
    there, back = edges[:, 0] * n + edges[:, 1], edges[:, 1] * n + edges[:, 0]
    return int((~np.isin(there, back)).sum()), len(there) - len(np.unique(there))


def _volume_mm3(mesh: TriangleMesh) -> float:
    c = mesh.corners_mm()
    return float(np.einsum("ij,ij->", c[:, 0], np.cross(c[:, 1], c[:, 2])) / 6)


@pytest.mark.parametrize("side", list(Side))
def test_bodies_are_closed_and_outward(side: Side) -> None:
    """Every edge has one neighbour running the other way, and the volume is a bone's."""
    hip = make_hip(HipShape(side=side))
    assert hip.other_hip_bone is not None
    for bone in (hip.hip_bone, hip.other_hip_bone, hip.femur):
        assert _edge_counts(bone) == (0, 0)
        assert 1e5 < _volume_mm3(bone) < 1e6


@pytest.mark.property
def test_right_is_the_mirror_image_of_left() -> None:
    """A right hip of equal numbers is the left one with x negated, to the last bit."""
    left = make_hip(dataclasses.replace(demo_shape(), side=Side.LEFT))
    right = make_hip(dataclasses.replace(demo_shape(), side=Side.RIGHT))
    for one, other in ((left.hip_bone, right.hip_bone), (left.femur, right.femur)):
        assert np.array_equal(one.vertices_mm * [-1.0, 1.0, 1.0], other.vertices_mm)
        assert np.array_equal(one.triangles[:, ::-1], other.triangles)


@pytest.mark.property
def test_the_same_shape_gives_the_same_bones() -> None:
    """Making is repeatable to the last bit."""
    first, second = make_hip(demo_shape()), make_hip(demo_shape())
    assert np.array_equal(first.hip_bone.vertices_mm, second.hip_bone.vertices_mm)
    assert np.array_equal(first.femur.triangles, second.femur.triangles)
