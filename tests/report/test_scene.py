"""The scene: metres, y up, named nodes, closed solids, and every anchor where it is planned."""

from __future__ import annotations

import json
import struct
from pathlib import Path

import numpy as np
import plan_fixture
import pytest
import trimesh

from rimwright.anatomy import Plan, Side, TriangleMesh
from rimwright.imaging import read_bodies
from rimwright.report import write_scene
from rimwright.report.glb import NamedMesh, glb_bytes, y_up_metres
from rimwright.report.scene import scene_bytes
from rimwright.report.solids import cone, drill, tube
from rimwright.units import LengthUnit


def document_of(data: bytes) -> dict:
    """The JSON chunk of a binary file, after checking lengths and alignment of both chunks.

    Source: glTF 2.0 specification, binary container layout.
    """
    magic, version, total = struct.unpack_from("<4sII", data)
    assert (magic, version, total) == (b"glTF", 2, len(data))
    length, kind = struct.unpack_from("<I4s", data, 12)
    assert kind == b"JSON"
    assert length % 4 == 0
    body_length, body_kind = struct.unpack_from("<I4s", data, 20 + length)
    assert body_kind == b"BIN\0"
    assert body_length % 4 == 0
    assert 28 + length + body_length == total
    document = json.loads(data[20 : 20 + length])
    assert document["buffers"][0]["byteLength"] == body_length
    for view in document["bufferViews"]:
        assert view["byteOffset"] % 4 == 0
        assert view["byteOffset"] + view["byteLength"] <= body_length
    return document


def test_container_is_sound(any_plan: Plan) -> None:
    """Chunks, offsets and counts agree, with and without bone."""
    document = document_of(scene_bytes(any_plan))
    assert document["asset"]["version"] == "2.0"
    assert len(document["scenes"][0]["nodes"]) == len(document["nodes"])
    assert document["asset"]["extras"]["side"] == any_plan.side.value
    if any_plan.hip is None:
        assert document["asset"]["extras"]["empty"] == "no bone was given"


def test_axes_are_those_of_the_format() -> None:
    """Left +x, cranial +y, anterior +z, in metres; a turn, not a mirror.

    Source: glTF 2.0 specification, coordinate system and units.
    """
    left, posterior, cranial = np.eye(3) * 1000.0
    moved = y_up_metres(np.array([left, posterior, cranial]))
    assert moved.tolist() == [[1, 0, 0], [0, 0, -1], [0, 1, 0]]
    assert np.linalg.det(moved) == pytest.approx(1.0)


@pytest.mark.oracle
@pytest.mark.parametrize("side", Side)
def test_another_reader_finds_every_node_in_its_place(side: Side, tmp_path: Path) -> None:
    """A second reader opens the file; entry and tip of each anchor lie where the plan says."""
    plan = plan_fixture.full_plan(side)
    scene = trimesh.load(write_scene(plan, tmp_path / "scene.glb"))
    names = set(scene.geometry)
    assert {"hip bone", "femur", "rim", "notch, bridged straight"} <= names
    for place, anchor in enumerate(plan.anchors, 1):
        (name,) = [n for n in names if n.startswith(f"anchor {place} at")]
        mesh = scene.geometry[name]
        middle_mm = anchor.entry_mm + 0.5 * anchor.depth_mm * anchor.direction
        assert np.allclose(mesh.centroid, y_up_metres(middle_mm), atol=1e-6)
        # a drill of 16 flat sides: area 16/2 sin(2π/16) r² in place of π r²
        area = 8 * np.sin(np.pi / 8) * (anchor.drill_mm / 2) ** 2
        assert mesh.volume * 1e9 == pytest.approx(area * anchor.depth_mm, rel=1e-4)
        assert (anchor.status.value in name) is (anchor.status.value != "ok")


@pytest.mark.oracle
def test_every_solid_is_closed_and_outward(tmp_path: Path) -> None:
    """A second reader finds no open edge and a positive volume in any node."""
    scene = trimesh.load(write_scene(plan_fixture.full_plan(), tmp_path / "scene.glb"))
    for name, mesh in scene.geometry.items():
        assert mesh.is_watertight, name
        assert mesh.volume > 0, name


@pytest.mark.property
def test_bones_come_back_through_our_own_reader(tmp_path: Path) -> None:
    """Written in metres and y up, read back in LPS and mm: the same vertices to float32."""
    body = plan_fixture.ball(np.array([100.0, -20.0, 30.0]), 25.0)
    path = tmp_path / "bone.glb"
    path.write_bytes(glb_bytes([NamedMesh(name="b", mesh=body, colour=(1, 1, 1, 1))], extras={}))
    (read,) = read_bodies(path, unit=LengthUnit.M).bodies
    order = np.lexsort(np.round(read.vertices_mm, 2).T)
    expected = np.lexsort(np.round(body.vertices_mm, 2).T)
    assert np.allclose(read.vertices_mm[order], body.vertices_mm[expected], atol=1e-4)


def test_solids_have_the_size_asked_for() -> None:
    """Length, radius and angle of tube, drill and cone, worked out by hand."""
    origin, up = np.zeros(3), np.array([0.0, 0.0, 1.0])
    rod = drill(origin, up, depth_mm=20.0, diameter_mm=3.0)
    assert np.ptp(rod.vertices_mm[:, 2]) == pytest.approx(20.0)
    assert np.linalg.norm(rod.vertices_mm[:, :2], axis=1).max() == pytest.approx(1.5)
    fan = cone(origin, up, depth_mm=10.0, half_angle_deg=45.0)
    assert np.linalg.norm(fan.vertices_mm[:, :2], axis=1).max() == pytest.approx(10.0)
    turns = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    circle = np.stack([20 * np.cos(turns), 20 * np.sin(turns), 0 * turns], axis=1)
    ring = tube(circle, radius_mm=1.0, closed=True)
    assert ring.n_triangles == 60 * 16 * 2
    assert np.linalg.norm(ring.vertices_mm, axis=1).max() == pytest.approx(21.0, abs=1e-6)


def test_a_body_without_triangles_is_left_out() -> None:
    """An empty mesh would make a file no reader takes."""
    empty = TriangleMesh(vertices_mm=np.zeros((0, 3)), triangles=np.zeros((0, 3), dtype=int))
    document = document_of(
        glb_bytes([NamedMesh(name="e", mesh=empty, colour=(1, 1, 1, 1))], extras={})
    )
    assert document["nodes"] == []
