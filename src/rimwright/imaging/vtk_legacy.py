"""Legacy VTK polydata: text and binary, versions 1 to 5, polygons and triangle strips."""

from __future__ import annotations

import re
from dataclasses import dataclass, field

import numpy as np

from rimwright.anatomy import Ints, Points
from rimwright.errors import FileRefusal
from rimwright.imaging.axis_convention import LPS, find_stated_axes
from rimwright.imaging.limits import MAX_CORNERS, MAX_NODES, MAX_VERTICES
from rimwright.imaging.number_text import parse_count, shown, whole_numbers
from rimwright.imaging.polygons import cut_polygons, cut_strips, sizes_of_offsets, split_counted
from rimwright.imaging.raw_shell import (
    DAMAGED,
    ParsedFile,
    check_count,
    keep_shells,
    make_shell,
)
from rimwright.imaging.vtk_source import VtkSource

NEWEST_VERSION = 5
_VERSION = re.compile(rb"# vtk DataFile Version (\d+)\.(\d+)\s*")
_CELLS = {b"POLYGONS", b"TRIANGLE_STRIPS", b"LINES", b"VERTICES"}
_DATA = {b"POINT_DATA", b"CELL_DATA"}


@dataclass(slots=True, kw_only=True)
class _Dataset:
    """What has been read so far."""

    points: Points | None = None
    cells: list[tuple[bytes, Ints, Ints]] = field(default_factory=list)


def parse_vtk(data: bytes, *, where: str) -> ParsedFile:
    """
    Read a legacy VTK file.

    Parameters
    ----------
    data
        The whole file.
    where
        The file, for the refusals.

    Returns
    -------
    ParsedFile
        One shell of its polygons and triangle strips; lines, points and data fields are passed
        over.

    Raises
    ------
    FileRefusal
        Another data set than POLYDATA, a newer version, or damage.
    """
    mark = _VERSION.search(data[:256])
    if mark is None:
        raise FileRefusal("its first line names no version", where, DAMAGED)
    version = int(mark.group(1)[:4])
    if version > NEWEST_VERSION:
        raise FileRefusal(
            f"of a newer version (got {version}, need at most {NEWEST_VERSION})",
            where,
            "Export it as version 5 or as STL",
        )
    title_end = data.find(b"\n", mark.end())
    rest_at = title_end + 1 if title_end >= 0 else len(data)
    source = _open_source(data, rest_at, where=where)
    if source.word() != b"DATASET":
        raise FileRefusal("names no data set", where, DAMAGED)
    name = source.word()
    if name != b"POLYDATA":
        raise FileRefusal(
            f"its data set is {shown(name) or 'missing'} (need POLYDATA)",
            where,
            "Export the surface of the bone",
        )
    dataset = _read_sections(source, where=where)
    if dataset.points is None:
        raise FileRefusal("holds no points (need a surface)", where, DAMAGED)
    triangles = [
        cut_strips(corners, sizes=sizes)
        if keyword == b"TRIANGLE_STRIPS"
        else cut_polygons(dataset.points, corners, sizes=sizes, where=where)
        for keyword, corners, sizes in dataset.cells
        if keyword in {b"POLYGONS", b"TRIANGLE_STRIPS"}
    ]
    shell = make_shell(
        "",
        vertices=dataset.points,
        triangles=np.concatenate([np.zeros((0, 3), dtype=np.int64), *triangles]),
        where=where,
    )
    axes = find_stated_axes(data[:rest_at])
    return ParsedFile(
        kind=f"legacy VTK ({'binary' if source.is_binary else 'text'})",
        shells=keep_shells([shell], where=where),
        axes=axes or LPS,
        axes_stated=axes is not None,
    )


def _open_source(data: bytes, at: int, *, where: str) -> VtkSource:
    """Words and numbers of the file after its title, as its third line says."""
    source = VtkSource(data, at=at, where=where)
    word = source.word()
    if word not in {b"ASCII", b"BINARY"}:
        raise FileRefusal(f"neither ASCII nor BINARY (got '{shown(word)}')", where, DAMAGED)
    source.is_binary = word == b"BINARY"
    return source


def _read_sections(source: VtkSource, *, where: str) -> _Dataset:
    """Sections until the data of points and cells, or the end."""
    dataset = _Dataset()
    for _ in range(MAX_NODES):
        keyword = source.word()
        if not keyword or keyword in _DATA:
            break
        if keyword == b"POINTS":
            if dataset.points is not None:
                raise FileRefusal("its points stand twice", where, DAMAGED)
            n_points = parse_count(source.word(), what="number of points", where=where)
            check_count(n_points, need=MAX_VERTICES, what="points", where=where)
            values = source.numbers(3 * n_points, kind=source.word(), what="points")
            dataset.points = values.reshape(-1, 3)
        elif keyword in _CELLS:
            dataset.cells.append((keyword, *_read_cells(source, where=where)))
        elif keyword == b"FIELD":
            _skip_fields(source, where=where)
        elif keyword == b"METADATA":
            source.skip_paragraph()
        else:
            raise FileRefusal(
                f"a section of its polydata is not known (got '{shown(keyword)}')", where, DAMAGED
            )
    return dataset


def _read_cells(source: VtkSource, *, where: str) -> tuple[Ints, Ints]:
    """Corners of the cells in a row and the size of each, in the older or the newer writing."""
    n_first = parse_count(source.word(), what="number of polygons", where=where)
    n_second = parse_count(source.word(), what="size of polygons", where=where)
    check_count(n_first + n_second, need=MAX_CORNERS, what="corners", where=where)
    if source.skips(b"OFFSETS"):
        kind = source.word()
        offsets = source.numbers(n_first, kind=kind, what="offsets")
        if source.word() != b"CONNECTIVITY":
            raise FileRefusal("its offsets have no connectivity", where, DAMAGED)
        corners = source.numbers(n_second, kind=source.word(), what="connectivity")
        ends = whole_numbers(offsets, what="offsets", where=where)
        if len(ends) and ends[0] != 0:
            raise FileRefusal("its offsets do not begin with 0", where, DAMAGED)
        corner_index = whole_numbers(corners, what="connectivity", where=where)
        sizes = sizes_of_offsets(ends[1:], n_corners=len(corner_index), where=where)
        return corner_index, sizes
    cells = whole_numbers(
        source.numbers(n_second, kind=b"int", what="polygons"), what="polygons", where=where
    )
    return split_counted(cells, n_cells=n_first, where=where)


def _skip_fields(source: VtkSource, *, where: str) -> None:
    """Pass over arrays that belong to the whole data set."""
    source.word()
    n_arrays = parse_count(source.word(), what="number of fields", where=where)
    for _ in range(min(n_arrays, MAX_NODES)):
        name = source.word()
        if name == b"METADATA":
            source.skip_paragraph()
            name = source.word()
        if not name:
            raise FileRefusal("cut short in its fields", where, DAMAGED)
        n_values = parse_count(source.word(), what="field width", where=where)
        n_values *= parse_count(source.word(), what="field length", where=where)
        kind = source.word()
        if kind == b"string":
            source.skip_strings(n_values)
        else:
            source.numbers(n_values, kind=kind, what="field")
