"""One array of a VTP file, however it is written."""

from __future__ import annotations

import base64
import binascii
import re
import zlib
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats
from rimwright.errors import FileRefusal
from rimwright.imaging.limits import MAX_FILE_BYTES
from rimwright.imaging.number_text import as_doubles, parse_count, parse_floats
from rimwright.imaging.raw_shell import DAMAGED, check_declared
from rimwright.imaging.xml_tags import Tag

_TYPES = {
    "Int8": "i1", "UInt8": "u1", "Int16": "i2", "UInt16": "u2", "Int32": "i4", "UInt32": "u4",
    "Int64": "i8", "UInt64": "u8", "Float32": "f4", "Float64": "f8",
}  # fmt: skip
_NOT_BASE64 = re.compile(rb"[^A-Za-z0-9+/=]")
_N_PACKED_HEAD = 3
"""Numbers in front of the sizes of packed blocks: blocks, bytes of a block, bytes of the last."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Coding:
    """
    How the binary arrays of a file are written.

    Parameters
    ----------
    order
        '<' or '>'.
    head
        Type of the sizes in front of an array, u4 or u8.
    packing
        Whether arrays are packed by zlib.
    appended
        Appended data after their underscore.
    is_raw
        Whether the appended data are bytes, not base64.
    """

    order: str
    head: str
    packing: bool
    appended: bytes
    is_raw: bool


def read_array(tag: Tag, coding: Coding, *, n_values: int | None, where: str) -> Floats:
    """
    Read a DataArray.

    Parameters
    ----------
    tag
        The DataArray.
    coding
        Of the file.
    n_values
        Values it must have; None where only its own length tells.
    where
        The file, for the refusal.

    Returns
    -------
    Floats
        (n,).

    Raises
    ------
    FileRefusal
        Not a known type or writing, cut short, or of another length.
    """
    type_name = tag.attributes.get("type", "")
    if type_name not in _TYPES:
        raise FileRefusal(f"an array is of no known type (got '{type_name[:20]}')", where, DAMAGED)
    what = tag.attributes.get("Name", "")[:20] or "array"
    writing = tag.attributes.get("format", "ascii")
    if writing == "ascii":
        values = parse_floats(tag.text, what=what, where=where)
    else:
        item = np.dtype(coding.order + _TYPES[type_name])
        content = _read_bytes(tag, coding, writing=writing, where=where)
        if len(content) % item.itemsize:
            raise _damaged(f"{what}: {len(content)} bytes are no whole number of values", where)
        values = as_doubles(np.frombuffer(content, item))
    if n_values is not None and len(values) != n_values:
        raise _damaged(
            f"{what}: cut short or wrongly counted (got {len(values):,} values, need {n_values:,})",
            where,
        )
    return values


def without_space(text: bytes) -> bytes:
    """The text without white space."""
    return text.translate(None, b" \t\r\n")


def _read_bytes(tag: Tag, coding: Coding, *, writing: str, where: str) -> bytes:
    """Bytes of a binary array, unpacked, without what stands in front."""
    if writing == "appended":
        at = parse_count(
            tag.attributes.get("offset", "").encode("ascii", "replace"),
            what="offset of an array",
            where=where,
        )
        stream = _Stream(coding.appended, at=at, is_raw=coding.is_raw, where=where)
    elif writing == "binary":
        stream = _Stream(without_space(tag.text), at=0, is_raw=False, where=where)
    else:
        raise _damaged(f"an array is written in no known way (got '{writing[:20]}')", where)
    head = np.dtype(coding.order + coding.head)
    if not coding.packing:
        n_bytes = int(np.frombuffer(stream.first(head.itemsize), head)[0])
        check_declared(n_bytes, item_bytes=1, n_bytes=stream.n_left, what="bytes", where=where)
        return stream.after(head.itemsize, n_bytes)
    n_blocks = int(np.frombuffer(stream.first(head.itemsize), head)[0])
    check_declared(
        n_blocks, item_bytes=head.itemsize, n_bytes=stream.n_left, what="blocks", where=where
    )
    head_bytes = (_N_PACKED_HEAD + n_blocks) * head.itemsize
    numbers = [int(number) for number in np.frombuffer(stream.first(head_bytes), head)]
    _, block_bytes, last_bytes, *packed_sizes = numbers
    check_declared(
        sum(packed_sizes), item_bytes=1, n_bytes=stream.n_left, what="packed bytes", where=where
    )
    packed = stream.after(head_bytes, sum(packed_sizes))
    sizes = [block_bytes] * n_blocks
    if n_blocks and last_bytes:
        sizes[-1] = last_bytes
    check_declared(
        sum(sizes), item_bytes=1, n_bytes=MAX_FILE_BYTES, what="unpacked bytes", where=where
    )
    return _unpack(packed, packed_sizes, sizes, where=where)


def _unpack(packed: bytes, packed_sizes: list[int], sizes: list[int], *, where: str) -> bytes:
    """Blocks unpacked, each no further than its declared size."""
    blocks = []
    at = 0
    for packed_size, size in zip(packed_sizes, sizes, strict=True):
        unpacker = zlib.decompressobj()
        try:
            block = unpacker.decompress(packed[at : at + packed_size], size + 1)
        except zlib.error:
            raise _damaged("a packed block cannot be unpacked", where) from None
        if len(block) != size:
            raise _damaged("a packed block is not of the size it declares", where)
        blocks.append(block)
        at += packed_size
    return b"".join(blocks)


class _Stream:
    """
    Bytes of one array and what stands in front of it, raw or in base64.

    What stands in front may be coded by itself or together with the data: in the first case its
    padding stands in the middle.
    """

    def __init__(self, source: bytes, *, at: int, is_raw: bool, where: str) -> None:
        self._source = source
        self._at = at
        self._is_raw = is_raw
        self._where = where

    @property
    def n_left(self) -> int:
        """Bytes, or letters of base64, from here to the end."""
        return max(len(self._source) - self._at, 0)

    def first(self, n: int) -> bytes:
        """The first n bytes."""
        found = self._read(0, n)
        if len(found) < n:
            raise _damaged("an array is cut short in front of its data", self._where)
        return found

    def after(self, n_head: int, n: int) -> bytes:
        """Bytes, n of them, after a head of n_head bytes."""
        n_letters = _n_letters(n_head)
        end_of_head = self._at + n_letters - 1
        if not self._is_raw and self._source[end_of_head : end_of_head + 1] == b"=":
            found = self._read(n_letters, n)
        elif self._is_raw or n_head % 3 == 0:
            found = self._read(n_head if self._is_raw else n_letters, n)
        else:
            found = self._read(0, n_head + n)[n_head:]
        if len(found) < n:
            raise _damaged("an array is cut short", self._where)
        return found

    def _read(self, start: int, n: int) -> bytes:
        """Up to n bytes, from a place in the source on."""
        start += self._at
        if self._is_raw:
            return self._source[start : start + n]
        return self._decode(self._source[start : start + _n_letters(n)])[:n]

    def _decode(self, letters: bytes) -> bytes:
        """Bytes of base64."""
        if _NOT_BASE64.search(letters):
            raise _damaged("an array is not written in base64", self._where)
        try:
            return base64.b64decode(letters)
        except binascii.Error:
            raise _damaged("an array is not written in base64", self._where) from None


def _n_letters(n_bytes: int) -> int:
    """Letters of base64 for a number of bytes, padding included."""
    return 4 * -(-n_bytes // 3)


def _damaged(wrong: str, where: str) -> FileRefusal:
    """A refusal of a damaged array."""
    return FileRefusal(wrong, where, DAMAGED)
