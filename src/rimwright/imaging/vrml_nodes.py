"""Nodes of a VRML file: kind, name, fields and children, numbers left as text until asked for."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from rimwright.anatomy import Floats, Ints
from rimwright.errors import FileRefusal
from rimwright.imaging.limits import MAX_DEPTH, MAX_NODES, MAX_WORDS
from rimwright.imaging.number_text import parse_floats, parse_integers, shown
from rimwright.imaging.raw_shell import DAMAGED, check_count

_TOKEN = re.compile(
    rb'(?:[\s,]+|#[^\r\n]*)*+([{}\[\]]|"(?:[^"\\]|\\.)*+"|[^\s,{}\[\]"#]+|\Z)', re.DOTALL
)
_COMMENT = re.compile(rb"#[^\r\n]*")
_VALUE = re.compile(rb'[-+.0-9"]|TRUE$|FALSE$|NULL$')
_LARGE_FIELDS = {b"point", b"coordIndex", b"normalIndex", b"texCoordIndex", b"colorIndex",
                 b"vector", b"color", b"materialIndex", b"textureCoordIndex"}  # fmt: skip


@dataclass(slots=True, kw_only=True)
class Node:
    """
    One node of the scene.

    Parameters
    ----------
    kind
        Transform, Shape, IndexedFaceSet …
    name
        Given by DEF; '' without.
    fields
        Values as text in parts, by name.
    children
        Nodes inside it, in order, whatever field holds them; a node named by USE is the same
        object.
    parsed
        Arrays read so far, by name: a node may be used many times.
    """

    kind: str
    name: str = ""
    fields: dict[str, list[bytes]] = field(default_factory=dict)
    children: list[Node] = field(default_factory=list)
    parsed: dict[str, Floats | Ints] = field(default_factory=dict)

    def text(self, name: str) -> bytes:
        """Text of a field; empty where it is left out."""
        return b" ".join(self.fields.get(name, ()))

    def numbers(self, name: str, default: Sequence[float], *, where: str) -> list[float]:
        """Numbers of a field, as many as its default has; too few is a FileRefusal."""
        if name not in self.fields:
            return list(default)
        values = parse_floats(self.text(name), what=name, where=where)[: len(default)]
        if len(values) < len(default) or not np.isfinite(values).all():
            raise FileRefusal(
                f"{name} of a {self.kind} needs {len(default)} finite numbers", where, DAMAGED
            )
        return values.tolist()

    def array(self, name: str, *, where: str) -> Floats:
        """All numbers of a field, (n,)."""
        if name not in self.parsed:
            self.parsed[name] = parse_floats(self.text(name), what=name, where=where)
        return self.parsed[name].astype(np.float64, copy=False)

    def integers(self, name: str, *, where: str) -> Ints:
        """All whole numbers of a field, (n,)."""
        if name not in self.parsed:
            self.parsed[name] = parse_integers(self.text(name), what=name, where=where)
        return self.parsed[name].astype(np.int64, copy=False)


def parse_nodes(data: bytes, *, where: str) -> list[Node]:
    """
    Read the nodes of a VRML file.

    Parameters
    ----------
    data
        The whole file.
    where
        The file, for the refusal.

    Returns
    -------
    list[Node]
        The outermost nodes, in order.

    Raises
    ------
    FileRefusal
        Brackets that do not match, a USE without its DEF, prototypes, too deep or too many.
    """
    return _Reader(data, where=where).read()


class _Reader:
    """Reads nodes with a stack of its own: the depth of a file is no depth of calls."""

    def __init__(self, data: bytes, *, where: str) -> None:
        self._data = data
        self._where = where
        self._at = data.find(b"\n") + 1 or len(data)
        self._named: dict[bytes, Node] = {}
        self._root = Node(kind="")
        self._stack = [self._root]
        self._field = b""
        self._n_nodes = 0
        self._n_words = 0

    def read(self) -> list[Node]:
        """All nodes of the file."""
        name = b""
        while word := self._next():
            if word == b"DEF":
                name = self._next()
            elif word == b"USE":
                self._use(self._next())
            elif word == b"}":
                if len(self._stack) == 1:
                    raise self._damaged("a bracket closes that never opened")
                self._stack.pop()
                self._field = b""
            elif word in {b"PROTO", b"EXTERNPROTO"}:
                raise FileRefusal(
                    "has prototypes (not read)", self._where, "Export plain face sets"
                )
            elif word == b"[":
                self._open_list()
            elif word == b"{":
                raise self._damaged("a bracket opens without a node")
            elif word != b"]":
                self._take(word, name=name)
                name = b""
        if len(self._stack) > 1:
            raise self._damaged(f"cut short ({len(self._stack) - 1} brackets stay open)")
        return self._root.children

    def _take(self, word: bytes, *, name: bytes) -> None:
        """A value of the field at hand, a new node, or the name of the next field."""
        if self._field and _VALUE.match(word):
            self._stack[-1].fields[self._field.decode("latin-1")].append(word)
        elif self._peek() == b"{":
            self._next()
            self._n_nodes += 1
            check_count(self._n_nodes, need=MAX_NODES, what="nodes", where=self._where)
            check_count(
                len(self._stack), need=MAX_DEPTH, what="nodes inside each other", where=self._where
            )
            node = Node(kind=word.decode("latin-1"), name=name.decode("utf-8", "replace"))
            if name:
                self._named[name] = node
            self._stack[-1].children.append(node)
            self._stack.append(node)
            self._field = b""
        else:
            self._field = word
            self._stack[-1].fields[word.decode("latin-1")] = []

    def _use(self, name: bytes) -> None:
        """The node of that name again."""
        node = self._named.get(name)
        if node is None:
            raise self._damaged(f"USE of a name that was not given (got '{shown(name)}')")
        if node in self._stack:
            raise self._damaged("a node is used inside itself")
        self._stack[-1].children.append(node)

    def _open_list(self) -> None:
        """A list of numbers is taken whole; of others, the words follow one by one."""
        is_numbers = self._field in _LARGE_FIELDS or re.match(rb"[-+.0-9]", self._peek())
        if not self._field or not is_numbers:
            return
        end = self._data.find(b"]", self._at)
        if end < 0:
            raise self._damaged(f"cut short in {shown(self._field)} (its list does not end)")
        text = self._data[self._at : end]
        if b"#" in text:
            text = _COMMENT.sub(b"", text)
        self._at = end + 1
        key = self._field.decode("latin-1")
        self._stack[-1].fields[key].append(text.replace(b",", b" "))

    def _next(self) -> bytes:
        """The next word or bracket; empty at the end."""
        found = _TOKEN.match(self._data, self._at)
        if found is None:
            raise self._damaged("a text in quotation marks does not end")
        self._at = found.end()
        self._n_words += 1
        check_count(self._n_words, need=MAX_WORDS, what="words", where=self._where)
        return found.group(1)

    def _peek(self) -> bytes:
        """The next word or bracket, left where it is."""
        found = _TOKEN.match(self._data, self._at)
        return found.group(1) if found else b""

    def _damaged(self, wrong: str) -> FileRefusal:
        """A refusal of a file that is not well-formed."""
        return FileRefusal(wrong, self._where, DAMAGED)
