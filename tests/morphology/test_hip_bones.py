"""Which body is a hip bone, and of which side."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh

from morphology.real_bones import pelvis_bodies, seated_bones
from rimwright.anatomy import Side, TriangleMesh
from rimwright.errors import BoneRefusal
from rimwright.morphology import choose_hip_bone, find_hip_bones
from rimwright.phantom import HipShape, make_hip


def as_mesh(body: trimesh.Trimesh) -> TriangleMesh:
    return TriangleMesh(vertices_mm=body.vertices, triangles=body.faces)


def joined(*meshes: TriangleMesh) -> TriangleMesh:
    """Bodies put together as one, as a fused pelvis comes."""
    starts = np.cumsum([0, *(len(mesh.vertices_mm) for mesh in meshes)])
    return TriangleMesh(
        vertices_mm=np.concatenate([mesh.vertices_mm for mesh in meshes]),
        triangles=np.concatenate(
            [mesh.triangles + start for mesh, start in zip(meshes, starts, strict=False)]
        ),
    )


@pytest.mark.oracle
def test_sides_of_a_real_pelvis_are_told(shared_data: Path) -> None:
    """Right hip bone, left hip bone, sacrum in this order (PROVENANCE); the last is none."""
    found = find_hip_bones(pelvis_bodies(shared_data), where="pelvis")
    assert [(item.body_index, item.side) for item in found] == [(0, Side.RIGHT), (1, Side.LEFT)]


def test_each_side_picks_its_body_and_the_other(shared_data: Path) -> None:
    """The bone of the side asked for comes first, the other one beside it."""
    bodies = pelvis_bodies(shared_data)
    chosen = choose_hip_bone(bodies, Side.LEFT, where="pelvis")
    assert chosen.hip_bone is bodies[1]
    assert chosen.other_hip_bone is bodies[0]


def test_fused_pelvis_gives_both_sides(shared_data: Path) -> None:
    """One body with two sockets is a hip bone of either side."""
    bodies = pelvis_bodies(shared_data)
    fused = joined(bodies[0], bodies[1])
    for side, body in ((Side.RIGHT, 0), (Side.LEFT, 1)):
        chosen = choose_hip_bone([fused], side, where="pelvis")
        alone = choose_hip_bone([bodies[body]], side, where="pelvis")
        assert np.linalg.norm(chosen.seed.centre_mm - alone.seed.centre_mm) < 1.0


@pytest.mark.fault
def test_wrong_side_is_refused(shared_data: Path) -> None:
    """A left hip bone called right: said so, with what to look at."""
    bone, _ = seated_bones(shared_data)
    with pytest.raises(BoneRefusal, match=r"this is a left hip bone .* not a right one"):
        choose_hip_bone([bone], Side.RIGHT, where="coxae.stl")


@pytest.mark.fault
@pytest.mark.parametrize("side", list(Side))
def test_ras_taken_for_lps_is_refused(shared_data: Path, side: Side) -> None:
    """A half-turn about the long axis swaps sides and puts the pubis behind: neither passes."""
    bone, _ = seated_bones(shared_data)
    turned = TriangleMesh(
        vertices_mm=bone.vertices_mm * [-1.0, -1.0, 1.0], triangles=bone.triangles
    )
    with pytest.raises(BoneRefusal, match="the pubis lies behind"):
        choose_hip_bone([turned], side, where="coxae.stl")


@pytest.mark.fault
def test_bone_on_its_head_is_refused(shared_data: Path) -> None:
    """A half-turn about the lateral axis puts the ilium below."""
    bone, _ = seated_bones(shared_data)
    turned = TriangleMesh(
        vertices_mm=bone.vertices_mm * [1.0, -1.0, -1.0], triangles=bone.triangles
    )
    with pytest.raises(BoneRefusal, match="stands on its head"):
        choose_hip_bone([turned], Side.LEFT, where="coxae.stl")


@pytest.mark.fault
def test_femur_as_pelvis_is_refused(shared_data: Path) -> None:
    """A femur has no hollow sphere of a socket's size."""
    _, femur = seated_bones(shared_data)
    with pytest.raises(BoneRefusal, match="no hip socket found"):
        choose_hip_bone([femur], Side.LEFT, where="femur.stl")


@pytest.mark.fault
@pytest.mark.parametrize("radius_mm", [24.0, 60.0])
def test_ball_is_refused(radius_mm: float) -> None:
    """A ball is no hip bone, large or of a head's size."""
    ball = as_mesh(trimesh.creation.icosphere(subdivisions=4, radius=radius_mm))
    with pytest.raises(BoneRefusal, match="no hip"):
        choose_hip_bone([ball], Side.LEFT, where="ball.stl")


@pytest.mark.fault
def test_coarse_pelvis_is_refused() -> None:
    """A pelvis of a few hundred triangles is said to be too coarse, or to have no socket."""
    folder = pytest.importorskip("myo_sim")
    paths = sorted(Path(folder.__file__).parent.rglob("*pelvis*.stl"))
    assert paths
    for path in paths:
        body = trimesh.load(path, force="mesh")
        mesh = TriangleMesh(vertices_mm=np.asarray(body.vertices) * 1000.0, triangles=body.faces)
        with pytest.raises(BoneRefusal):
            choose_hip_bone([mesh], Side.LEFT, where=path.name)


@pytest.mark.fault
def test_two_bones_of_one_side_need_a_part() -> None:
    """Two left hip bones: ambiguous, unless a part is named."""
    bone = make_hip(HipShape(with_other_hip_bone=False)).hip_bone
    twin = TriangleMesh(
        vertices_mm=bone.vertices_mm + np.array([400.0, 0.0, 0.0]), triangles=bone.triangles
    )
    with pytest.raises(BoneRefusal, match=r"several left hip bones .parts 1, 2.*--part"):
        choose_hip_bone([bone, twin], Side.LEFT, where="two.stl")
    assert choose_hip_bone([bone, twin], Side.LEFT, part=2, where="two.stl").hip_bone is twin
    with pytest.raises(BoneRefusal, match="no such part"):
        choose_hip_bone([bone, twin], Side.LEFT, part=3, where="two.stl")
