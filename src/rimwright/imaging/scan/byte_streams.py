"""Streams of bytes that are read once: hashed on the way, inflated under a limit."""

from __future__ import annotations

import hashlib
import zlib
from collections import deque
from concurrent.futures import Future, ThreadPoolExecutor
from typing import BinaryIO, Protocol

from rimwright.imaging.scan.damage import Unfit
from rimwright.imaging.scan.limits import MAX_ARCHIVE_RATIO, MAX_MEMBER_BYTES, RATIO_FREE_BYTES

Buffer = bytes | memoryview
WHOLE_FILE_BYTES = 8 * 1024**2
"""A file this small is taken into memory in one go."""
_PIECE_BYTES = 1024**2
_MAX_WAITING = 4
"""Pieces that wait for their hash, so that memory stays small where reading is faster."""


class Readable(Protocol):
    """Whatever gives its next bytes."""

    def read(self, n: int, /) -> Buffer:
        """Up to n bytes; fewer only at the end."""
        ...


class Digests:
    """
    SHA-256 of files, worked out beside the reading by one thread.

    Hashing takes a third of the time that reading takes, and Python's hash lets go of the lock.
    """

    def __init__(self) -> None:
        self._worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="digest")
        self._waiting: deque[Future[None]] = deque()
        self._hashes: list[hashlib._Hash] = []

    def __enter__(self) -> Digests:
        return self

    def __exit__(self, *stopped_by: object) -> None:
        self._worker.shutdown(wait=True, cancel_futures=True)

    def stream(self, raw: BinaryIO, *, n_bytes: int) -> HashedStream:
        """A file whose bytes count."""
        content = hashlib.sha256()
        self._hashes.append(content)
        return HashedStream(raw, n_bytes=n_bytes, digests=self, content=content)

    def add(self, content: hashlib._Hash, piece: Buffer) -> None:
        """Let a piece count; waits where too many pieces do."""
        self._waiting.append(self._worker.submit(content.update, piece))
        while len(self._waiting) > _MAX_WAITING:
            self._waiting.popleft().result()

    def total(self) -> str:
        """The file's own digest, or for several that of their sorted digests."""
        while self._waiting:
            self._waiting.popleft().result()
        if len(self._hashes) == 1:
            return self._hashes[0].hexdigest()
        return hashlib.sha256(b"".join(sorted(h.digest() for h in self._hashes))).hexdigest()


class HashedStream:
    """A file that is read once from its beginning; small ones without a copy."""

    def __init__(
        self, raw: BinaryIO, *, n_bytes: int, digests: Digests, content: hashlib._Hash
    ) -> None:
        self._raw = raw
        self._digests = digests
        self._content = content
        self._whole: memoryview | None = None
        self._position = 0
        if n_bytes <= WHOLE_FILE_BYTES:
            whole = raw.read(WHOLE_FILE_BYTES + 1)
            self._whole = memoryview(whole)
            digests.add(content, whole)

    def read(self, n: int, /) -> Buffer:
        """The next n bytes, fewer only at the end."""
        if self._whole is not None:
            piece = self._whole[self._position : self._position + n]
            self._position += len(piece)
            return piece
        data = self._raw.read(n)
        self._digests.add(self._content, data)
        return data

    def finish(self) -> None:
        """Let what is left count too."""
        while self._whole is None and self.read(_PIECE_BYTES):
            pass


class InflatedStream:
    """
    Bytes that a stream unpacks to, never more at once than asked for.

    Parameters
    ----------
    packed
        Where the packed bytes come from.
    window_bits
        As zlib wants it: −15 for a bare stream, 31 for gzip, 15 for zlib.
    """

    def __init__(self, packed: Readable, *, window_bits: int) -> None:
        self._packed = packed
        self._window_bits = window_bits
        self._inflate = zlib.decompressobj(window_bits)
        self._n_in = 0
        self._n_out = 0

    def read(self, n: int, /) -> bytes:
        """The next n bytes, fewer only at the end; Unfit where it unpacks out of proportion."""
        parts: list[bytes] = []
        while n > 0:
            waiting = self._inflate.unconsumed_tail
            if self._inflate.eof:
                if self._window_bits <= 15 or not (waiting := self._inflate.unused_data):
                    break
                if not waiting.startswith(b"\x1f\x8b"):
                    break
                self._inflate = zlib.decompressobj(self._window_bits)  # gzip: one after another
            elif not waiting:
                waiting = bytes(self._packed.read(64 * 1024))
                self._n_in += len(waiting)
                if not waiting:
                    break
            part = self._inflate.decompress(waiting, min(n, _PIECE_BYTES))
            self._n_out += len(part)
            limit = max(RATIO_FREE_BYTES, MAX_ARCHIVE_RATIO * self._n_in)
            if self._n_out > min(limit, MAX_MEMBER_BYTES):
                raise Unfit(
                    f"unpacks out of proportion (got over {MAX_ARCHIVE_RATIO} bytes for each "
                    f"packed one, or over {MAX_MEMBER_BYTES:,})"
                )
            n -= len(part)
            parts.append(part)
        return parts[0] if len(parts) == 1 else b"".join(parts)

    @property
    def is_complete(self) -> bool:
        """Whether the packed stream came to its own end."""
        return self._inflate.eof


def skip(stream: Readable, n: int) -> None:
    """Read past n bytes."""
    while n > 0 and (piece := stream.read(min(n, _PIECE_BYTES))):
        n -= len(piece)
