"""What stands round a surface in a scene: switches, levels, leans, sparse and strided numbers."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from imaging.surfaces import Surface, ball, box, corner_rows, ring_strips
from imaging.writers import glb_of, gltf_parts, ply, vrml1, vrml2
from rimwright.imaging import BodyFile

Read = Callable[..., BodyFile]


def extent(file: BodyFile) -> tuple[list[float], list[float]]:
    """Lowest and highest corner of the only body."""
    (body,) = file.bodies
    return body.vertices_mm.min(axis=0).tolist(), body.vertices_mm.max(axis=0).tolist()


@pytest.mark.parametrize(
    ("wrap", "n_bodies"),
    [
        ("Switch {{ whichChoice 1 choice [ {0} {1} ] }}", 1),
        ("Switch {{ choice [ {0} {1} ] }}", 0),
        ("Switch {{ whichChoice 7 choice [ {0} {1} ] }}", 0),
        ("LOD {{ range [ 100 ] level [ {0} {1} ] }}", 1),
        ("Group {{ children [ {0} {1} ] }}", 2),
        ("Collision {{ collide FALSE children [ {0}, {1} ] }}", 2),
        ('Anchor {{ url [ "a ] }} #" ] children [ {0} {1} ] }}', 2),
    ],
)
def test_only_what_a_vrml_scene_shows(wrap: str, n_bodies: int, read: Read) -> None:
    """Of a switch the chosen child, of a level the first, of a group all; a third always stands."""
    one, other, third = (
        vrml2(box().moved(x, 0, 0)).decode().split("\n", 3)[3] for x in (0, 200, 400)
    )
    text = "#VRML V2.0 utf8\n" + wrap.format(one, other) + third
    places = [b.vertices_mm[:, 0].min() for b in read(text.encode(), ".wrl").bodies]
    assert len(places) == n_bodies + 1
    if "Switch" in wrap and n_bodies:
        assert places == [200.0, 400.0]
    if "LOD" in wrap:
        assert places == [0.0, 400.0]


def test_vrml_scale_along_leaning_axes_about_a_centre(read: Read) -> None:
    """Scale 2 along the line x = y, about (30, 20, 0): (x, y) grows by half of (x + y − 50)."""
    wrap = (
        "Transform { center 30 20 0 scale 2 1 1 scaleOrientation 0 0 1 0.7853981633974483 "
        "children [ %s ] }"
    )
    low, high = extent(read(vrml2(box(), wrap=wrap), ".wrl"))
    # corners (0, 0) → (−25, −25) and (60, 40) → (85, 65); 1e-12: rounding of the turns
    assert np.allclose(low, [-25, -25, 0], atol=1e-12)
    assert np.allclose(high, [85, 65, 30], atol=1e-12)


@pytest.mark.parametrize(
    ("step", "low", "high"),
    [
        # rows act on row vectors: x' = 2 y + 5, y' = x, z' = z; a mirror
        ("MatrixTransform { matrix 0 1 0 0 2 0 0 0 0 0 1 0 5 0 0 1 }", [5, 0, 0], [85, 60, 30]),
        # x' = −y, y' = x
        ("Rotation { rotation 0 0 1 1.5707963267948966 }", [-40, 0, 0], [0, 60, 30]),
        ("Transform { translation 1 2 3 scaleFactor 2 2 2 }", [1, 2, 3], [121, 82, 63]),
        ("TransformSeparator { Translation { translation 9 9 9 } }", [0, 0, 0], [60, 40, 30]),
        ("Group { Translation { translation 9 0 0 } }", [9, 0, 0], [69, 40, 30]),
    ],
)
def test_steps_of_vrml_1(step: str, low: list[float], high: list[float], read: Read) -> None:
    """Each kind of transform of VRML 1, worked out by hand."""
    file = read(vrml1(box(), step=step), ".wrl")
    found_low, found_high = extent(file)
    assert np.allclose(found_low, low, atol=1e-12)  # rounding of the turn
    assert np.allclose(found_high, high, atol=1e-12)
    assert file.warnings == ()


def test_what_is_passed_over_is_said(read: Read) -> None:
    """Shapes that are no face set cannot be bone: a word."""
    data = vrml2(box()) + b"Shape { geometry Sphere { radius 3 } }"
    assert read(data, ".wrl").warnings == ("Sphere passed over",)


def changed_gltf(**changes: Any) -> tuple[dict[str, Any], bytes]:
    """A document of the ball with entries of its first accessor changed."""
    document: dict[str, Any]
    document, buffer = gltf_parts(ball())  # type: ignore[assignment]
    document["accessors"][0].update(changes)
    return document, buffer


def test_gltf_with_a_stride(read: Read) -> None:
    """Positions 20 bytes apart, with something else between them."""
    document, buffer = changed_gltf()
    places = np.zeros((66, 5), dtype="<f4")
    places[:, :3] = ball().vertices
    document["bufferViews"].append(
        {"buffer": 0, "byteOffset": len(buffer), "byteLength": places.nbytes, "byteStride": 20}
    )
    document["accessors"][0]["bufferView"] = 2
    buffer += places.tobytes()
    document["buffers"] = [{"byteLength": len(buffer)}]
    assert is_ball(read(glb_of(document, buffer), ".glb"))


def test_gltf_with_sparse_positions(read: Read) -> None:
    """Two positions are replaced by others that stand apart."""
    document, buffer = changed_gltf()
    places = ball().vertices.astype("<f4")
    wrong = buffer[: 3 * 12] + bytes(2 * 12) + buffer[5 * 12 :]
    rows, values = np.array([3, 4], dtype="<u2").tobytes(), places[3:5].tobytes()
    for chunk in (rows, values):
        document["bufferViews"].append(
            {"buffer": 0, "byteOffset": len(wrong), "byteLength": len(chunk)}
        )
        wrong += chunk
    document["accessors"][0]["sparse"] = {
        "count": 2,
        "indices": {"bufferView": 2, "componentType": 5123},
        "values": {"bufferView": 3},
    }
    document["buffers"] = [{"byteLength": len(wrong)}]
    assert is_ball(read(glb_of(document, wrong), ".glb"))


def test_gltf_with_small_whole_positions(read: Read) -> None:
    """Positions as normalised 16-bit numbers: 32767 is 1, the node scales them."""
    document, buffer = changed_gltf(componentType=5122, normalized=True)
    places = np.round(ball().vertices / 40 * 32767).astype("<i2")
    document["bufferViews"].append(
        {"buffer": 0, "byteOffset": len(buffer), "byteLength": places.nbytes}
    )
    document["accessors"][0]["bufferView"] = 2
    document["extensionsRequired"] = ["KHR_mesh_quantization"]
    document["nodes"][0]["scale"] = [40, 40, 40]
    buffer += places.tobytes()
    document["buffers"] = [{"byteLength": len(buffer)}]
    (body,) = read(glb_of(document, buffer), ".glb").bodies
    # half a step of 40 / 32767
    assert np.abs(np.sort(body.vertices_mm, axis=0) - np.sort(ball().vertices, axis=0)).max() < 7e-4


@pytest.mark.parametrize("mode", [5, 6])
def test_gltf_strips_and_fans(mode: int, read: Read) -> None:
    """A strip of a tetrahedron, and a fan round one corner with the base below it."""
    places = np.array([[0, 0, 0], [60, 0, 0], [0, 60, 0], [0, 0, 60]], dtype=float)
    order = [[1, 0, 2, 3, 1, 0], []] if mode == 5 else [[3, 0, 1, 2, 0], [0, 2, 1]]
    document: dict[str, Any]
    document, buffer = gltf_parts(Surface(places, np.array([order[0]])))  # type: ignore[assignment]
    document["accessors"][1]["count"] = len(order[0])
    primitives = document["meshes"][0]["primitives"]
    primitives[0]["mode"] = mode
    if order[1]:
        chunk = np.array(order[1], dtype="<u4").tobytes()
        document["bufferViews"].append({"buffer": 0, "byteOffset": len(buffer), "byteLength": 12})
        document["accessors"].append(
            {"bufferView": 2, "componentType": 5125, "count": 3, "type": "SCALAR"}
        )
        primitives.append({"attributes": {"POSITION": 0}, "indices": 2})
        buffer += chunk
        document["buffers"] = [{"byteLength": len(buffer)}]
    file = read(glb_of(document, buffer), ".glb")
    (body,) = file.bodies
    assert body.n_triangles == 4
    assert file.warnings == ()  # both are written outward


def test_strips_of_ply(read: Read) -> None:
    """An element of strips, broken by −1, as older scanners write."""
    ring, strips = ring_strips()
    row = [corner for strip in strips for corner in (*strip, -1)][:-1]
    lines = ply(ring).decode().split("\n")
    start = next(k for k, line in enumerate(lines) if line.startswith("element face"))
    head = [*lines[:start], "element tristrips 1", "property list int int vertex_indices"]
    places = lines[start + 3 : start + 3 + len(ring.vertices)]
    text = "\n".join([*head, "end_header", *places, " ".join(map(str, [len(row), *row])), ""])
    file = read(text.encode(), ".ply")
    (body,) = file.bodies
    assert np.array_equal(
        corner_rows(body.vertices_mm, body.triangles), corner_rows(ring.vertices, ring.triangles)
    )
    assert file.warnings == ()


def is_ball(file: BodyFile) -> bool:
    """Whether the only body is the ball, corner by corner."""
    (body,) = file.bodies
    surface = ball()
    return np.array_equal(
        corner_rows(body.vertices_mm, body.triangles),
        corner_rows(surface.vertices, surface.triangles),
    )
