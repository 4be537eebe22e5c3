"""Every kind of file gives back the surface that was written into it, corner by corner."""

from __future__ import annotations

import itertools
import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from imaging.surfaces import Surface, ball, box, box_quads, corner_rows, ring_strips
from imaging.writers import (
    WRITERS,
    glb_of,
    gltf_parts,
    obj,
    ply,
    stl_ascii,
    vrml1,
    vrml2,
    vtk,
    vtp,
)
from rimwright.anatomy import TriangleMesh
from rimwright.imaging import BodyFile, describe_bodies
from rimwright.units import LengthUnit

Read = Callable[..., BodyFile]
BALL, BOX = ball(), box().moved(100, 5, -7)
WRITTEN = sorted(
    path for path in (Path(__file__).parent / "vtk_written").iterdir() if path.suffix != ".md"
)


def is_same(mesh: TriangleMesh, surface: Surface) -> bool:
    """Whether mesh and surface have the same triangles, wound alike; exact, no tolerance."""
    return np.array_equal(
        corner_rows(mesh.vertices_mm, mesh.triangles),
        corner_rows(surface.vertices, surface.triangles),
    )


@pytest.mark.property
@pytest.mark.parametrize("kind", WRITERS)
def test_two_bodies_come_back_exactly(kind: str, read: Read) -> None:
    """Two bodies of one file come back apart, in order, bit by bit, welded and outward."""
    write, suffix = WRITERS[kind]
    file = read(write(BALL, BOX), suffix)
    assert [is_same(m, s) for m, s in zip(file.bodies, (BALL, BOX), strict=True)] == [True, True]
    assert [len(m.vertices_mm) for m in file.bodies] == [len(BALL.vertices), 8]
    assert file.warnings == ()


@pytest.mark.parametrize(
    ("data", "suffix"),
    [
        (ply(box(), polygons=box_quads()), ".ply"),
        (ply(box(), polygons=box_quads(), order=">", more=True), ".ply"),
        (vtk(box(), polygons=box_quads()), ".vtk"),
        (vtk(box(), polygons=box_quads(), binary=True, version="5.1"), ".vtk"),
    ],
    ids=["ply text", "ply binary", "vtk text", "vtk binary 5"],
)
def test_polygons_are_cut_into_triangles(data: bytes, suffix: str, read: Read) -> None:
    """Six quads make twelve triangles of the same box."""
    (summary,) = describe_bodies(read(data, suffix))
    assert (summary.n_triangles, summary.is_closed) == (12, True)
    assert summary.volume_mm3 == pytest.approx(60 * 40 * 30, rel=1e-12)  # rounding of float64
    assert summary.extent_mm == (60.0, 40.0, 30.0)


@pytest.mark.parametrize("binary", [False, True])
@pytest.mark.parametrize("version", ["3.0", "5.1"])
def test_vtk_strips_become_the_ring(read: Read, *, binary: bool, version: str) -> None:
    """Triangle strips give the triangles they stand for, every second one turned."""
    ring, strips = ring_strips()
    file = read(vtk(ring, strips=strips, binary=binary, version=version), ".vtk")
    assert is_same(file.bodies[0], ring)
    assert file.warnings == ()  # wound alike from the start, not mended


@pytest.mark.parametrize("form", ["ascii", "binary", "appended"])
def test_vtp_strips_become_the_ring(form: str, read: Read) -> None:
    """Strips of VTP likewise."""
    ring, strips = ring_strips()
    file = read(vtp(ring, form=form, strips=strips), ".vtp")
    assert is_same(file.bodies[0], ring)
    assert file.warnings == ()


WRITINGS = [
    dict(zip(("head", "order", "form", "encoding", "packed", "head_apart"), choice, strict=True))
    for choice in itertools.product(
        ("UInt32", "UInt64"),
        ("<", ">"),
        ("binary", "appended"),
        ("raw", "base64"),
        (False, True),
        (False, True),
    )
]


@pytest.mark.parametrize("writing", WRITINGS, ids=lambda w: "-".join(map(str, w.values())))
def test_every_writing_of_vtp(writing: dict[str, Any], read: Read) -> None:
    """Header width, byte order, place, coding, packing: all combinations read alike."""
    (body,) = read(vtp(BALL, **writing), ".vtp").bodies
    assert is_same(body, BALL)


@pytest.mark.oracle
@pytest.mark.parametrize("path", WRITTEN, ids=lambda p: p.name)
def test_files_of_another_writer(path: Path, read: Read) -> None:
    """Files written by VTK 9.7.2 enclose the volume worked out or measured there (README)."""
    (summary,) = describe_bodies(read(path.read_bytes(), path.suffix))
    is_prism = path.name.startswith("polygons")
    exact = 12 * 0.5 * 20**2 * math.sin(math.radians(30)) * 60 if is_prism else 243323.838
    # VTK keeps points in float32: 1e-7 of 1000 mm on a radius of 40 mm, threefold in a volume;
    # its text has six digits, 5e-6 of 1000 mm
    assert summary.volume_mm3 == pytest.approx(exact, rel=5e-5)
    assert (summary.n_triangles, summary.is_closed) == (44 if is_prism else 144, True)


@pytest.mark.parametrize(
    ("data", "suffix", "names"),
    [
        (stl_ascii(BALL, BOX), ".stl", ("bone 1", "bone 2")),
        (obj(BALL, BOX, head="g"), ".obj", ("bone 1", "bone 2")),
        (vrml2(BALL, BOX), ".wrl", ("bone1", "bone2")),
        (vtk(BALL, BOX), ".vtk", ("body 1", "body 2")),
    ],
)
def test_names(data: bytes, suffix: str, names: tuple[str, ...], read: Read) -> None:
    """Bodies bear the name of their group, or their number."""
    assert read(data, suffix).names == names


def test_vrml_transforms_are_applied(read: Read) -> None:
    """A quarter turn about z after a scale of 2, then a shift: p becomes R·2p + t."""
    turn = "Transform { rotation 0 0 1 1.5707963267948966 scale 2 2 2 children %s }"
    wrap = f"Transform {{ translation 10 20 30 children [ {turn} ] }}"
    (body,) = read(vrml2(box(), wrap=wrap), ".wrl").bodies
    low, high = body.vertices_mm.min(axis=0), body.vertices_mm.max(axis=0)
    # x' = −2 y + 10, y' = 2 x + 20, z' = 2 z + 30; 1e-12: rounding of the turn
    assert np.allclose(low, [10 - 80, 20, 30], atol=1e-12)
    assert np.allclose(high, [10, 20 + 120, 30 + 60], atol=1e-12)


def test_vrml_mirror_and_clockwise_faces_stay_outward(read: Read) -> None:
    """A mirroring scale and ccw FALSE both turn the winding; no repair is needed afterwards."""
    wrap = "Transform { scale -1 1 1 children [ %s ] }"
    file = read(vrml2(box(), wrap=wrap), ".wrl")
    clockwise = read(vrml2(box().turned(), ccw=False), ".wrl")
    for each in (file, clockwise):
        assert each.warnings == ()
        assert describe_bodies(each)[0].volume_mm3 == pytest.approx(72000)


def test_vrml_use_repeats_a_shell_elsewhere(read: Read) -> None:
    """DEF and USE: the same shell again under another transform is a second body."""
    data = vrml2(box()) + b"Transform { translation 200 0 0 children USE bone1 }"
    assert [m.vertices_mm[:, 0].min() for m in read(data, ".wrl").bodies] == [0.0, 200.0]


def test_vrml_1_state_runs_on_and_ends_with_its_separator(read: Read) -> None:
    """Translation and scale act on what follows in their separator, and on nothing after it."""
    step = "Translation { translation 5 0 0 } Scale { scaleFactor 2 1 1 }"
    first, second = read(vrml1(box(), box().moved(0, 0, 200), step=step), ".wrl").bodies
    for body in (first, second):  # x' = 2 x + 5
        assert (body.vertices_mm[:, 0].min(), body.vertices_mm[:, 0].max()) == (5.0, 125.0)


def test_gltf_nodes_carry_their_transforms(read: Read) -> None:
    """Matrix above, turn and shift below; a mirrored node stays outward."""
    nodes: list[dict[str, object]] = [
        {"matrix": [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 7, 1], "children": [1]},
        {
            "name": "turned",
            "mesh": 0,
            "translation": [100, 0, 0],
            "rotation": [0, 0, math.sin(math.pi / 4), math.cos(math.pi / 4)],
            "scale": [1, 1, -1],
        },
    ]
    file = read(glb_of(*gltf_parts(box(), nodes=nodes)), ".glb")
    (body,) = file.bodies
    # x' = 100 − y, y' = x, z' = 7 − z
    assert np.allclose(body.vertices_mm.min(axis=0), [60, 0, -23], atol=1e-12)
    assert np.allclose(body.vertices_mm.max(axis=0), [100, 60, 7], atol=1e-12)
    assert (file.names, file.warnings) == (("turned",), ())


@pytest.mark.parametrize("index", ["<u1", "<u2", "<u4"])
def test_gltf_indices_of_any_width(index: str, read: Read) -> None:
    """Corners of one, two and four bytes."""
    (body,) = read(glb_of(*gltf_parts(BALL, index=index)), ".glb").bodies
    assert is_same(body, BALL)


def test_gltf_buffer_beside_the_file(tmp_path: Path, read: Read) -> None:
    """A buffer in the same folder is read and counts into the digest."""
    document, buffer = gltf_parts(BALL)
    document["buffers"] = [{"byteLength": len(buffer), "uri": "the%20bone.bin"}]
    (tmp_path / "the bone.bin").write_bytes(buffer)
    first = read(json.dumps(document).encode(), ".gltf")
    assert is_same(first.bodies[0], BALL)
    (tmp_path / "the bone.bin").write_bytes(buffer + b"\0")
    assert read(json.dumps(document).encode(), ".gltf").digest != first.digest


def test_gltf_is_metres_and_y_up_unless_told_otherwise(read: Read) -> None:
    """By its standard a unit is a metre, +y up, the front +z; a given unit or axes win."""
    small = box().scaled(0.001)
    data = glb_of(*gltf_parts(small))
    standard = read(data, ".glb", unit=None, axes=None)
    assert (standard.unit, standard.axes, standard.axes_assumed) == (LengthUnit.M, "y-up", True)
    # x stays left, y (40 long) goes up, z (30 long) goes to the front
    extent = np.ptp(standard.bodies[0].vertices_mm, axis=0)
    assert np.allclose(extent, [60, 30, 40], rtol=1e-6)  # float32
    assert standard.bodies[0].vertices_mm[:, 1].max() == 0.0
    told = read(glb_of(*gltf_parts(box())), ".glb", unit=LengthUnit.MM, axes="RAS")
    assert (told.unit, told.axes, told.axes_assumed) == (LengthUnit.MM, "RAS", False)
    assert np.ptp(told.bodies[0].vertices_mm, axis=0).tolist() == [60.0, 40.0, 30.0]
