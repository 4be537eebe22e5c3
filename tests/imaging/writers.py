"""Writers of every kind of surface file, straight from the format's own description.

Each takes surfaces and returns the bytes of a file. None shares code with the readers.
"""

from __future__ import annotations

import base64
import json
import struct
import zlib
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from imaging.surfaces import Surface, join

Write = Callable[..., bytes]
Rows = Sequence[Sequence[int]]


def stl_binary(*surfaces: Surface, header: bytes = b"made for a test") -> bytes:
    """Binary STL."""
    surface = join(*surfaces)
    parts = [header.ljust(80, b"\0"), struct.pack("<I", len(surface.triangles))]
    parts += [
        struct.pack("<12fH", 0, 0, 0, *corners.ravel(), 0)
        for corners in surface.vertices[surface.triangles]
    ]
    return b"".join(parts)


def stl_binary_solid(*surfaces: Surface) -> bytes:
    """Binary STL whose header begins like ASCII."""
    return stl_binary(*surfaces, header=b"solid hip facet normal")


def stl_ascii(*surfaces: Surface, normal: str = "0 0 1") -> bytes:
    """ASCII STL, one solid for each surface."""
    lines = []
    for number, surface in enumerate(surfaces, start=1):
        lines.append(f"solid bone {number}")
        for corners in surface.vertices[surface.triangles]:
            lines += [f"facet normal {normal}", " outer loop"]
            lines += [f"  vertex {x!r} {y!r} {z!r}" for x, y, z in corners.tolist()]
            lines += [" endloop", "endfacet"]
        lines.append(f"endsolid bone {number}")
    return "\n".join([*lines, ""]).encode()


def ply(
    *surfaces: Surface,
    order: str = "",
    real: str = "double",
    polygons: Rows | None = None,
    more: bool = False,
) -> bytes:
    """PLY; `more` adds normals, a colour, texture lists and an element of edges."""
    surface = join(*surfaces)
    faces = surface.triangles.tolist() if polygons is None else polygons
    name = {"": "ascii", "<": "binary_little_endian", ">": "binary_big_endian"}[order]
    head = ["ply", f"format {name} 1.0", "comment made for a test"]
    if more:
        head += ["element edge 2", "property int vertex1", "property list uchar short weights"]
    head += [f"element vertex {len(surface.vertices)}", *(f"property {real} {c}" for c in "xyz")]
    if more:
        head += ["property float nx", "property uchar red"]
    head += [f"element face {len(faces)}", "property list uchar int vertex_indices"]
    if more:
        head += ["property list uchar float texcoord"]
    head += ["end_header", ""]
    body: list[bytes] = []

    def put(kind: str, *values: float) -> None:
        if order:
            body.append(struct.pack(order + kind, *values))
        else:
            body.append((" ".join(repr(v) for v in values) + " ").encode())

    def end() -> None:
        if not order:
            body.append(b"\n")

    letter = "d" if real == "double" else "f"
    if more:
        for edge in range(2):
            put("i", edge)
            put(f"B{edge + 1}h", edge + 1, *range(edge + 1))
            end()
    for place in surface.vertices.tolist():
        put(3 * letter, *place)
        if more:
            put("fB", 1.0, 200)
        end()
    for face in faces:
        put(f"B{len(face)}i", len(face), *face)
        if more:
            put(f"B{2 * len(face)}f", 2 * len(face), *([0.5] * 2 * len(face)))
        end()
    return "\n".join(head).encode() + b"".join(body)


def ply_ascii(*surfaces: Surface) -> bytes:
    """PLY as text."""
    return ply(*surfaces)


def ply_little(*surfaces: Surface) -> bytes:
    """Little-endian PLY with all that may stand beside the surface."""
    return ply(*surfaces, order="<", more=True)


def ply_big(*surfaces: Surface) -> bytes:
    """Big-endian PLY in single precision."""
    return ply(*surfaces, order=">", real="float")


def obj(*surfaces: Surface, head: str = "o", slashes: bool = False, back: bool = False) -> bytes:
    """OBJ: an object or group for each surface; `back` counts corners backwards."""
    lines = ["# made for a test", "mtllib none.mtl", "vn 0 0 1", "vt 0 0"]
    n_before = 0
    for number, surface in enumerate(surfaces, start=1):
        lines.append(f"{head} bone {number}")
        lines += [f"v {x!r} {y!r} {z!r}" for x, y, z in surface.vertices.tolist()]
        lines += ["usemtl bone", "s off"]
        n_before += len(surface.vertices)
        for face in (surface.triangles + 1 + n_before - len(surface.vertices)).tolist():
            corners = [c - n_before - 1 if back else c for c in face]
            lines.append("f " + " ".join(f"{c}/1/1" if slashes else f"{c}" for c in corners))
    return "\n".join([*lines, ""]).encode()


def obj_plain(*surfaces: Surface) -> bytes:
    """OBJ with plain corners."""
    return obj(*surfaces)


def obj_back(*surfaces: Surface) -> bytes:
    """OBJ with groups, texture and normal indices, corners counted backwards."""
    return obj(*surfaces, head="g", slashes=True, back=True)


def vtk(
    *surfaces: Surface,
    binary: bool = False,
    version: str = "3.0",
    strips: Rows | None = None,
    polygons: Rows | None = None,
    more: bool = False,
) -> bytes:
    """Legacy VTK; `more` adds a field, metadata, lines and point data."""
    surface = join(*surfaces)
    cells = polygons if polygons is not None else surface.triangles.tolist()
    keyword = "POLYGONS"
    if strips is not None:
        cells, keyword = strips, "TRIANGLE_STRIPS"
    out = [
        f"# vtk DataFile Version {version}\nmade for a test\n".encode(),
        b"BINARY\n" if binary else b"ASCII\n",
        b"DATASET POLYDATA\n",
    ]

    def numbers(values: NDArray[np.float64] | Sequence[float], kind: str) -> None:
        array = np.asarray(values)
        if binary:
            out.append(array.astype(kind).tobytes() + b"\n")
        else:
            flat = array.ravel().tolist()
            rows = [flat[k : k + 9] for k in range(0, len(flat), 9)]
            out.append("".join(" ".join(map(repr, row)) + " \n" for row in rows).encode())

    def put_cells(word: str, rows: Rows) -> None:
        flat = [corner for row in rows for corner in row]
        if version >= "5":
            ends = np.cumsum([0, *(len(row) for row in rows)]).tolist()
            out.append(f"{word} {len(ends)} {len(flat)}\nOFFSETS vtktypeint64\n".encode())
            numbers(ends, ">i8")
            out.append(b"CONNECTIVITY vtktypeint64\n")
            numbers(flat, ">i8")
        else:
            out.append(f"{word} {len(rows)} {len(rows) + len(flat)}\n".encode())
            numbers([n for row in rows for n in (len(row), *row)], ">i4")

    if more:
        out.append(b"FIELD FieldData 1\nTimeValue 1 1 double\n")
        numbers([0.5], ">f8")
    out.append(f"POINTS {len(surface.vertices)} double\n".encode())
    numbers(surface.vertices, ">f8")
    if more:
        out.append(b"METADATA\nINFORMATION 1\nNAME L2_NORM_RANGE LOCATION vtkDataArray\n")
        out.append(b"DATA 2 0 70.5 \n\n")
        put_cells("LINES", [[0, 1], [1, 2, 3]])
    put_cells(keyword, cells)
    if more:
        out.append(f"\nPOINT_DATA {len(surface.vertices)}\nSCALARS s float\n".encode())
        out.append(b"LOOKUP_TABLE default\n")
        numbers(np.zeros(len(surface.vertices)), ">f4")
    return b"".join(out)


def vtk_text(*surfaces: Surface) -> bytes:
    """Text of version 3."""
    return vtk(*surfaces)


def vtk_binary(*surfaces: Surface) -> bytes:
    """Binary of version 3 with all that may stand beside the surface."""
    return vtk(*surfaces, binary=True, more=True)


def vtk_text_5(*surfaces: Surface) -> bytes:
    """Text of version 5.1 with all that may stand beside the surface."""
    return vtk(*surfaces, version="5.1", more=True)


def vtk_binary_5(*surfaces: Surface) -> bytes:
    """Binary of version 5.1."""
    return vtk(*surfaces, version="5.1", binary=True)


def vtp(
    *surfaces: Surface,
    form: str = "ascii",
    packed: bool = False,
    head: str = "UInt32",
    order: str = "<",
    encoding: str = "raw",
    block_bytes: int = 512,
    head_apart: bool = False,
    strips: Rows | None = None,
) -> bytes:
    """VTP, a piece for each surface."""
    head_type = order + {"UInt32": "u4", "UInt64": "u8"}[head]
    appended: list[bytes] = []

    def coded(content: bytes, *, raw: bool) -> bytes:
        if packed:
            blocks = [content[k : k + block_bytes] for k in range(0, len(content), block_bytes)]
            squeezed = [zlib.compress(block) for block in blocks]
            last = len(blocks[-1]) % block_bytes if blocks else 0
            front = [len(blocks), block_bytes, last, *map(len, squeezed)]
            lead, rest = np.array(front).astype(head_type).tobytes(), b"".join(squeezed)
        else:
            lead, rest = np.array([len(content)]).astype(head_type).tobytes(), content
        if raw:
            return lead + rest
        if packed or head_apart:
            return base64.b64encode(lead) + base64.b64encode(rest)
        return base64.b64encode(lead + rest)

    def array(name: str, values: NDArray[np.float64], kind: str, width: int = 1) -> str:
        names = {"f8": "Float64", "i8": "Int64", "i4": "Int32", "f4": "Float32"}
        tag = f'<DataArray type="{names[kind]}" Name="{name}" NumberOfComponents="{width}" '
        if form == "ascii":
            text = " ".join(map(repr, np.asarray(values).ravel().tolist()))
            return f'{tag}format="ascii">\n{text}\n</DataArray>\n'
        content = np.asarray(values).astype(order + kind).tobytes()
        if form == "binary":
            text = coded(content, raw=False).decode()
            return f'{tag}format="binary">\n  {text}\n</DataArray>\n'
        offset = sum(map(len, appended))
        appended.append(coded(content, raw=encoding == "raw"))
        return f'{tag}format="appended" offset="{offset}"/>\n'

    attributes = 'type="PolyData" version="1.0" byte_order="{}" header_type="{}"'.format(
        "LittleEndian" if order == "<" else "BigEndian", head
    )
    if packed:
        attributes += ' compressor="vtkZLibDataCompressor"'
    out = [f'<?xml version="1.0"?>\n<VTKFile {attributes}>\n<PolyData>\n']
    for surface in surfaces:
        kind, cells = ("Strips", strips) if strips else ("Polys", surface.triangles.tolist())
        out.append(
            f'<Piece NumberOfPoints="{len(surface.vertices)}" NumberOfVerts="0" '
            f'NumberOf{kind}="{len(cells)}">\n<Points>\n'
        )
        out.append(array("Points", surface.vertices, "f8", 3))
        out.append(f"</Points>\n<{kind}>\n")
        out.append(array("connectivity", np.concatenate([np.array(c) for c in cells]), "i8"))
        out.append(array("offsets", np.cumsum([len(c) for c in cells]), "i4"))
        out.append(f"</{kind}>\n</Piece>\n")
    out.append("</PolyData>\n")
    data = "".join(out).encode()
    if form == "appended":
        data += f'<AppendedData encoding="{encoding}">\n _'.encode()
        data += b"".join(appended) + b"\n</AppendedData>\n"
    return data + b"</VTKFile>\n"


def vtp_text(*surfaces: Surface) -> bytes:
    """Numbers as text."""
    return vtp(*surfaces)


def vtp_inline(*surfaces: Surface) -> bytes:
    """Numbers in base64, sizes of 64 bits."""
    return vtp(*surfaces, form="binary", head="UInt64")


def vtp_inline_packed(*surfaces: Surface) -> bytes:
    """Numbers packed in base64."""
    return vtp(*surfaces, form="binary", packed=True)


def vtp_raw(*surfaces: Surface) -> bytes:
    """Numbers appended as bytes, big-endian."""
    return vtp(*surfaces, form="appended", order=">")


def vtp_raw_packed(*surfaces: Surface) -> bytes:
    """Numbers packed and appended as bytes."""
    return vtp(*surfaces, form="appended", packed=True, head="UInt64")


def vtp_appended_base64(*surfaces: Surface) -> bytes:
    """Numbers appended in base64."""
    return vtp(*surfaces, form="appended", encoding="base64")


def vrml2(*surfaces: Surface, wrap: str = "%s", ccw: bool = True) -> bytes:
    """VRML 2, a shape for each surface; `wrap` is put round each."""
    out = ["#VRML V2.0 utf8", "# made for a test", 'WorldInfo { title "a } # [ title" }']
    for number, surface in enumerate(surfaces, start=1):
        points = ",\n".join(" ".join(map(repr, p)) for p in surface.vertices.tolist())
        faces = ", ".join(f"{a}, {b}, {c}, -1" for a, b, c in surface.triangles.tolist())
        out.append(
            wrap
            % (
                f"DEF bone{number} Shape {{ appearance Appearance {{ material Material "
                f"{{ diffuseColor 1 0 0 }} }} geometry IndexedFaceSet {{ "
                f"{'' if ccw else 'ccw FALSE '}"
                f"coord Coordinate {{ point [ {points} ] }} # places\n"
                f"coordIndex [ {faces} ] creaseAngle 0.5 }} }}"
            )
        )
    return "\n".join([*out, ""]).encode()


def vrml1(*surfaces: Surface, step: str = "") -> bytes:
    """VRML 1, a separator for each surface; `step` stands before its coordinates."""
    out = ["#VRML V1.0 ascii", "Separator {", "ShapeHints { vertexOrdering COUNTERCLOCKWISE }"]
    for number, surface in enumerate(surfaces, start=1):
        points = ",\n".join(" ".join(map(repr, p)) for p in surface.vertices.tolist())
        faces = ",\n".join(f"{a}, {b}, {c}, -1" for a, b, c in surface.triangles.tolist())
        out.append(
            f"DEF bone{number} Separator {{ {step} Coordinate3 {{ point [ {points} ] }}\n"
            f"IndexedFaceSet {{ coordIndex [ {faces} ] }} }}"
        )
    return "\n".join([*out, "}", ""]).encode()


def gltf_parts(
    *surfaces: Surface, nodes: Sequence[dict[str, object]] | None = None, index: str = "<u4"
) -> tuple[dict[str, object], bytes]:
    """Document and buffer of glTF: a mesh and a node for each surface."""
    buffer = b""
    views: list[dict[str, int]] = []
    accessors: list[dict[str, object]] = []
    meshes = []
    code = {"<u1": 5121, "<u2": 5123, "<u4": 5125}[index]
    for number, surface in enumerate(surfaces, start=1):
        for content, kind, shape, component in (
            (surface.vertices, "<f4", "VEC3", 5126),
            (surface.triangles.ravel(), index, "SCALAR", code),
        ):
            chunk = content.astype(kind).tobytes()
            views.append({"buffer": 0, "byteOffset": len(buffer), "byteLength": len(chunk)})
            accessors.append(
                {
                    "bufferView": len(views) - 1,
                    "componentType": component,
                    "count": len(content),
                    "type": shape,
                }
            )
            buffer += chunk + b"\0" * (-len(chunk) % 4)
        primitive = {"attributes": {"POSITION": len(accessors) - 2}, "indices": len(accessors) - 1}
        meshes.append({"name": f"bone {number}", "primitives": [primitive]})
    if nodes is None:
        nodes = [{"mesh": k, "name": f"bone {k + 1}"} for k in range(len(surfaces))]
    document: dict[str, object] = {
        "asset": {"version": "2.0"},
        "scene": 0,
        "scenes": [{"nodes": list(range(len(surfaces)))}],
        "nodes": list(nodes),
        "meshes": meshes,
        "accessors": accessors,
        "bufferViews": views,
        "buffers": [{"byteLength": len(buffer)}],
    }
    return document, buffer


def glb_of(document: dict[str, object], buffer: bytes) -> bytes:
    """A GLB of a document and its buffer."""
    text = json.dumps(document).encode()
    text += b" " * (-len(text) % 4)
    chunks = struct.pack("<I4s", len(text), b"JSON") + text
    chunks += struct.pack("<I4s", len(buffer), b"BIN\0") + buffer
    return struct.pack("<4sII", b"glTF", 2, 12 + len(chunks)) + chunks


def glb(*surfaces: Surface) -> bytes:
    """GLB."""
    return glb_of(*gltf_parts(*surfaces))


def gltf(*surfaces: Surface) -> bytes:
    """GlTF with its buffer in base64."""
    document, buffer = gltf_parts(*surfaces)
    uri = "data:application/octet-stream;base64," + base64.b64encode(buffer).decode()
    document["buffers"] = [{"byteLength": len(buffer), "uri": uri}]
    return json.dumps(document).encode()


WRITERS: dict[str, tuple[Write, str]] = {
    "stl binary": (stl_binary, ".stl"),
    "stl binary solid": (stl_binary_solid, ".stl"),
    "stl ascii": (stl_ascii, ".stl"),
    "ply ascii": (ply_ascii, ".ply"),
    "ply little": (ply_little, ".ply"),
    "ply big": (ply_big, ".ply"),
    "obj": (obj_plain, ".obj"),
    "obj back": (obj_back, ".obj"),
    "vtk text": (vtk_text, ".vtk"),
    "vtk binary": (vtk_binary, ".vtk"),
    "vtk text 5": (vtk_text_5, ".vtk"),
    "vtk binary 5": (vtk_binary_5, ".vtk"),
    "vtp text": (vtp_text, ".vtp"),
    "vtp inline": (vtp_inline, ".vtp"),
    "vtp inline packed": (vtp_inline_packed, ".vtp"),
    "vtp raw": (vtp_raw, ".vtp"),
    "vtp raw packed": (vtp_raw_packed, ".vtp"),
    "vtp appended base64": (vtp_appended_base64, ".vtp"),
    "vrml 1": (vrml1, ".wrl"),
    "vrml 2": (vrml2, ".wrl"),
    "glb": (glb, ".glb"),
    "gltf": (gltf, ".gltf"),
}
