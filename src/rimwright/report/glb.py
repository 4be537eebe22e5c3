"""A small writer of binary glTF 2.0: named meshes with plain materials, nothing else.

Written from the public specification of the format (chunks, accessors, alignment to four bytes).
Axes of the format: metres, y up, the front of a thing faces +z.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from rimwright.anatomy import Floats, Ints, Points, TriangleMesh

METRES_PER_MM = 1e-3
FLOAT, UINT32 = 5126, 5125
ARRAY_BUFFER, ELEMENT_ARRAY_BUFFER = 34962, 34963


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NamedMesh:
    """
    One node of a scene.

    Parameters
    ----------
    name
        Name of the node.
    mesh
        Image frame, mm.
    colour
        Red, green, blue, opacity, 0 … 1, linear light.
    extras
        What a viewer may show of it (hour, status …).
    """

    name: str
    mesh: TriangleMesh
    colour: tuple[float, float, float, float]
    extras: Mapping[str, object] = field(default_factory=dict)


def y_up_metres(points_mm: Points) -> Floats:
    """Image frame (LPS, mm) to the format's: left +x, cranial +y, anterior +z, metres."""
    lps = np.asarray(points_mm, dtype=np.float64)
    return np.stack([lps[..., 0], lps[..., 2], -lps[..., 1]], axis=-1) * METRES_PER_MM


def glb_bytes(nodes: Sequence[NamedMesh], *, extras: Mapping[str, object]) -> bytes:
    """
    A scene as one binary file.

    Parameters
    ----------
    nodes
        In order of drawing; those without triangles are left out.
    extras
        Facts of the whole scene (side, case, what the axes are).

    Returns
    -------
    bytes
        A complete .glb.
    """
    chunks: list[bytes] = []
    document: dict[str, Any] = {
        "asset": {"version": "2.0", "generator": "Rimwright", "extras": dict(extras)},
        "scene": 0,
        "scenes": [{"name": "hip", "nodes": []}],
        "nodes": [],
        "meshes": [],
        "materials": [],
        "accessors": [],
        "bufferViews": [],
    }
    for node in nodes:
        if node.mesh.n_triangles:
            _add(document, chunks, node=node)
    body = b"".join(chunks)
    document["buffers"] = [{"byteLength": len(body)}]
    head = json.dumps(document, separators=(",", ":"), ensure_ascii=False).encode()
    head += b" " * (-len(head) % 4)
    total = 12 + 8 + len(head) + 8 + len(body)
    return b"".join(
        [
            struct.pack("<4sII", b"glTF", 2, total),
            struct.pack("<I4s", len(head), b"JSON"),
            head,
            struct.pack("<I4s", len(body), b"BIN\0"),
            body,
        ]
    )


def _add(document: dict[str, Any], chunks: list[bytes], *, node: NamedMesh) -> None:
    """One node with its mesh, material and arrays."""
    positions = y_up_metres(node.mesh.vertices_mm).astype("<f4")
    normals = y_up_metres(node.mesh.vertex_normals()) / METRES_PER_MM
    lengths = np.linalg.norm(normals, axis=1)
    normals[lengths == 0] = (0.0, 1.0, 0.0)  # the format wants unit normals everywhere
    number = len(document["meshes"])
    attributes = {
        "POSITION": _accessor(document, chunks, array=positions, bounds=True),
        "NORMAL": _accessor(document, chunks, array=normals.astype("<f4")),
    }
    indices = _accessor(document, chunks, array=node.mesh.triangles.reshape(-1).astype("<u4"))
    translucent = node.colour[3] < 1.0
    document["materials"].append(
        {
            "name": node.name,
            "pbrMetallicRoughness": {
                "baseColorFactor": list(node.colour),
                "metallicFactor": 0.0,
                "roughnessFactor": 0.8,
            },
            "doubleSided": translucent,
            "alphaMode": "BLEND" if translucent else "OPAQUE",
        }
    )
    primitive = {"attributes": attributes, "indices": indices, "material": number}
    document["meshes"].append({"name": node.name, "primitives": [primitive]})
    document["nodes"].append({"name": node.name, "mesh": number, "extras": dict(node.extras)})
    document["scenes"][0]["nodes"].append(number)


def _accessor(
    document: dict[str, Any], chunks: list[bytes], *, array: Floats | Ints, bounds: bool = False
) -> int:
    """Append an array to the buffer; the number of its accessor."""
    data = np.ascontiguousarray(array).tobytes()
    start = sum(len(chunk) for chunk in chunks)
    chunks.append(data + b"\0" * (-len(data) % 4))
    is_index = array.ndim == 1
    document["bufferViews"].append(
        {
            "buffer": 0,
            "byteOffset": start,
            "byteLength": len(data),
            "target": ELEMENT_ARRAY_BUFFER if is_index else ARRAY_BUFFER,
        }
    )
    accessor: dict[str, Any] = {
        "bufferView": len(document["bufferViews"]) - 1,
        "componentType": UINT32 if is_index else FLOAT,
        "count": len(array),
        "type": "SCALAR" if is_index else "VEC3",
    }
    if bounds:
        accessor["min"] = [float(v) for v in array.min(axis=0)]
        accessor["max"] = [float(v) for v in array.max(axis=0)]
    document["accessors"].append(accessor)
    return len(document["accessors"]) - 1
