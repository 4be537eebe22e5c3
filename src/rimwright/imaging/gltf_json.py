"""The JSON of a glTF file, and access to it that refuses what is of the wrong type."""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from rimwright.errors import FileRefusal
from rimwright.imaging.limits import MAX_JSON_ITEMS
from rimwright.imaging.raw_shell import DAMAGED, check_count

_MAGIC = b"glTF"
_HEADER = struct.Struct("<4sII")
_CHUNK = struct.Struct("<I4s")
_VERSION = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Document:
    """
    A glTF document.

    Parameters
    ----------
    content
        Its JSON object.
    where
        The file, for the refusals.
    """

    content: Mapping[str, Any]
    where: str

    def item(self, table: str, index: int) -> Mapping[str, Any]:
        """An object of one of the tables by its index."""
        items = self.content.get(table)
        n_items = len(items) if isinstance(items, list) else 0
        if not isinstance(items, list) or not 0 <= index < n_items:
            raise self.damaged(f"{table} has no entry {index} (it has {n_items})")
        found = items[index]
        if not isinstance(found, dict):
            raise self.damaged(f"entry {index} of {table} is no object")
        return found

    def n_items(self, table: str) -> int:
        """Entries of a table; 0 where it is left out."""
        items = self.content.get(table, [])
        if not isinstance(items, list):
            raise self.damaged(f"{table} is no list")
        return len(items)

    def index(self, holder: Mapping[str, Any], key: str, *, default: int | None = None) -> int:
        """A whole number of at least 0."""
        value = holder.get(key, default)
        if isinstance(value, bool) or not isinstance(value, int) or value < 0:
            raise self.damaged(f"{key} is not a whole number of at least 0")
        return value

    def indices(self, holder: Mapping[str, Any], key: str) -> list[int]:
        """A list of whole numbers of at least 0; empty where it is left out."""
        values = holder.get(key, [])
        if not isinstance(values, list) or any(
            isinstance(v, bool) or not isinstance(v, int) or v < 0 for v in values
        ):
            raise self.damaged(f"{key} is not a list of indices")
        return values

    def objects(self, holder: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
        """A list of objects; empty where it is left out."""
        values = holder.get(key, [])
        if not isinstance(values, list) or any(not isinstance(v, dict) for v in values):
            raise self.damaged(f"{key} is not a list of objects")
        return values

    def names(self, key: str) -> list[str]:
        """A list of texts of the document; empty where it is left out."""
        values = self.content.get(key, [])
        if not isinstance(values, list):
            raise self.damaged(f"{key} is no list")
        return [str(value) for value in values]

    def roots(self) -> list[int]:
        """Nodes of the scene; where there is no scene, the nodes that are no node's child."""
        if self.n_items("scenes"):
            scene = self.item("scenes", self.index(self.content, "scene", default=0))
            return self.indices(scene, "nodes")
        n_nodes = self.n_items("nodes")
        below = {
            child
            for index in range(n_nodes)
            for child in self.indices(self.item("nodes", index), "children")
        }
        return [index for index in range(n_nodes) if index not in below]

    def damaged(self, wrong: str) -> FileRefusal:
        """A refusal of a damaged file."""
        return FileRefusal(wrong, self.where, DAMAGED)


def parse_document(data: bytes, *, where: str) -> tuple[Document, bytes | None]:
    """
    Take a file apart into its JSON and its binary chunk.

    Parameters
    ----------
    data
        The whole file.
    where
        The file, for the refusals.

    Returns
    -------
    tuple[Document, bytes | None]
        The document, and the binary chunk of a GLB (empty without one); None for glTF.

    Raises
    ------
    FileRefusal
        Cut short, not JSON, or of another version.
    """
    if data.startswith(_MAGIC):
        text, binary = _split_glb(data, where=where)
        return _parse_json(text, where=where), binary
    return _parse_json(data, where=where), None


def _split_glb(data: bytes, *, where: str) -> tuple[bytes, bytes]:
    """JSON and binary chunk of a GLB."""
    if len(data) < _HEADER.size:
        raise FileRefusal("cut short in its header", where, DAMAGED)
    _, version, n_bytes = _HEADER.unpack_from(data)
    if version != _VERSION:
        raise FileRefusal(
            f"of another version (got {version}, need {_VERSION})", where, "Export it as glTF 2.0"
        )
    if n_bytes > len(data):
        raise FileRefusal(
            f"cut short (declares {n_bytes:,} bytes, holds {len(data):,})", where, DAMAGED
        )
    chunks: dict[bytes, bytes] = {}
    at = _HEADER.size
    while at + _CHUNK.size <= n_bytes and len(chunks) < 2:
        size, kind = _CHUNK.unpack_from(data, at)
        at += _CHUNK.size
        if size > n_bytes - at:
            raise FileRefusal(
                f"cut short (a chunk declares {size:,} bytes, {n_bytes - at:,} are left)",
                where,
                DAMAGED,
            )
        if kind in {b"JSON", b"BIN\0"}:
            chunks.setdefault(kind, data[at : at + size])
        at += size
    if b"JSON" not in chunks:
        raise FileRefusal("has no JSON chunk", where, DAMAGED)
    return chunks[b"JSON"], chunks.get(b"BIN\0", b"")


def _parse_json(text: bytes, *, where: str) -> Document:
    """The document of a JSON text."""
    n_items = sum(text.count(letter) for letter in (b"[", b"{", b","))
    check_count(n_items, need=MAX_JSON_ITEMS, what="JSON items", where=where)
    try:
        content = json.loads(text.decode("utf-8-sig"))
    except RecursionError:
        raise FileRefusal("its JSON is nested too deep", where, DAMAGED) from None
    except ValueError as error:
        line = getattr(error, "lineno", None)
        at = f" (line {line})" if line is not None else ""
        raise FileRefusal(f"cut short or not JSON{at}", where, DAMAGED) from None
    asset = content.get("asset") if isinstance(content, dict) else None
    if not isinstance(content, dict) or not isinstance(asset, dict):
        raise FileRefusal("JSON, but not glTF (it names no asset)", where, DAMAGED)
    version = str(asset.get("version", ""))[:10]
    if not version.startswith(f"{_VERSION}."):
        raise FileRefusal(
            f"of another version (got '{version}', need {_VERSION}.0)",
            where,
            "Export it as glTF 2.0",
        )
    return Document(content=content, where=where)
