"""glTF 2.0 and GLB: triangles of the scene's nodes, with their transforms."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from rimwright.anatomy import Floats, Ints, Points
from rimwright.errors import FileRefusal
from rimwright.imaging.axis_convention import Y_UP
from rimwright.imaging.gltf_buffers import Buffers, read_buffers
from rimwright.imaging.gltf_json import parse_document
from rimwright.imaging.limits import MAX_DEPTH, MAX_NODES, MAX_TRIANGLES, MAX_VERTICES
from rimwright.imaging.polygons import cut_strips
from rimwright.imaging.raw_shell import (
    DAMAGED,
    ParsedFile,
    RawShell,
    add_shell,
    check_count,
    keep_shells,
    make_shell,
)
from rimwright.imaging.rigid_steps import (
    move_surface,
    rotation_of_quaternion,
    scaling,
    translation,
)
from rimwright.units import LengthUnit

READ_EXTENSIONS = {"KHR_mesh_quantization", "KHR_texture_transform", "KHR_materials_unlit"}
"""Extensions a file may require: small integers for positions, and two of looks."""
MAX_PRIMITIVES = 10_000
"""Parts of all meshes of a scene, repeats counted again."""
_TRIANGLES, _STRIP, _FAN = 4, 5, 6


def parse_gltf(data: bytes, *, where: str, folder: Path | None = None) -> ParsedFile:
    """
    Read a glTF or GLB file.

    Parameters
    ----------
    data
        The whole file.
    where
        The file, for the refusals.
    folder
        Where files it refers to stand; None where it may refer to none.

    Returns
    -------
    ParsedFile
        A shell for each node with a mesh, in metres and y-up as the standard has it. Skins,
        morphs and animations are not applied.

    Raises
    ------
    FileRefusal
        Not glTF 2, packed by an extension, damaged, or with nodes that do not form a tree.

    Notes
    -----
    Source: glTF 2.0 specification, 2021.
    """
    document, binary = parse_document(data, where=where)
    required = set(document.names("extensionsRequired")) - READ_EXTENSIONS
    if required:
        raise FileRefusal(
            f"needs an extension that is not read ({', '.join(sorted(required))[:60]})",
            where,
            "Export it without compression",
        )
    buffers = read_buffers(document, binary=binary, folder=folder)
    shells: list[RawShell] = []
    n_passed_over = 0
    waiting = [(index, np.eye(4), "", 0) for index in reversed(document.roots())]
    n_nodes = n_primitives = 0
    seen: set[int] = set()
    while waiting:
        index, above, name, depth = waiting.pop()
        n_nodes += 1
        check_count(n_nodes, need=MAX_NODES, what="nodes", where=where)
        check_count(depth, need=MAX_DEPTH, what="nodes inside each other", where=where)
        if index in seen:
            raise FileRefusal(f"node {index} stands twice in its tree", where, DAMAGED)
        seen.add(index)
        node = document.item("nodes", index)
        matrix = above @ _step_of(node, where=where)
        name = str(node.get("name") or name)
        if "mesh" in node:
            mesh = document.item("meshes", document.index(node, "mesh"))
            n_primitives += len(document.objects(mesh, "primitives"))
            check_count(n_primitives, need=MAX_PRIMITIVES, what="primitives", where=where)
            shell, n_other = _read_mesh(mesh, buffers, matrix=matrix, name=name, where=where)
            n_passed_over += n_other
            add_shell(shells, shell, where=where)
        children = document.indices(node, "children")
        waiting.extend((child, matrix, name, depth + 1) for child in reversed(children))
    warnings = (f"{n_passed_over} sets of points or lines passed over",) if n_passed_over else ()
    return ParsedFile(
        kind="GLB" if binary is not None else "glTF",
        shells=keep_shells(shells, where=where),
        warnings=warnings,
        unit=LengthUnit.M,
        axes=Y_UP,
        parts=buffers.beside,
    )


def _step_of(node: Mapping[str, Any], *, where: str) -> Floats:
    """Matrix of one node, (4, 4)."""
    if "matrix" in node:
        return np.array(_numbers(node, "matrix", 16, where=where)).reshape(4, 4).T
    matrix = np.eye(4)
    if "translation" in node:
        matrix = translation(_numbers(node, "translation", 3, where=where))
    if "rotation" in node:
        matrix = matrix @ rotation_of_quaternion(_numbers(node, "rotation", 4, where=where))
    if "scale" in node:
        matrix = matrix @ scaling(_numbers(node, "scale", 3, where=where))
    return matrix


def _numbers(node: Mapping[str, Any], key: str, n: int, *, where: str) -> list[float]:
    """Finite numbers of a node, n of them."""
    values = node[key]
    is_right = (
        isinstance(values, list)
        and len(values) == n
        and all(isinstance(value, (int, float)) and not isinstance(value, bool) for value in values)
    )
    if is_right:
        try:
            numbers = [float(value) for value in values]
        except OverflowError:
            numbers = [np.inf]
        if np.isfinite(numbers).all():
            return numbers
    raise FileRefusal(f"{key} of a node needs {n} finite numbers", where, DAMAGED)


def _read_mesh(
    mesh: Mapping[str, Any], buffers: Buffers, *, matrix: Floats, name: str, where: str
) -> tuple[RawShell, int]:
    """One shell of all primitives of a mesh, and how many of them are no triangles."""
    document = buffers.document
    vertices: list[Points] = [np.zeros((0, 3))]
    triangles: list[Ints] = [np.zeros((0, 3), dtype=np.int64)]
    n_before = n_triangles = 0
    n_other = 0
    for primitive in document.objects(mesh, "primitives"):
        mode = document.index(primitive, "mode") if "mode" in primitive else _TRIANGLES
        attributes = primitive.get("attributes")
        if mode not in {_TRIANGLES, _STRIP, _FAN} or not isinstance(attributes, dict):
            n_other += 1
            continue
        if "POSITION" not in attributes:
            n_other += 1
            continue
        points = buffers.read(document.index(attributes, "POSITION"), width=3)
        if "indices" in primitive:
            corners = buffers.read(document.index(primitive, "indices"), width=1)
            order = corners[:, 0].astype(np.int64)
        else:
            order = np.arange(len(points))
        cut = _cut(order, mode, where=where)
        shell = make_shell("", vertices=points, triangles=cut, where=where)
        vertices.append(shell.vertices)
        triangles.append(shell.triangles + n_before)
        n_before += len(points)
        n_triangles += len(cut)
        check_count(n_before, need=MAX_VERTICES, what="vertices", where=where)
        check_count(n_triangles, need=MAX_TRIANGLES, what="triangles", where=where)
    moved, turned = move_surface(matrix, np.concatenate(vertices), np.concatenate(triangles))
    name = name or str(mesh.get("name") or "")
    return make_shell(name, vertices=moved, triangles=turned, where=where), n_other


def _cut(order: Ints, mode: int, *, where: str) -> Ints:
    """Triangles of a list of corners, (m, 3)."""
    if mode == _TRIANGLES:
        if len(order) % 3:
            raise FileRefusal(
                f"a list of triangles has {len(order):,} corners, not by threes", where, DAMAGED
            )
        return order.reshape(-1, 3)
    if mode == _STRIP:
        return cut_strips(order, sizes=np.array([len(order)], dtype=np.int64))
    if len(order) < 3:
        return np.zeros((0, 3), dtype=np.int64)
    return np.column_stack([np.full(len(order) - 2, order[0]), order[1:-1], order[2:]])
