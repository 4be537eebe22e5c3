"""Damaged and hostile files: always one clear sentence, never another exception, little memory."""

from __future__ import annotations

import gzip
import json
import os
import re
import struct
import tracemalloc
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from imaging.surfaces import ball, box, box_quads, ring_strips
from imaging.writers import (
    WRITERS,
    glb_of,
    gltf_parts,
    obj_plain,
    ply,
    ply_ascii,
    stl_ascii,
    stl_binary,
    vrml2,
    vtk,
    vtk_text,
    vtp,
)
from rimwright.anatomy import TriangleMesh
from rimwright.errors import BoneRefusal, FileRefusal, Refusal
from rimwright.imaging import BodyFile, read_bodies
from rimwright.units import LengthUnit

pytestmark = pytest.mark.fault
Read = Callable[..., BodyFile]
N_EACH = 8
"""Damaged copies of each kind of file and of damage: 25 files × 6 ways × 8 = 1200 inputs."""
MAX_PEAK_BYTES = 30 * 1024**2
"""A file of some kB may not take more, a larger one not 20 times its bytes (JSON as objects);
a declared count of a billion would take gigabytes."""
RING, STRIPS = ring_strips(6, 4)
FILES: dict[str, tuple[bytes, str]] = {
    **{kind: (write(ball(steps=1), box().moved(100, 5, -7)), suffix)
       for kind, (write, suffix) in WRITERS.items()},
    "vtk strips": (vtk(RING, strips=STRIPS, binary=True), ".vtk"),
    "vtk quads": (vtk(box(), polygons=box_quads(), version="5.1"), ".vtk"),
    "ply uneven": (ply(box(), polygons=[*box_quads()[:5], *box().triangles[10:].tolist()],
                       order="<"), ".ply"),
}  # fmt: skip
WORDS = (
    b"-1", b"99999999", b"4294967295", b"nan", b"inf", b"1e400", b"abc", b"9" * 5000, b"[", b"]",
    b"{", b"}", b"0", b"1_0", b"0x10", b"\0", b"\xff\xfe", b"<a>", b'"', b"#", b"USE x", b"1.5",
    b"9223372036854775808", b"true", b"null", b"[" * 3000,
)  # fmt: skip
Damage = Callable[[bytes, np.random.Generator], bytes]


def cut(data: bytes, rng: np.random.Generator) -> bytes:
    """The end is missing."""
    return data[: rng.integers(1, len(data))]


def flip(data: bytes, rng: np.random.Generator) -> bytes:
    """Some bits are wrong."""
    damaged = bytearray(data)
    for _ in range(rng.integers(1, 12)):
        damaged[rng.integers(len(damaged))] ^= 1 << int(rng.integers(8))
    return bytes(damaged)


def scribble(data: bytes, rng: np.random.Generator) -> bytes:
    """A stretch is noise."""
    start, size = int(rng.integers(len(data))), int(rng.integers(1, 60))
    return data[:start] + rng.bytes(size) + data[start + size :]


def lose(data: bytes, rng: np.random.Generator) -> bytes:
    """A stretch is missing."""
    start, size = int(rng.integers(len(data))), int(rng.integers(1, 200))
    return data[:start] + data[start + size :]


def repeat(data: bytes, rng: np.random.Generator) -> bytes:
    """A stretch stands twice."""
    start, size = int(rng.integers(len(data))), int(rng.integers(1, 200))
    return data[: start + size] + data[start:]


def reword(data: bytes, rng: np.random.Generator) -> bytes:
    """Words are replaced by other words, more often near the beginning."""
    for _ in range(rng.integers(1, 4)):
        words = list(re.finditer(rb"[A-Za-z0-9_.+-]+", data))
        word = words[int(len(words) * rng.random() ** 2)]
        data = data[: word.start()] + WORDS[rng.integers(len(WORDS))] + data[word.end() :]
    return data


def bodies_or_line(read: Read, data: bytes, suffix: str) -> tuple[tuple[TriangleMesh, ...], str]:
    """The bodies of a file, or the sentence that refuses it."""
    try:
        return read(data, suffix).bodies, ""
    except (FileRefusal, BoneRefusal) as refusal:
        return (), str(refusal)


@pytest.mark.parametrize("damage", [cut, flip, scribble, lose, repeat, reword])
@pytest.mark.parametrize("kind", FILES)
def test_damage_is_survived_or_refused_in_one_line(kind: str, damage: Damage, read: Read) -> None:
    """Whatever is damaged: sound bodies, or a refusal that a parser foresaw."""
    data, suffix = FILES[kind]
    seed = list(FILES).index(kind) * 100 + len(damage.__name__) + ord(damage.__name__[0])
    rng = np.random.default_rng(seed)
    for _ in range(N_EACH):
        bodies, line = bodies_or_line(read, damage(data, rng), suffix)
        assert "\n" not in line
        assert bodies or line.startswith("bone")
        assert "cannot be understood" not in line
        for body in bodies:
            assert np.isfinite(body.vertices_mm).all()
            assert body.n_triangles >= 4


@pytest.mark.parametrize("kind", [k for k in FILES if "binary" in k or k in {"glb", "vtp raw"}])
def test_a_binary_file_cut_anywhere_is_refused(kind: str, read: Read) -> None:
    """Cut at forty places, from the first byte to the last but eight: never half a bone."""
    data, suffix = FILES[kind]
    # after the data of legacy VTK come lines that are passed over, and after raw arrays tags
    last = data.find(b"POINT_DATA") if b"POINT_DATA" in data else data.rfind(b"</AppendedData>")
    last = last if last > 0 else len(data)
    for end in np.linspace(1, last - 8, 40).astype(int):
        with pytest.raises(FileRefusal):
            read(data[:end], suffix)


def in_text(data: bytes, old: bytes, new: bytes) -> bytes:
    """Replace what must be there."""
    assert old in data
    return data.replace(old, new, 1)


BALL = ball()
STL = stl_binary(BALL)
GLTF, BUFFER = gltf_parts(BALL)


def gltf_with(**changes: object) -> bytes:
    """A GLB with other entries."""
    return glb_of({**GLTF, **changes}, BUFFER)


@pytest.mark.parametrize(
    ("data", "suffix", "line"),
    [
        (b"", ".stl", "bone.stl: empty (0 bytes). Export the surface again."),
        (b"solid", ".stl", "cut short (a solid without its endsolid)"),
        (STL[:500], ".stl", "cut short or wrongly counted (declares 128 triangles, holds 8)"),
        (STL[:40], ".stl", "cut short (got 40 bytes, need 84"),
        (STL[:80] + b"\xff" * 4 + STL[84:], ".stl", "declares 4,294,967,295 triangles, holds 128"),
        (STL[:80] + struct.pack("<I", 3) + STL[84:], ".stl", "bytes are left over"),
        (in_text(stl_ascii(BALL), b"vertex", b"vortex"), ".stl", "found 'vortex'"),
        (
            in_text(stl_ascii(BALL), b"vertex 39.98", b"vertex 39x98"),
            ".stl",
            "vertices: not a number",
        ),
        (in_text(stl_ascii(BALL), b"vertex 39.98", b"vertex 3_9.98"), ".stl", "got '3?9.98"),
        (in_text(obj_plain(BALL), b"\nf 1 ", b"\nf 1_0 "), ".obj", "got '1?0'"),
        (stl_ascii(BALL) + b"more", ".stl", "text after its last endsolid"),
        (stl_ascii(BALL)[:-20], ".stl", "a solid without its endsolid"),
        (in_text(ply_ascii(BALL), b"vertex 66", b"vertex 900000000"), ".ply", "too many rows"),
        (in_text(ply_ascii(BALL), b"vertex 66", b"vertex 9000"), ".ply", "declares 9,000 vertex"),
        (in_text(ply_ascii(BALL), b"face 128", b"face 127"), ".ply", "4 numbers are left over"),
        (in_text(ply_ascii(BALL), b"face 128", b"face 129"), ".ply", "face rows run past the end"),
        (in_text(ply_ascii(BALL), b"end_header", b"end_heder"), ".ply", "header does not end"),
        (in_text(ply_ascii(BALL), b"\n3 ", b"\n-3 "), ".ply", "wrongly counted (got -3"),
        (in_text(ply_ascii(BALL), b" y", b" why"), ".ply", "its vertices have no y"),
        (in_text(obj_plain(BALL), b"\nf 1 ", b"\nf 1000 "), ".obj", "got 999, need 0 to 65"),
        (in_text(obj_plain(BALL), b"\nf 1 ", b"\nf -1000 "), ".obj", "got -934, need 0 to 65"),
        (in_text(obj_plain(BALL), b"\nf 1 ", b"\nf 0 "), ".obj", "names vertex 0"),
        (in_text(obj_plain(BALL), b"\nf 1 ", b"\nf 1.5 "), ".obj", "got '1.5'"),
        (b"v 1 2 3\nv 1 2 4\n", ".obj", "holds no triangles"),
        (b"once upon a time\n", ".obj", "a line is not OBJ (begins 'once')"),
        (in_text(vtk_text(BALL), b"POINTS 66", b"POINTS 99999999"), ".vtk", "too many points"),
        (in_text(vtk_text(BALL), b"POINTS 66", b"POINTS 999999"), ".vtk", "declares 2,999,997"),
        (in_text(vtk_text(BALL), b"POLYDATA", b"RECTILINEAR_GRID"), ".vtk", "need POLYDATA"),
        (in_text(vtk_text(BALL), b"3.0", b"9.0"), ".vtk", "of a newer version (got 9"),
        (in_text(vtp(BALL), b"PolyData", b"ImageData"), ".vtp", "its data set is ImageData"),
        (in_text(vtp(BALL), b"<PolyData>", b"<Poly>"), ".vtp", "mismatched tag"),
        (
            in_text(vtp(BALL), b"<VTKFile", b'<!DOCTYPE x [<!ENTITY a "b">]><VTKFile'),
            ".vtp",
            "declares a document type",
        ),
        (
            in_text(vtp(BALL, packed=True, form="binary"), b"ZLib", b"LZ4"),
            ".vtp",
            "packed by another method than zlib",
        ),
        (vrml2(BALL)[:-10], ".wrl", "brackets stay open"),
        (b"#VRML V2.0 utf8\n" + b"Group { children " * 99, ".wrl", "nodes inside each other"),
        (b"#VRML V2.0 utf8\nGroup { children USE x }", ".wrl", "USE of a name that was not given"),
        (
            b"#VRML V2.0 utf8\nDEF x Group { children USE x }",
            ".wrl",
            "a node is used inside itself",
        ),
        (b"#VRML V2.0 utf8\nPROTO a [] {}", ".wrl", "has prototypes"),
        (gltf_with(asset={"version": "1.0"}), ".glb", "of another version (got '1.0'"),
        (
            gltf_with(extensionsRequired=["KHR_draco_mesh_compression"]),
            ".glb",
            "needs an extension that is not read (KHR_draco_mesh_compression)",
        ),
        (gltf_with(scenes=[{"nodes": [7]}]), ".glb", "nodes has no entry 7 (it has 1)"),
        (
            gltf_with(nodes=[{"mesh": 0, "children": [0]}]),
            ".glb",
            "node 0 stands twice in its tree",
        ),
        (b'{"asset": ' + b"[" * 100_000, ".gltf", "its JSON is nested too deep"),
        (b'{"a": 1}', ".gltf", "it names no asset"),
        (
            json.dumps({**GLTF, "buffers": [{"byteLength": 9, "uri": "../secret.bin"}]}).encode(),
            ".gltf",
            "refers to a file that does not stand beside it",
        ),
        (gzip.compress(STL), ".stl", "packed with gzip. Unpack it first."),
        (bytes(128) + b"DICM" + bytes(40), ".stl", "a DICOM object, not a surface"),
        (b"\x89PNG", ".png", "not a kind of surface file that can be read (suffix '.png'"),
        (b"\x00" * 300, ".ply", "named .ply but its content does not begin like PLY"),
    ],
)
def test_what_is_wrong_is_named(data: bytes, suffix: str, line: str, read: Read) -> None:
    """Each kind of damage has its own words."""
    with pytest.raises(FileRefusal, match=re.escape(line)):
        read(data, suffix)


def scene_of_doubles(depth: int) -> bytes:
    """A VRML file that uses each node twice: two to the power of depth shells of a small file."""
    text = vrml2(box()) + b"Group { children [ DEF g0 Group { children USE bone1 } "
    for k in range(1, depth):
        text += f"DEF g{k} Group {{ children [ USE g{k - 1} USE g{k - 1} ] }} ".encode()
    return text + b"] }"


def zlib_bomb() -> bytes:
    """A packed VTP array that unpacks to far more than it declares."""
    data = vtp(BALL, form="appended", packed=True, block_bytes=10**6)
    front, raw = data.split(b"_", 1)
    sizes = np.frombuffer(raw, "<u4", 4)
    bomb = zlib.compress(bytes(200 * 1024**2), 9)
    head = struct.pack("<4I", 1, int(sizes[1]), int(sizes[2]), len(bomb))
    return front + b"_" + head + bomb


HUGE = 2_000_000_000
ENDLESS = {"componentType": 5126, "count": HUGE, "type": "VEC3"}
PRIMITIVE = {"attributes": {"POSITION": 0}, "indices": 1}


@pytest.mark.parametrize(
    ("data", "suffix"),
    [
        (STL[:80] + struct.pack("<I", HUGE) + STL[84:], ".stl"),
        (in_text(ply(BALL, order="<"), b"vertex 66", b"vertex 12000000"), ".ply"),
        (in_text(ply(BALL, order="<"), b"face 128", b"face 4000000"), ".ply"),
        (in_text(vtk(BALL, binary=True), b"POINTS 66", b"POINTS 14000000"), ".vtk"),
        (in_text(vtk(BALL, binary=True), b"128 512", b"4000000 16000000"), ".vtk"),
        (in_text(vtk_text(BALL), b"128 512", b"4000000 16000000"), ".vtk"),
        (in_text(vtp(BALL), b'Points="66"', b'Points="14000000"'), ".vtp"),
        (zlib_bomb(), ".vtp"),
        (scene_of_doubles(40), ".wrl"),
        (gltf_with(accessors=[ENDLESS, ENDLESS]), ".glb"),
        (gltf_with(meshes=[{"primitives": [PRIMITIVE] * 90_000}]), ".glb"),
    ],
    ids=[
        "stl", "ply vertices", "ply faces", "vtk points", "vtk cells", "vtk text cells",
        "vtp points", "zlib bomb", "scene of doubles", "gltf accessor", "gltf primitives",
    ],
)  # fmt: skip
def test_huge_counts_take_no_memory(data: bytes, suffix: str, read: Read) -> None:
    """A count is held against the bytes that are there before memory is taken for it."""
    tracemalloc.start()
    try:
        with pytest.raises((FileRefusal, BoneRefusal)):
            read(data, suffix)
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < MAX_PEAK_BYTES + 20 * len(data)


def test_what_is_no_file(tmp_path: Path) -> None:
    """Missing, a folder, a pipe, not to be opened: each in one line."""
    with pytest.raises(FileRefusal, match=r"^none\.stl: no such file\. Check the path\.$"):
        read_bodies(tmp_path / "none.stl")
    with pytest.raises(FileRefusal, match="not a file"):
        read_bodies(tmp_path)
    os.mkfifo(tmp_path / "pipe.stl")
    with pytest.raises(FileRefusal, match="not a file"):
        read_bodies(tmp_path / "pipe.stl")
    with pytest.raises(FileRefusal):
        read_bodies(Path("a\0b.stl"))
    with pytest.raises(FileRefusal):
        read_bodies(tmp_path / ("x" * 5000))


def test_a_file_past_the_limit_is_not_read(tmp_path: Path) -> None:
    """Size is looked at first: a sparse file of a terabyte is refused at once."""
    path = tmp_path / "large.stl"
    with path.open("wb") as file:
        file.truncate(1 << 40)
    with pytest.raises(FileRefusal, match="too large"):
        read_bodies(path)


def test_text_that_may_be_cut_says_so(read: Read) -> None:
    """OBJ and text without an end mark: a last line without its end is a warning."""
    assert read(obj_plain(BALL).rstrip(), ".obj").warnings == (
        "its last line does not end: it may be cut short",
    )


def test_kind_is_told_by_content(read: Read) -> None:
    """A PLY named .stl is read as PLY; binary STL whatever its first word."""
    assert read(ply_ascii(BALL), ".stl").kind == "ASCII PLY"
    assert read(stl_binary(BALL, header=b"solid facet"), ".stl").kind == "binary STL"
    assert read(stl_ascii(BALL, normal="nan nan nan"), ".STL").kind == "ASCII STL"


def test_refusals_are_refusals() -> None:
    """Callers catch one type."""
    assert issubclass(FileRefusal, Refusal)
    assert issubclass(BoneRefusal, Refusal)
    assert LengthUnit.MM == "mm"
