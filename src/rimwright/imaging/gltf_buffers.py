"""Numbers of a glTF file: buffers inside it, in base64 or beside it, and the accessors to them."""

from __future__ import annotations

import base64
import binascii
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import numpy as np

from rimwright.anatomy import Floats
from rimwright.errors import FileRefusal
from rimwright.imaging.gltf_json import Document
from rimwright.imaging.limits import MAX_FILE_BYTES, MAX_SHELLS, MAX_VERTICES
from rimwright.imaging.number_text import as_doubles
from rimwright.imaging.raw_shell import check_count, check_declared

_TYPES = {5120: "<i1", 5121: "<u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
_WIDTHS = {"SCALAR": 1, "VEC3": 3}
_MAX_STRIDE = 255
"""Bytes from one element to the next; the standard has at most 252."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Buffers:
    """
    The buffers of a file.

    Parameters
    ----------
    document
        Whose accessors are read.
    contents
        Bytes of each buffer.
    beside
        Those that came from files beside it.
    """

    document: Document
    contents: tuple[bytes, ...]
    beside: tuple[bytes, ...]

    def read(self, accessor_index: int, *, width: int) -> Floats:
        """
        Read an accessor.

        Parameters
        ----------
        accessor_index
            Its index.
        width
            1 for scalars, 3 for vectors of three.

        Returns
        -------
        Floats
            (n, width).

        Raises
        ------
        FileRefusal
            Of another type or width, or past the end of its buffer.
        """
        accessor = self.document.item("accessors", accessor_index)
        n = self.document.index(accessor, "count")
        check_count(n, need=3 * MAX_VERTICES, what="values", where=self.document.where)
        if _WIDTHS.get(str(accessor.get("type"))) != width:
            raise self.document.damaged(
                f"accessor {accessor_index} is not of the type its use needs"
            )
        item = self._item_of(accessor)
        if "bufferView" in accessor:
            values = self._view(
                accessor, "bufferView", item=item, n=n, width=width, offset_key="byteOffset"
            )
        else:
            # zeros; only a sparse accessor leaves its view out, and needs no more than its base
            check_count(n, need=MAX_VERTICES, what="values", where=self.document.where)
            values = np.zeros((n, width))
        if "sparse" in accessor:
            values = self._replace(accessor, values, item=item, width=width)
        if accessor.get("normalized") is True and item.kind in "iu":
            values = np.maximum(values / np.iinfo(item).max, -1.0)
        return values

    def _item_of(self, holder: Mapping[str, Any]) -> np.dtype[Any]:
        """Type of the numbers of an accessor."""
        code = self.document.index(holder, "componentType")
        if code not in _TYPES:
            raise self.document.damaged(f"component type not known (got {code})")
        return np.dtype(_TYPES[code])

    def _view(
        self,
        holder: Mapping[str, Any],
        key: str,
        *,
        item: np.dtype[Any],
        n: int,
        width: int,
        offset_key: str,
    ) -> Floats:
        """Elements of a buffer view, (n, width)."""
        document = self.document
        view = document.item("bufferViews", document.index(holder, key))
        buffer_index = document.index(view, "buffer")
        if buffer_index >= len(self.contents):
            raise document.damaged(f"buffers has no entry {buffer_index}")
        content = self.contents[buffer_index]
        start = document.index(view, "byteOffset", default=0)
        end = start + document.index(view, "byteLength")
        check_declared(
            end, item_bytes=1, n_bytes=len(content), what="bytes of a view", where=document.where
        )
        start += document.index(holder, offset_key, default=0)
        row_bytes = width * item.itemsize
        stride = document.index(view, "byteStride", default=0) or row_bytes
        if not row_bytes <= stride <= max(_MAX_STRIDE, row_bytes):
            raise document.damaged(f"a stride does not fit its elements (got {stride} bytes)")
        if n == 0:
            return np.zeros((0, width))
        last = start + (n - 1) * stride + row_bytes
        if last > end:
            raise document.damaged(
                f"cut short or wrongly counted (an accessor of {n:,} elements runs past its view)"
            )
        rows = np.ndarray(
            (n, width), dtype=item, buffer=content, offset=start, strides=(stride, item.itemsize)
        )
        return as_doubles(rows)

    def _replace(
        self, accessor: Mapping[str, Any], values: Floats, *, item: np.dtype[Any], width: int
    ) -> Floats:
        """Values with those of a sparse accessor put in place."""
        document = self.document
        sparse = accessor["sparse"]
        parts = [
            sparse.get(key) if isinstance(sparse, dict) else None for key in ("indices", "values")
        ]
        where_to, what = parts
        if not isinstance(where_to, dict) or not isinstance(what, dict):
            raise document.damaged("a sparse accessor lacks its indices or values")
        n = document.index(sparse, "count")
        check_count(n, need=len(values), what="sparse values", where=document.where)
        rows = self._view(
            where_to,
            "bufferView",
            item=self._item_of(where_to),
            n=n,
            width=1,
            offset_key="byteOffset",
        )[:, 0]
        fresh = self._view(what, "bufferView", item=item, n=n, width=width, offset_key="byteOffset")
        if len(rows) and not (rows.min() >= 0 and rows.max() < len(values)):
            raise document.damaged("a sparse accessor names an element that is not there")
        changed = values.copy()
        changed[rows.astype(np.int64)] = fresh
        return changed


def read_buffers(document: Document, *, binary: bytes | None, folder: Path | None) -> Buffers:
    """
    Gather the buffers of a document.

    Parameters
    ----------
    document
        Of the file.
    binary
        Binary chunk of a GLB, None for glTF.
    folder
        Where files beside it stand; None where it may name none.

    Returns
    -------
    Buffers
        Contents in the order of the document.

    Raises
    ------
    FileRefusal
        A buffer is missing, cut short, outside the folder, or not base64.
    """
    contents: list[bytes] = []
    beside: list[bytes] = []
    n_buffers = document.n_items("buffers")
    check_count(n_buffers, need=MAX_SHELLS, what="buffers", where=document.where)
    n_read = 0
    for index in range(n_buffers):
        buffer = document.item("buffers", index)
        uri = buffer.get("uri")
        if uri is None:
            content = binary if binary is not None and index == 0 else b""
        elif not isinstance(uri, str):
            raise document.damaged(f"the address of buffer {index} is no text")
        elif uri.startswith("data:"):
            content = _decode(uri, document)
        else:
            content = _read_beside(uri, folder, document)
            beside.append(content)
        n_read += len(content)
        check_count(n_read, need=2 * MAX_FILE_BYTES, what="bytes", where=document.where)
        n_bytes = document.index(buffer, "byteLength")
        check_declared(
            n_bytes,
            item_bytes=1,
            n_bytes=len(content),
            what=f"bytes of buffer {index}",
            where=document.where,
        )
        contents.append(content)
    return Buffers(document=document, contents=tuple(contents), beside=tuple(beside))


def _decode(uri: str, document: Document) -> bytes:
    """Bytes of a base64 address."""
    head, _, letters = uri.partition(",")
    try:
        if not head.endswith(";base64"):
            raise document.damaged("a buffer is not written in base64")
        return base64.b64decode(letters, validate=True)
    except (binascii.Error, UnicodeError):
        raise document.damaged("a buffer is not written in base64") from None
    except ValueError as error:
        if isinstance(error, FileRefusal):
            raise
        raise document.damaged("a buffer is not written in base64") from None


def _read_beside(uri: str, folder: Path | None, document: Document) -> bytes:
    """Bytes of a file in the same folder; never from elsewhere."""
    name = unquote(uri)
    is_plain = name not in {"", ".", ".."} and not any(c in name for c in "/\\:\0")
    if folder is None or not is_plain:
        raise FileRefusal(
            f"refers to a file that does not stand beside it ('{name[:40]!s}')",
            document.where,
            "Put its buffer file beside it, or export it as GLB",
        )
    path = folder / name
    try:
        if not path.is_file():
            raise FileRefusal(
                f"its buffer file is missing ('{name[:40]}')",
                document.where,
                "Put the file beside it, or export it as GLB",
            )
        check_count(path.stat().st_size, need=MAX_FILE_BYTES, what="bytes", where=document.where)
        return path.read_bytes()
    except OSError:
        raise FileRefusal(
            f"its buffer file cannot be read ('{name[:40]}')", document.where, "Check the file"
        ) from None
