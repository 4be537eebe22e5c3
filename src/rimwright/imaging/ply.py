"""PLY: ASCII, binary little- and big-endian, any scalar types, polygons and strips."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Ints, Points
from rimwright.errors import FileRefusal
from rimwright.imaging.axis_convention import LPS, find_stated_axes
from rimwright.imaging.limits import MAX_HEADER_BYTES, MAX_VERTICES
from rimwright.imaging.number_text import parse_count, parse_floats, shown, whole_numbers
from rimwright.imaging.ply_rows import Element, Property, Rows, read_binary_rows, read_text_rows
from rimwright.imaging.polygons import cut_polygons, cut_strips
from rimwright.imaging.raw_shell import (
    DAMAGED,
    ParsedFile,
    check_count,
    check_declared,
    keep_shells,
    make_shell,
)

_SCALARS = {
    "char": "i1", "int8": "i1", "uchar": "u1", "uint8": "u1",
    "short": "i2", "int16": "i2", "ushort": "u2", "uint16": "u2",
    "int": "i4", "int32": "i4", "uint": "u4", "uint32": "u4",
    "float": "f4", "float32": "f4", "double": "f8", "float64": "f8",
}  # fmt: skip
_FORMATS = {b"ascii": "", b"binary_little_endian": "<", b"binary_big_endian": ">"}
_INDEX_NAMES = ("vertex_indices", "vertex_index")
_STRIP_BREAK = -1
MAX_ELEMENTS = 64
"""Elements, and properties of one element."""


@dataclass(frozen=True, slots=True, kw_only=True)
class _Header:
    """Byte order ('' for text), elements, and where the data begin."""

    order: str
    elements: tuple[Element, ...]
    data_from: int


def parse_ply(data: bytes, *, where: str) -> ParsedFile:
    """
    Read a PLY file.

    Parameters
    ----------
    data
        The whole file.
    where
        The file, for the refusals.

    Returns
    -------
    ParsedFile
        One shell.

    Raises
    ------
    FileRefusal
        The header is not understood, the data are cut short or wrongly counted, or a corner
        has no vertex.
    """
    header = _parse_header(data, where=where)
    vertices: Points | None = None
    triangles: list[tuple[Ints, Ints, bool]] = []
    values = (
        None if header.order else parse_floats(data[header.data_from :], what="data", where=where)
    )
    at = header.data_from if header.order else 0
    for element in header.elements:
        n_left = len(values) - at if values is not None else len(data) - at
        least = element.least_values if values is not None else element.least_bytes
        check_declared(
            element.n_rows, item_bytes=least, n_bytes=n_left, what=element.name, where=where
        )
        rows: Rows
        if values is not None:
            rows, at = read_text_rows(values, element, at=at, where=where)
        else:
            rows, at = read_binary_rows(data, element, at=at, where=where)
        if element.name == "vertex":
            vertices = _vertices_of(rows, where=where)
        elif element.name in {"face", "tristrips"}:
            found = next((rows.lists[key] for key in _INDEX_NAMES if key in rows.lists), None)
            if found is None:
                raise FileRefusal("its faces name no vertices", where, DAMAGED)
            corners = whole_numbers(found[0], what="faces", where=where)
            triangles.append((corners, found[1], element.name == "tristrips"))
    left = (len(values) - at) if values is not None else len(data[at:].strip())
    if left:
        raise FileRefusal(
            f"wrongly counted ({left:,} {'numbers' if values is not None else 'bytes'} are left "
            "over after its last element)",
            where,
            DAMAGED,
        )
    if vertices is None:
        raise FileRefusal("holds no vertices (need a surface)", where, DAMAGED)
    cut = [
        _cut_strip_list(corners, sizes)
        if is_strip
        else cut_polygons(vertices, corners, sizes=sizes, where=where)
        for corners, sizes, is_strip in triangles
    ]
    shell = make_shell(
        "",
        vertices=vertices,
        triangles=np.concatenate(cut) if cut else np.zeros((0, 3), dtype=np.int64),
        where=where,
    )
    axes = find_stated_axes(data[: header.data_from])
    return ParsedFile(
        kind="binary PLY" if header.order else "ASCII PLY",
        shells=keep_shells([shell], where=where),
        axes=axes or LPS,
        axes_stated=axes is not None,
    )


def _vertices_of(rows: Rows, *, where: str) -> Points:
    """Columns x, y, z of the vertices, (n, 3)."""
    missing = [key for key in "xyz" if key not in rows.columns]
    if missing:
        raise FileRefusal(f"its vertices have no {missing[0]}", where, DAMAGED)
    return np.column_stack([rows.columns[key] for key in "xyz"])


def _cut_strip_list(corners: Ints, sizes: Ints) -> Ints:
    """Triangles of strips, whose lists may be broken by −1."""
    owner = np.repeat(np.arange(len(sizes)), sizes)
    is_corner = corners != _STRIP_BREAK
    strip = np.cumsum(~is_corner)[is_corner] + owner[is_corner]  # grows at each break or list
    _, new_sizes = np.unique(strip, return_counts=True)
    return cut_strips(corners[is_corner], sizes=new_sizes.astype(np.int64))


def _parse_header(data: bytes, *, where: str) -> _Header:
    """Lines up to end_header."""
    start = data.find(b"ply")
    end = data.find(b"end_header", start, start + MAX_HEADER_BYTES)
    if end < 0:
        raise FileRefusal("its header does not end (need end_header)", where, DAMAGED)
    lines = data[start:end].replace(b"\r", b"\n").split(b"\n")
    order: str | None = None
    elements: list[tuple[str, int, list[Property]]] = []
    for line in lines[1:]:
        words = line.split()
        if not words or words[0] in {b"comment", b"obj_info"}:
            continue
        if words[0] == b"format" and len(words) == 3 and words[1] in _FORMATS:
            order = _FORMATS[words[1]]
        elif words[0] == b"element" and len(words) == 3 and len(elements) < MAX_ELEMENTS:
            n_rows = parse_count(words[2], what="number of elements", where=where)
            elements.append((words[1].decode("latin-1"), n_rows, []))
        elif words[0] == b"property" and elements and len(elements[-1][2]) < MAX_ELEMENTS:
            elements[-1][2].append(_parse_property(words[1:], where=where))
        else:
            raise _not_understood(line, where=where)
    if order is None:
        raise FileRefusal("its header states no format", where, DAMAGED)
    check_count(
        max((n for _, n, _ in elements), default=0), need=MAX_VERTICES, what="rows", where=where
    )
    return _Header(
        order=order,
        elements=tuple(
            Element(name=name, n_rows=n_rows, properties=tuple(properties), order=order)
            for name, n_rows, properties in elements
        ),
        data_from=_after_line(data, end + len(b"end_header")),
    )


def _parse_property(words: Sequence[bytes], *, where: str) -> Property:
    """A scalar, or a list with the type of its count."""
    texts = [word.decode("latin-1") for word in words]
    if len(texts) == 2 and texts[0] in _SCALARS:
        return Property(name=texts[1], item=_SCALARS[texts[0]])
    is_list = len(texts) == 4 and texts[0] == "list"
    if is_list and texts[1] in _SCALARS and texts[2] in _SCALARS and "f" not in _SCALARS[texts[1]]:
        return Property(name=texts[3], item=_SCALARS[texts[2]], count=_SCALARS[texts[1]])
    raise _not_understood(b"property " + b" ".join(words), where=where)


def _after_line(data: bytes, at: int) -> int:
    """Past the end of a line, whichever of the three ways it ends."""
    if data[at : at + 2] == b"\r\n":
        return at + 2
    return at + 1


def _not_understood(line: bytes, *, where: str) -> FileRefusal:
    """The refusal for a line of the header."""
    return FileRefusal(f"a line of its header is not PLY (got '{shown(line)}')", where, DAMAGED)
