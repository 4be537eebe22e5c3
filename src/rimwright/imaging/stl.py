"""STL: binary, ASCII, and binary whose header begins like ASCII."""

from __future__ import annotations

import re

import numpy as np

from rimwright.anatomy import Floats
from rimwright.errors import FileRefusal
from rimwright.imaging.axis_convention import LPS, find_stated_axes
from rimwright.imaging.limits import MAX_TRIANGLES
from rimwright.imaging.number_text import CHUNK_BYTES, as_doubles, parse_words, shown
from rimwright.imaging.raw_shell import (
    DAMAGED,
    ParsedFile,
    RawShell,
    add_shell,
    check_count,
    keep_shells,
    make_shell,
)

HEADER_BYTES = 84
_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")])
_LINE_END = re.compile(rb"[\r\n]")
_WORDS_OF_FACET = 21
# words 2 to 4 are the normal: it is never used, and some writers put NaN there
_FACET_WORDS = {
    0: b"facet", 1: b"normal", 5: b"outer", 6: b"loop", 7: b"vertex", 11: b"vertex",
    15: b"vertex", 19: b"endloop", 20: b"endfacet",
}  # fmt: skip
_COORDINATE_WORDS = (8, 9, 10, 12, 13, 14, 16, 17, 18)


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
    shell = _shell_of_corners(as_doubles(facets["corners"]), name="", where=where)
    axes = find_stated_axes(data[:80])
    return ParsedFile(
        kind="binary STL",
        shells=keep_shells([shell], where=where),
        axes=axes or LPS,
        axes_stated=axes is not None,
    )


def _parse_text(data: bytes, *, where: str) -> ParsedFile:
    """One shell for each solid … endsolid."""
    text = data.lower()
    shells: list[RawShell] = []
    at = 0
    while (start := text.find(b"solid", at)) >= 0:
        if text[at:start].strip():
            raise FileRefusal(
                f"text between its solids (found '{shown(text[at:start].strip())}')", where, DAMAGED
            )
        named = _line_end(text, start)
        stop = text.find(b"endsolid", named)
        if stop < 0:
            raise FileRefusal("cut short (a solid without its endsolid)", where, DAMAGED)
        name = data[start + len(b"solid") : named].decode("utf-8", "replace")
        add_shell(shells, _parse_solid(text[named:stop], name=name, where=where), where=where)
        at = _line_end(text, stop)
    if text[at:].strip():
        raise FileRefusal("text after its last endsolid", where, DAMAGED)
    axes = find_stated_axes(data[:512])
    return ParsedFile(
        kind="ASCII STL",
        shells=keep_shells(shells, where=where),
        axes=axes or LPS,
        axes_stated=axes is not None,
    )


def _line_end(text: bytes, at: int) -> int:
    """Where the line of a place ends."""
    found = _LINE_END.search(text, at)
    return found.start() if found else len(text)


def _parse_solid(text: bytes, *, name: str, where: str) -> RawShell:
    """The facets between solid and endsolid, all in small letters."""
    parts = []
    at = 0
    while at < len(text):
        stop = text.find(b"endfacet", at + CHUNK_BYTES)
        stop = stop + len(b"endfacet") if stop >= 0 else len(text)
        words = text[at:stop].split()
        at = stop
        for place, keyword in _FACET_WORDS.items():
            found = set(words[place::_WORDS_OF_FACET])
            if found - {keyword} or len(words) % _WORDS_OF_FACET:
                odd = min(found - {keyword}, default=words[-1])
                raise FileRefusal(
                    "a facet is not written as STL asks (facet normal, outer loop, three times "
                    f"vertex, endloop, endfacet; found '{shown(odd)}')",
                    where,
                    DAMAGED,
                )
        columns = [
            parse_words(words[place::_WORDS_OF_FACET], what="vertices", where=where)
            for place in _COORDINATE_WORDS
        ]
        parts.append(np.column_stack(columns).reshape(-1, 3, 3))
    corners = np.concatenate(parts) if parts else np.zeros((0, 3, 3))
    return _shell_of_corners(corners, name=name, where=where)


def _shell_of_corners(corners: Floats, *, name: str, where: str) -> RawShell:
    """A shell of triangles that share no vertex yet."""
    return make_shell(
        name,
        vertices=corners.reshape(-1, 3),
        triangles=np.arange(3 * len(corners)).reshape(-1, 3),
        where=where,
    )
