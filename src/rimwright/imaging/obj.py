"""Wavefront OBJ: vertices and polygons, a body for each object or group."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import numpy as np

from rimwright.anatomy import Ints, Points
from rimwright.errors import FileRefusal
from rimwright.imaging.axis_convention import LPS, find_stated_axes
from rimwright.imaging.limits import (
    MAX_HEADER_BYTES,
    MAX_LINES,
    MAX_SHELLS,
    MAX_TRIANGLES,
    MAX_VERTICES,
)
from rimwright.imaging.number_text import parse_floats, parse_integers
from rimwright.imaging.polygons import cut_polygons
from rimwright.imaging.raw_shell import DAMAGED, ParsedFile, check_count, keep_shells, make_shell

_TEXTURE_AND_NORMAL = re.compile(rb"/[^\s]*")
_FREE_FORM = {b"curv", b"curv2", b"surf"}
_ITS_OWN = {
    b"v", b"vt", b"vn", b"vp", b"f", b"fo", b"l", b"p", b"o", b"g", b"s", b"mg", b"usemtl",
    b"mtllib", b"usemap", b"maplib", b"cstype", b"deg", b"bmat", b"step", b"parm", b"trim",
    b"hole", b"scrv", b"sp", b"end", b"con", b"bevel", b"c_interp", b"d_interp", b"lod",
    b"shadow_obj", b"trace_obj", b"ctech", b"stech", b"call", b"csh", *_FREE_FORM,
}  # fmt: skip


@dataclass(slots=True, kw_only=True)
class _Group:
    """Faces of one group as text, and how many vertices stood before each."""

    name: str
    faces: list[bytes] = field(default_factory=list)
    n_before: list[int] = field(default_factory=list)


def parse_obj(data: bytes, *, where: str) -> ParsedFile:
    """
    Read an OBJ file.

    Parameters
    ----------
    data
        The whole file.
    where
        The file, for the refusals.

    Returns
    -------
    ParsedFile
        A shell for each object; for each group where there are no objects. Texture, normals,
        material, lines and points are passed over.

    Raises
    ------
    FileRefusal
        A line is not OBJ, a number is none, or a corner has no vertex.
    """
    if b"\\" in data:
        data = data.replace(b"\\\r\n", b" ").replace(b"\\\n", b" ")
    check_count(data.count(b"\n") + data.count(b"\r"), need=MAX_LINES, what="lines", where=where)
    lines = data.replace(b"\r", b"\n").split(b"\n")
    n_objects = sum(line.startswith(b"o ") for line in lines)
    heads = {b"o"} if n_objects else {b"g"}
    groups: dict[bytes, _Group] = {}
    group: _Group | None = None
    points: list[bytes] = []
    warnings: list[str] = []
    for line in lines:
        word, _, rest = line.strip().partition(b" ")
        if word == b"v":
            points.append(rest)
        elif word == b"f":
            if group is None:
                group = groups.setdefault(b"", _Group(name=""))
            group.faces.append(rest)
            group.n_before.append(len(points))
        elif word in heads:
            name = rest.strip()
            group = groups.setdefault(name, _Group(name=name.decode("utf-8", "replace")))
            check_count(len(groups), need=MAX_SHELLS, what="groups", where=where)
        elif word and not word.startswith(b"#"):
            word, *more = word.split()  # a tab may part the first word from the rest
            if word == b"v":
                points.append(b" ".join([*more, rest]))
            elif word == b"f":
                if group is None:
                    group = groups.setdefault(b"", _Group(name=""))
                group.faces.append(b" ".join([*more, rest]))
                group.n_before.append(len(points))
            elif word not in _ITS_OWN:
                raise FileRefusal(
                    f"a line is not OBJ (begins '{word[:20].decode('ascii', 'replace')}')",
                    where,
                    DAMAGED,
                )
            elif word in _FREE_FORM and not warnings:
                warnings.append("free-form curves and surfaces passed over")
    vertices = _parse_points(points, where=where)
    shells = [
        make_shell(
            group.name,
            vertices=vertices,
            triangles=_parse_faces(group, vertices, where=where),
            where=where,
        )
        for group in groups.values()
    ]
    axes = find_stated_axes(data[:MAX_HEADER_BYTES])
    return ParsedFile(
        kind="OBJ",
        shells=keep_shells(shells, where=where),
        warnings=tuple(warnings),
        axes=axes or LPS,
        axes_stated=axes is not None,
    )


def _parse_points(points: list[bytes], *, where: str) -> Points:
    """Coordinates of the vertices, (n, 3); weights and colours behind them are passed over."""
    check_count(len(points), need=MAX_VERTICES, what="vertices", where=where)
    widths = {len(point.split()) for point in points}
    if widths and min(widths) < 3:
        raise FileRefusal("a vertex has fewer than three numbers", where, DAMAGED)
    if widths <= {3}:
        return parse_floats(b"\n".join(points), what="vertices", where=where).reshape(-1, 3)
    more = b" ".join(b" ".join(point.split()[3:]) for point in points)
    parse_floats(more, what="vertices", where=where)
    first = b" ".join(b" ".join(point.split()[:3]) for point in points)
    return parse_floats(first, what="vertices", where=where).reshape(-1, 3)


def _parse_faces(group: _Group, vertices: Points, *, where: str) -> Ints:
    """Triangles of one group, counted from 0."""
    text = b"\n".join(group.faces)
    if b"/" in text:
        text = _TEXTURE_AND_NORMAL.sub(b"", text)
    rows = text.split(b"\n")
    sizes = np.array([len(row.split()) for row in rows], dtype=np.int64)
    if len(sizes) and sizes.min() < 3:
        raise FileRefusal("a face has fewer than three corners", where, DAMAGED)
    corners = parse_integers(text, what="faces", where=where)
    check_count(int((sizes - 2).sum()), need=MAX_TRIANGLES, what="triangles", where=where)
    n_before = np.repeat(np.array(group.n_before, dtype=np.int64), sizes)
    if (corners == 0).any():
        raise FileRefusal("a face names vertex 0 (need counting from 1)", where, DAMAGED)
    corners = np.where(corners < 0, n_before + corners, corners - 1)
    return cut_polygons(vertices, corners, sizes=sizes, where=where)
