"""Words and numbers of a legacy VTK file, one after the other, from text or from bytes."""

from __future__ import annotations

import re
from itertools import islice

import numpy as np

from rimwright.anatomy import Floats
from rimwright.errors import FileRefusal
from rimwright.imaging.number_text import as_doubles, parse_floats, shown
from rimwright.imaging.raw_shell import DAMAGED, check_declared

# Binary legacy files are big-endian. long is taken as 8 bytes (as written outside Windows);
# vtkIdType is written as int.
_TYPES = {
    b"char": "i1", b"unsigned_char": "u1", b"signed_char": "i1", b"vtktypeint8": "i1",
    b"vtktypeuint8": "u1", b"short": ">i2", b"unsigned_short": ">u2", b"vtktypeint16": ">i2",
    b"vtktypeuint16": ">u2", b"int": ">i4", b"unsigned_int": ">u4", b"vtktypeint32": ">i4",
    b"vtktypeuint32": ">u4", b"vtkidtype": ">i4", b"long": ">i8", b"unsigned_long": ">u8",
    b"vtktypeint64": ">i8", b"vtktypeuint64": ">u8", b"float": ">f4", b"double": ">f8",
}  # fmt: skip
_WORD = re.compile(rb"\S+")
_PARAGRAPH = re.compile(rb"\n[ \t\r]*\n")
_LONGEST_WORD = 256
_CHUNK_WORDS = 500_000


class VtkSource:
    """
    Words and numbers of a file.

    Parameters
    ----------
    data
        The whole file.
    at
        Where to begin.
    where
        The file, for the refusals.
    """

    def __init__(self, data: bytes, *, at: int, where: str) -> None:
        self._data = data
        self._at = at
        self._where = where
        self.is_binary = False

    def word(self) -> bytes:
        """The next word; empty at the end, or where none begins soon."""
        found = _WORD.search(self._data, self._at, min(self._at + _LONGEST_WORD, len(self._data)))
        if found is None:
            self._at = len(self._data)
            return b""
        self._at = found.end()
        return found.group()

    def skips(self, word: bytes) -> bool:
        """Pass over a word if the next line begins with it."""
        start = self._line_start()
        if self._data[start : start + len(word)] != word:
            return False
        self._at = start + len(word)
        return True

    def numbers(self, n: int, *, kind: bytes, what: str) -> Floats:
        """The next n numbers of a type; binary ones begin on the next line."""
        name = _TYPES.get(kind.lower())
        if name is None:
            raise FileRefusal(
                f"{what}: not a known type (got '{shown(kind)}')", self._where, DAMAGED
            )
        if not self.is_binary:
            return self._text_numbers(n, what=what)
        item = np.dtype(name)
        start = self._line_start()
        n_left = len(self._data) - start
        check_declared(n, item_bytes=item.itemsize, n_bytes=n_left, what=what, where=self._where)
        self._at = start + n * item.itemsize
        return as_doubles(np.frombuffer(self._data, item, count=n, offset=start))

    def skip_paragraph(self) -> None:
        """Go past the next empty line."""
        found = _PARAGRAPH.search(self._data, self._at)
        self._at = found.end() if found else len(self._data)

    def skip_strings(self, n: int) -> None:
        """Go past n strings of text; those of a binary file have a writing of their own."""
        if self.is_binary:
            raise FileRefusal(
                "strings in its fields cannot be passed over",
                self._where,
                "Export it without field data",
            )
        for found in islice(_WORD.finditer(self._data, self._at), n):
            self._at = found.end()

    def _text_numbers(self, n: int, *, what: str) -> Floats:
        """The next n words, as numbers."""
        n_left = len(self._data) - self._at
        # a number takes at least a space and a digit
        check_declared(n, item_bytes=2, n_bytes=n_left, what=what, where=self._where)
        found = _WORD.finditer(self._data, self._at)
        parts = []
        while n > 0:
            words = [match.group() for match in islice(found, min(n, _CHUNK_WORDS))]
            if not words:
                raise FileRefusal(
                    f"cut short or wrongly counted ({n:,} of its {what} are missing)",
                    self._where,
                    DAMAGED,
                )
            parts.append(parse_floats(b" ".join(words), what=what, where=self._where))
            n -= len(words)
        rest = next(found, None)
        self._at = rest.start() if rest is not None else len(self._data)
        return np.concatenate(parts) if parts else np.zeros(0)

    def _line_start(self) -> int:
        """Past the end of the line that the last word stands on."""
        end = self._data.find(b"\n", self._at, self._at + _LONGEST_WORD)
        return end + 1 if end >= 0 else len(self._data)
