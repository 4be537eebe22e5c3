"""STL: binary, ASCII, and binary whose header begins like ASCII."""

from __future__ import annotations

import re

import numpy as np

from rimwright.anatomy import Floats
from rimwright.errors import FileRefusal
from rimwright.imaging.axis_convention import LPS, find_stated_axes
from rimwright.imaging.limits import MAX_TRIANGLES
from rimwright.imaging.number_text import find_non_number, parse_floats, shown
from rimwright.imaging.raw_shell import (
    DAMAGED,
    ParsedFile,
    RawShell,
    check_count,
    keep_shells,
    make_shell,
)

HEADER_BYTES = 84
_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_SOLID = re.compile(rb"^[ \t]*(end)?solid\b([^\r\n]*)", re.IGNORECASE | re.MULTILINE)
# a normal may hold anything (some writers put NaN there): it is never used
_NORMAL = re.compile(rb"normal(?:\s+[^\s]+){3}(?=\s+outer)", re.IGNORECASE)
_KEYWORDS = (b"endfacet", b"facet", b"endloop", b"outer", b"loop", b"vertex")
_FACET_LETTERS = b"factouterloopvertexvertexvertexendloopendfact".replace(b"e", b"")
_NUMBER_LETTERS = b"0123456789+-.eE \t\r\n\f\v"


def parse_stl(data: bytes, *, where: str) -> ParsedFile:
    """
    Read an STL file.

    Parameters
    ----------
    data
        The whole file.
    where
        The file, for the refusals.

    Returns
    -------
    ParsedFile
        One shell for binary, one for each solid for ASCII; three vertices of its own for each
        triangle, normals left unread.

    Raises
    ------
    FileRefusal
        Cut short, wrongly counted, or text that is not STL.

    Notes
    -----
    A file is binary when its length is the one its count of triangles asks for, whatever its
    first word; else ASCII when it begins with 'solid' and names a facet or is all text.
    """
    n_declared = int.from_bytes(data[80:84], "little") if len(data) >= HEADER_BYTES else -1
    need = HEADER_BYTES + n_declared * _FACET.itemsize
    if n_declared >= 0 and len(data) == need:
        return _parse_binary(data, n_declared, where=where)
    if data[:512].lstrip()[:5].lower() == b"solid" and b"\0" not in data[:512]:
        return _parse_text(data, where=where)
    if n_declared < 0:
        raise FileRefusal(
            f"cut short (got {len(data)} bytes, need {HEADER_BYTES} for the header of a binary "
            "STL)",
            where,
            DAMAGED,
        )
    if len(data) < need:
        n_whole = (len(data) - HEADER_BYTES) // _FACET.itemsize
        raise FileRefusal(
            f"cut short or wrongly counted (declares {n_declared:,} triangles, holds {n_whole:,})",
            where,
            DAMAGED,
        )
    n_left = len(data) - need
    if n_left >= _FACET.itemsize:
        raise FileRefusal(
            f"wrongly counted (declares {n_declared:,} triangles, {n_left:,} bytes are left over)",
            where,
            DAMAGED,
        )
    return _parse_binary(data, n_declared, where=where)


def _parse_binary(data: bytes, n_triangles: int, *, where: str) -> ParsedFile:
    """One shell of little-endian facets."""
    check_count(n_triangles, need=MAX_TRIANGLES, what="triangles", where=where)
    facets = np.frombuffer(data, dtype=_FACET, count=n_triangles, offset=HEADER_BYTES)
    shell = _shell_of_corners(facets["corners"].astype(np.float64), name="", where=where)
    axes = find_stated_axes(data[:80])
    return ParsedFile(
        kind="binary STL",
        shells=keep_shells([shell], where=where),
        axes=axes or LPS,
        axes_stated=axes is not None,
    )


def _parse_text(data: bytes, *, where: str) -> ParsedFile:
    """One shell for each solid … endsolid."""
    marks = list(_SOLID.finditer(data))
    shells: list[RawShell] = []
    is_open = False
    for place, mark in enumerate(marks):
        is_end = mark.group(1) is not None
        if is_end == is_open:
            if not is_end:
                stop = marks[place + 1].start() if place + 1 < len(marks) else len(data)
                name = mark.group(2).decode("utf-8", "replace")
                shells.append(_parse_solid(data[mark.end() : stop], name=name, where=where))
            is_open = not is_end
        else:
            break
    else:
        if not is_open:
            axes = find_stated_axes(data[:512])
            return ParsedFile(
                kind="ASCII STL",
                shells=keep_shells(shells, where=where),
                axes=axes or LPS,
                axes_stated=axes is not None,
            )
    raise FileRefusal(
        "cut short (a solid without its endsolid)" if is_open else "endsolid without a solid",
        where,
        DAMAGED,
    )


def _parse_solid(text: bytes, *, name: str, where: str) -> RawShell:
    """The facets between solid and endsolid."""
    bare = _NORMAL.sub(b"", text).lower()
    letters = bare.translate(None, _NUMBER_LETTERS)
    n_triangles = len(letters) // len(_FACET_LETTERS)
    is_whole = letters == _FACET_LETTERS * n_triangles
    check_count(n_triangles, need=MAX_TRIANGLES, what="triangles", where=where)
    for keyword in _KEYWORDS:
        bare = bare.replace(keyword, b" ")
    corners = parse_floats(bare, what="vertices", where=where) if is_whole else np.zeros(0)
    if not is_whole or len(corners) != 9 * n_triangles:
        odd = find_non_number(bare)
        found = f"found '{shown(odd)}'" if odd else f"{n_triangles:,} facets"
        raise FileRefusal(
            f"its facets are not written as STL asks, three vertices in a loop ({found})",
            where,
            DAMAGED,
        )
    return _shell_of_corners(corners.reshape(-1, 3, 3), name=name, where=where)


def _shell_of_corners(corners: Floats, *, name: str, where: str) -> RawShell:
    """A shell of triangles that share no vertex yet."""
    return make_shell(
        name,
        vertices=corners.reshape(-1, 3),
        triangles=np.arange(3 * len(corners)).reshape(-1, 3),
        where=where,
    )
