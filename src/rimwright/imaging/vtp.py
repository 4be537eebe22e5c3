"""VTP (VTK's XML polydata): text, base64 and raw arrays, inline or appended, packed by zlib."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Ints, Points
from rimwright.errors import FileRefusal
from rimwright.imaging.limits import MAX_VERTICES
from rimwright.imaging.number_text import parse_count, whole_numbers
from rimwright.imaging.polygons import cut_polygons, cut_strips, sizes_of_offsets
from rimwright.imaging.raw_shell import (
    DAMAGED,
    ParsedFile,
    RawShell,
    add_shell,
    check_count,
    keep_shells,
    make_shell,
)
from rimwright.imaging.vtp_array import Coding, read_array, without_space
from rimwright.imaging.xml_tags import Tag, parse_tags

_NO_INTS = np.zeros(0, dtype=np.int64)


def parse_vtp(data: bytes, *, where: str) -> ParsedFile:
    """
    Read a VTP file.

    Parameters
    ----------
    data
        The whole file.
    where
        The file, for the refusals.

    Returns
    -------
    ParsedFile
        A shell for each piece, of its polygons and strips; lines, points and data arrays are
        passed over.

    Raises
    ------
    FileRefusal
        Another data set than PolyData, another packing than zlib, or damage.
    """
    text, appended = _split_appended(data, where=where)
    root = parse_tags(text, where=where)
    kind = root.attributes.get("type", "")
    if root.name != "VTKFile" or kind != "PolyData":
        raise FileRefusal(
            f"its data set is {kind[:30] or 'missing'} (need PolyData)",
            where,
            "Export the surface of the bone",
        )
    body = root.child("PolyData")
    appended_tag = root.child("AppendedData")
    if appended is None and appended_tag is not None:
        appended = without_space(appended_tag.text).removeprefix(b"_")
    coding = Coding(
        order=">" if root.attributes.get("byte_order") == "BigEndian" else "<",
        head=_head_type(root.attributes.get("header_type", "UInt32"), where=where),
        packing=_packing(root.attributes.get("compressor", ""), where=where),
        appended=appended or b"",
        is_raw=appended_tag is not None
        and appended_tag.attributes.get("encoding", "base64") == "raw",
    )
    pieces = body.children_named("Piece") if body is not None else ()
    shells: list[RawShell] = []
    for piece in pieces:
        add_shell(shells, _read_piece(piece, coding, where=where), where=where)
    return ParsedFile(kind="VTP", shells=keep_shells(shells, where=where))


def _read_piece(piece: Tag, coding: Coding, *, where: str) -> RawShell:
    """Points, polygons and strips of one piece."""
    n_points = _count_of(piece, "NumberOfPoints", where=where)
    check_count(n_points, need=MAX_VERTICES, what="points", where=where)
    holder = piece.child("Points")
    points_tag = holder.child("DataArray") if holder is not None else None
    if points_tag is None:
        raise FileRefusal("a piece has no points", where, DAMAGED)
    values = read_array(points_tag, coding, n_values=3 * n_points, where=where)
    vertices: Points = values.reshape(-1, 3)
    polys, poly_sizes = _read_cells(piece, "Polys", coding, where=where)
    strips, strip_sizes = _read_cells(piece, "Strips", coding, where=where)
    triangles = np.concatenate(
        [
            cut_polygons(vertices, polys, sizes=poly_sizes, where=where),
            cut_strips(strips, sizes=strip_sizes),
        ]
    )
    return make_shell("", vertices=vertices, triangles=triangles, where=where)


def _read_cells(piece: Tag, name: str, coding: Coding, *, where: str) -> tuple[Ints, Ints]:
    """Corners of the cells of a kind in a row, and the size of each."""
    n_cells = _count_of(piece, f"NumberOf{name}", where=where)
    holder = piece.child(name)
    if holder is None or n_cells == 0:
        return _NO_INTS, _NO_INTS
    arrays = {tag.attributes.get("Name", ""): tag for tag in holder.children_named("DataArray")}
    if "connectivity" not in arrays or "offsets" not in arrays:
        raise FileRefusal(f"its {name} have no connectivity or no offsets", where, DAMAGED)
    offsets = read_array(arrays["offsets"], coding, n_values=n_cells, where=where)
    corners = read_array(arrays["connectivity"], coding, n_values=None, where=where)
    corner_index = whole_numbers(corners, what="connectivity", where=where)
    sizes = sizes_of_offsets(
        whole_numbers(offsets, what="offsets", where=where),
        n_corners=len(corner_index),
        where=where,
    )
    return corner_index, sizes


def _count_of(piece: Tag, name: str, *, where: str) -> int:
    """A count among the attributes of a piece; left out means 0."""
    text = piece.attributes.get(name, "0").strip()
    return parse_count(text.encode("ascii", "replace"), what=name, where=where)


def _split_appended(data: bytes, *, where: str) -> tuple[bytes, bytes | None]:
    """XML without raw appended data, and those data; None where none are raw."""
    start = data.find(b"<AppendedData")
    if start < 0:
        return data, None
    end = data.find(b">", start)
    if end < 0 or b"raw" not in data[start:end]:
        return data, None
    mark = data.find(b"_", end)
    if mark < 0 or data[end + 1 : mark].strip():
        raise FileRefusal("its appended data do not begin with _", where, DAMAGED)
    return data[: end + 1] + b"</AppendedData></VTKFile>", data[mark + 1 :]


def _head_type(name: str, *, where: str) -> str:
    """Type of the sizes in front of binary arrays."""
    types = {"UInt32": "u4", "UInt64": "u8"}
    if name not in types:
        raise FileRefusal(
            f"header type not known (got '{name[:20]}', need UInt32 or UInt64)", where, DAMAGED
        )
    return types[name]


def _packing(name: str, *, where: str) -> bool:
    """Whether arrays are packed by zlib; another packing is refused."""
    if name in {"", "vtkZLibDataCompressor"}:
        return bool(name)
    raise FileRefusal(
        f"packed by another method than zlib (got '{name[:40]}')",
        where,
        "Export it without compression",
    )
