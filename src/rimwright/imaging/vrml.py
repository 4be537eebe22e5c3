"""VRML 1 and 2: every IndexedFaceSet of the scene, with the transforms above it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from rimwright.anatomy import Floats, Ints, Points
from rimwright.errors import FileRefusal
from rimwright.imaging.axis_convention import LPS, find_stated_axes
from rimwright.imaging.limits import MAX_CORNERS, MAX_DEPTH, MAX_HEADER_BYTES, MAX_NODES
from rimwright.imaging.polygons import cut_polygons
from rimwright.imaging.raw_shell import (
    DAMAGED,
    ParsedFile,
    RawShell,
    add_shell,
    check_count,
    keep_shells,
    make_shell,
)
from rimwright.imaging.rigid_steps import move_surface, rotation_about, scaling, translation
from rimwright.imaging.vrml_nodes import Node, parse_nodes

_PASSED_OVER = {"Inline", "WWWInline", "Extrusion", "ElevationGrid", "Box", "Cone", "Cylinder",
                "Sphere", "Cube", "IndexedTriangleStripSet"}  # fmt: skip
_END_OF_FACE = -1


@dataclass(slots=True, kw_only=True)
class _State:
    """What VRML 1 carries from node to node: the matrix and the coordinates in force."""

    matrix: Floats
    points: Points | None = None


@dataclass(slots=True, kw_only=True)
class _Walk:
    """A walk through the scene, and what was found on it."""

    where: str
    is_first: bool
    shells: list[RawShell] = field(default_factory=list)
    passed_over: set[str] = field(default_factory=set)
    n_nodes: int = 0
    n_corners: int = 0


def parse_vrml(data: bytes, *, where: str) -> ParsedFile:
    """
    Read a VRML file.

    Parameters
    ----------
    data
        The whole file.
    where
        The file, for the refusals.

    Returns
    -------
    ParsedFile
        A shell for each IndexedFaceSet, with the transforms above it applied; of a Switch the
        chosen child, of a LOD the first. Unit and axes are those of the bone, as in other files,
        not the metres and y-up of scenes.

    Raises
    ------
    FileRefusal
        Not well-formed, too deep, prototypes, or a corner without a vertex.
    """
    is_first = b"V1." in data[:16]
    roots = parse_nodes(data, where=where)
    walk = _Walk(where=where, is_first=is_first)
    state = _State(matrix=np.eye(4))
    for node in roots:
        _visit(node, state, name="", depth=0, walk=walk)
    axes = find_stated_axes(data[:MAX_HEADER_BYTES])
    return ParsedFile(
        kind="VRML 1" if is_first else "VRML 2",
        shells=keep_shells(walk.shells, where=where),
        warnings=tuple(f"{kind} passed over" for kind in sorted(walk.passed_over)),
        axes=axes or LPS,
        axes_stated=axes is not None,
    )


def _visit(node: Node, state: _State, *, name: str, depth: int, walk: _Walk) -> None:
    """Visit a node and those below it; in VRML 1 it may change the state of its neighbours."""
    walk.n_nodes += 1
    check_count(walk.n_nodes, need=MAX_NODES, what="nodes", where=walk.where)
    check_count(depth, need=MAX_DEPTH, what="nodes inside each other", where=walk.where)
    name = node.name or name
    if node.kind == "IndexedFaceSet":
        _read_face_set(node, state, name=name, walk=walk)
        return
    if node.kind in _PASSED_OVER:
        walk.passed_over.add(node.kind)
        return
    if node.kind == "Coordinate3":
        state.points = _points_of(node, walk.where)
        return
    below = state
    if walk.is_first:
        state.matrix = state.matrix @ _step_of(node, walk.where)
        if node.kind == "Separator":
            below = _State(matrix=state.matrix, points=state.points)
        elif node.kind == "TransformSeparator":
            kept = state.matrix
            for child in node.children:
                _visit(child, state, name=name, depth=depth + 1, walk=walk)
            state.matrix = kept
            return
    else:
        below = _State(matrix=state.matrix @ _step_of(node, walk.where))
    for child in _shown_children(node, walk.where):
        _visit(child, below, name=name, depth=depth + 1, walk=walk)


def _shown_children(node: Node, where: str) -> list[Node]:
    """Children that are part of the scene."""
    if node.kind == "LOD":
        return node.children[:1]
    if node.kind == "Switch":
        choice = node.numbers(
            "whichChoice" if "whichChoice" in node.fields else "whichChild", (-1.0,), where=where
        )[0]
        if choice == -3:  # VRML 1: all
            return node.children
        is_there = choice == np.floor(choice) and 0 <= choice < len(node.children)
        return [node.children[int(choice)]] if is_there else []
    return node.children


def _step_of(node: Node, where: str) -> Floats:
    """Matrix of one node, (4, 4)."""
    if node.kind == "Transform":
        shift = node.numbers("translation", (0.0, 0.0, 0.0), where=where)
        centre = node.numbers("center", (0.0, 0.0, 0.0), where=where)
        *axis, angle_rad = node.numbers("rotation", (0.0, 0.0, 1.0, 0.0), where=where)
        factors = node.numbers(
            "scaleFactor" if "scaleFactor" in node.fields else "scale", (1.0,) * 3, where=where
        )
        *lean, lean_rad = node.numbers("scaleOrientation", (0.0, 0.0, 1.0, 0.0), where=where)
        turned = rotation_about(lean, lean_rad)
        return (
            translation(shift)
            @ translation(centre)
            @ rotation_about(axis, angle_rad)
            @ turned
            @ scaling(factors)
            @ turned.T
            @ translation(-np.asarray(centre))
        )
    if node.kind == "Translation":
        return translation(node.numbers("translation", (0.0, 0.0, 0.0), where=where))
    if node.kind == "Rotation":
        *axis, angle_rad = node.numbers("rotation", (0.0, 0.0, 1.0, 0.0), where=where)
        return rotation_about(axis, angle_rad)
    if node.kind == "Scale":
        return scaling(node.numbers("scaleFactor", (1.0, 1.0, 1.0), where=where))
    if node.kind == "MatrixTransform":
        rows = node.numbers("matrix", tuple(np.eye(4).ravel().tolist()), where=where)
        return np.array(rows).reshape(4, 4).T  # written for row vectors
    return np.eye(4)


def _points_of(node: Node, where: str) -> Points:
    """Points of a coordinate node, (n, 3)."""
    values = node.array("point", where=where)
    if len(values) % 3:
        raise FileRefusal(
            f"its points are cut short ({len(values):,} numbers, not by threes)", where, DAMAGED
        )
    return values.reshape(-1, 3)


def _read_face_set(node: Node, state: _State, *, name: str, walk: _Walk) -> None:
    """One shell of an IndexedFaceSet."""
    where = walk.where
    coordinates = next((n for n in node.children if n.kind in {"Coordinate", "Coordinate3"}), None)
    vertices = state.points if coordinates is None else _points_of(coordinates, where)
    corners = node.integers("coordIndex", where=where)
    walk.n_corners += len(corners)
    check_count(walk.n_corners, need=MAX_CORNERS, what="corners", where=where)
    if vertices is None:
        if not len(corners):
            return
        raise FileRefusal("a face set has no coordinates", where, DAMAGED)
    triangles = _triangles_of(vertices, corners, where=where)
    if node.text("ccw") == b"FALSE":
        triangles = triangles[:, ::-1]
    vertices, triangles = move_surface(state.matrix, vertices, triangles)
    add_shell(
        walk.shells,
        make_shell(name, vertices=vertices, triangles=triangles, where=where),
        where=where,
    )


def _triangles_of(vertices: Points, corners: Ints, *, where: str) -> Ints:
    """Triangles of corners whose faces end with −1; the last −1 may be left out."""
    if len(corners) and corners[-1] != _END_OF_FACE:
        corners = np.append(corners, _END_OF_FACE)
    ends = np.flatnonzero(corners == _END_OF_FACE)
    sizes = np.diff(ends, prepend=-1) - 1
    return cut_polygons(vertices, corners[corners != _END_OF_FACE], sizes=sizes, where=where)
