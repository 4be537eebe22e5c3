"""The bone field of a mesh against distances and sides worked out another way."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from fixation.socket_block import SOCKET_MM, make_block
from rimwright.anatomy import OldAnchor, SocketFaces, TriangleMesh
from rimwright.fixation import MeshBoneField, build_mesh_field


@pytest.fixture(scope="module")
def block():
    bone, _, faces = make_block(outer_mm=45.0, depth_mm=45.0, step_mm=2.5, n_around=96)
    return bone, faces, build_mesh_field(bone, faces, centre_mm=np.array([1.0, -2.0, 3.0]))


def points_about(n: int, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).uniform([-55, -55, -55], [55, 55, 20], (n, 3))


def sampled_surface(
    bone: TriangleMesh, rows: np.ndarray, per_side: int
) -> tuple[np.ndarray, float]:
    """Points on a fine barycentric grid of some triangles, and the largest hole between them."""
    i, j = np.meshgrid(np.arange(per_side + 1), np.arange(per_side + 1), indexing="ij")
    keep = i + j <= per_side
    u, v = i[keep] / per_side, j[keep] / per_side
    corners = bone.vertices_mm[bone.triangles[rows]]
    points = (
        corners[:, None, 0] * (1 - u - v)[None, :, None]
        + corners[:, None, 1] * u[None, :, None]
        + corners[:, None, 2] * v[None, :, None]
    )
    edges = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max()
    return points.reshape(-1, 3), float(edges) / per_side


@pytest.mark.oracle
def test_distances_agree_with_a_dense_sampling_of_each_surface(block) -> None:
    """A k-d tree over surface points is never nearer than the field, nor much farther."""
    bone, faces, field = block
    points = points_about(2000, seed=3)
    sample = field.sample(points)
    is_joint = np.zeros(bone.n_triangles, dtype=bool)
    is_joint[faces.joint] = True
    for found, rows in (
        (sample.joint_mm, np.flatnonzero(is_joint)),
        (sample.cortex_mm, np.flatnonzero(~is_joint)),
    ):
        cloud, hole_mm = sampled_surface(bone, rows, per_side=12)
        sampled, _ = cKDTree(cloud).query(points)
        assert (found <= sampled + 1e-9).all()
        # A triangle's point lies within one grid step of a sampled one, along the surface.
        assert (np.sqrt(np.maximum(sampled**2 - hole_mm**2, 0.0)) <= found + hole_mm * 0.2).all()
        assert (sampled - found).max() <= hole_mm


@pytest.mark.oracle
def test_distances_agree_with_sphere_and_planes(block) -> None:
    """In the middle of the block's wall the sphere and the flat top are the nearest surfaces."""
    _, _, field = block
    rng = np.random.default_rng(5)
    angle = rng.uniform(0, 2 * np.pi, 500)
    r, z = rng.uniform(27, 33, 500), rng.uniform(-8, -1, 500)
    points = np.column_stack([r * np.cos(angle), r * np.sin(angle), z])
    sample = field.sample(points)
    # Chords of 2.5 mm by 1.6 mm: 2.5²/8/25 + 1.6²/8/25 = 0.044 mm inside the sphere.
    assert np.abs(sample.joint_mm - (np.linalg.norm(points, axis=1) - SOCKET_MM)).max() < 0.05
    assert np.abs(sample.cortex_mm + z).max() < field.error_mm
    assert sample.inside.all()
    assert np.isnan(sample.density_hu).all()


@pytest.mark.oracle
def test_inside_agrees_with_the_solid(block) -> None:
    """Inside the cylinder, below the top, outside the socket; points at the facets left out."""
    _, _, field = block
    points = points_about(4000, seed=8)
    r, z = np.hypot(points[:, 0], points[:, 1]), points[:, 2]
    out = np.linalg.norm(points, axis=1) - SOCKET_MM
    inside = (r < 45) & (z < 0) & (z > -45) & (out > 0)
    clear = (np.abs(r - 45) > 0.2) & (np.abs(out) > 0.2) & (np.abs(z) > 0.01)
    assert np.array_equal(field.sample(points).inside[clear], inside[clear])
    assert inside[clear].sum() > 300


@pytest.mark.oracle
def test_rays_agree_with_embree(block) -> None:
    """First hits by embree from points about the block, in single precision near the origin."""
    rtcore_scene = pytest.importorskip("embreex.rtcore_scene", reason="embreex not at hand")
    mesh_construction = pytest.importorskip("embreex.mesh_construction")
    bone, _, field = block
    scene = rtcore_scene.EmbreeScene()
    mesh_construction.TriangleMesh(
        scene,
        (bone.vertices_mm - field.origin_mm).astype(np.float32),
        bone.triangles.astype(np.int32),
    )
    starts = points_about(500, seed=13) - field.origin_mm
    directions = np.random.default_rng(14).normal(size=(500, 3))
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    expected = scene.run(starts.astype(np.float32), directions.astype(np.float32), query="DISTANCE")
    found = np.array(
        [
            min(field.cortex.first_hit_mm(s, d), field.joint.first_hit_mm(s, d))
            for s, d in zip(starts, directions, strict=True)
        ]
    )
    hit = expected < 1e30
    # One ray in five hundred may pass between two facets in single precision.
    assert np.mean(hit == np.isfinite(found)) > 0.995
    both = hit & np.isfinite(found)
    assert both.sum() > 200
    assert np.quantile(np.abs(found[both] - expected[both]), 0.99) < 1e-3


def test_arrays_bring_the_field_back(block) -> None:
    """What is saved answers as before; obstacles belong to the case."""
    _, _, field = block
    old = OldAnchor(drill_mm=2.0, depth_mm=10.0, hour=1.0)
    arrays = field.with_obstacles([old]).to_arrays()
    assert not any(array.dtype == object for array in arrays.values())
    again = MeshBoneField.from_arrays(arrays)
    points = points_about(200, seed=21)
    assert np.array_equal(again.sample(points).joint_mm, field.sample(points).joint_mm)
    assert np.array_equal(again.sample(points).inside, field.sample(points).inside)
    assert again.obstacles == ()
    assert again.n_triangles == field.n_triangles


def test_no_joint_surface_is_infinitely_far() -> None:
    """A bone of which no triangle faces the joint has no distance to it."""
    bone, _, _ = make_block(outer_mm=45.0, depth_mm=45.0, step_mm=5.0, n_around=48)
    none = SocketFaces(joint=np.zeros(0, dtype=int), lunate=np.zeros(0, dtype=int))
    field = build_mesh_field(bone, none, centre_mm=np.zeros(3))
    assert np.isinf(field.sample(np.zeros((1, 3))).joint_mm).all()


@pytest.mark.property
def test_moving_bone_and_points_together_moves_nothing(block) -> None:
    """Distances do not change where bone and points are turned and shifted together."""
    bone, faces, field = block
    turn = np.linalg.qr(np.random.default_rng(2).normal(size=(3, 3)))[0]
    turn *= np.sign(np.linalg.det(turn))
    shift = np.array([100.0, -80.0, 40.0])
    moved = build_mesh_field(
        TriangleMesh(vertices_mm=bone.vertices_mm @ turn.T + shift, triangles=bone.triangles),
        faces,
        centre_mm=shift,
    )
    points = points_about(300, seed=4)
    before, after = field.sample(points), moved.sample(points @ turn.T + shift)
    assert np.abs(before.joint_mm - after.joint_mm).max() < 1e-9
    assert np.abs(before.cortex_mm - after.cortex_mm).max() < 1e-9
    assert np.array_equal(before.inside, after.inside)
