"""Streams of bytes that are read once: hashed on the way, inflated under a limit."""

from __future__ import annotations

import hashlib
import zlib
from collections import deque
from concurrent.futures import Future, ThreadPoolExecutor
from typing import BinaryIO, Protocol

from rimwright.imaging.scan.damage import Unfit
from rimwright.imaging.scan.limits import (
    MAX_MEMBER_BYTES,
    MAX_SURPLUS_BYTES,
    RATIO_FREE_BYTES,
)

Buffer = bytes | memoryview
BLOCK_BYTES = 4 * 1024**2
"""Bytes that are read in one go."""
_PIECE_BYTES = 1024**2
_RING = 4
"""Blocks in memory: one is read from while others wait for their hash."""


class Readable(Protocol):
    """Whatever gives its next bytes."""

    def read(self, n: int, /) -> Buffer:
        """Up to n bytes; fewer only at the end."""
        ...


class Digests:
    """
    SHA-256 of files, worked out beside the reading by one thread.

    Python's hash lets go of the interpreter's lock, so the second core does the work.
    """

    def __init__(self) -> None:
        self._worker = ThreadPoolExecutor(max_workers=1, thread_name_prefix="digest")
        self._hashes: list[hashlib._Hash] = []
        # a ring of buffers: fresh memory for each file would cost as much as reading it
        self._ring: deque[tuple[Future[None] | None, bytearray]] = deque(
            (None, bytearray()) for _ in range(_RING)
        )

    def __enter__(self) -> Digests:
        return self

    def __exit__(self, *stopped_by: object) -> None:
        self._worker.shutdown(wait=True, cancel_futures=True)

    def stream(self, raw: BinaryIO, *, n_bytes: int) -> HashedStream:
        """A file whose bytes count."""
        content = hashlib.sha256()
        self._hashes.append(content)
        return HashedStream(raw, n_bytes=n_bytes, digests=self, content=content)

    def fill(self, raw: BinaryIO, n_bytes: int, content: hashlib._Hash) -> memoryview:
        """The next block of at most n bytes; its buffer is used again a few blocks later."""
        future, buffer = self._ring.popleft()
        if future is not None:
            future.result()
            future = None
        if len(buffer) < n_bytes:
            buffer = bytearray(n_bytes)
        view = memoryview(buffer)
        n = 0
        while n < n_bytes and (more := raw.readinto(view[n:n_bytes])):  # type: ignore[attr-defined]
            n += more
        if n:
            future = self._worker.submit(content.update, view[:n])
        self._ring.append((future, buffer))
        return view[:n]

    def total(self) -> str:
        """The file's own digest, or for several that of their sorted digests."""
        for future, _ in self._ring:
            if future is not None:
                future.result()
        if len(self._hashes) == 1:
            return self._hashes[0].hexdigest()
        return hashlib.sha256(b"".join(sorted(h.digest() for h in self._hashes))).hexdigest()


class HashedStream:
    """
    A file that is read once from its beginning, all its bytes counted.

    Parameters
    ----------
    raw
        The file.
    n_bytes
        Its size, as far as known; it may be another.
    digests
        Whose buffers are filled.
    content
        Hash of this file.
    """

    def __init__(
        self, raw: BinaryIO, *, n_bytes: int, digests: Digests, content: hashlib._Hash
    ) -> None:
        self._raw = raw
        self._digests = digests
        self._content = content
        self._block_bytes = min(max(n_bytes, 1), BLOCK_BYTES)
        self._block = memoryview(b"")

    def read(self, n: int, /) -> Buffer:
        """The next n bytes, fewer only at the end; a view that a later read writes over."""
        if 0 < n <= len(self._block):
            return self._take(n)
        parts: list[bytes] = []
        while n > 0:
            if not self._block:
                self._block = self._digests.fill(self._raw, self._block_bytes, self._content)
                if not self._block:
                    break
                if not parts and n <= len(self._block):
                    return self._take(n)
            part = bytes(self._take(min(n, len(self._block))))
            parts.append(part)
            n -= len(part)
        return b"".join(parts)

    def finish(self) -> None:
        """Let what is left count too."""
        self._block = memoryview(b"")
        while self._digests.fill(self._raw, self._block_bytes, self._content):
            pass

    def _take(self, n: int) -> memoryview:
        piece, self._block = self._block[:n], self._block[n:]
        return piece


class InflatedStream:
    """
    Bytes that a stream unpacks to, never more at once than asked for.

    Parameters
    ----------
    packed
        Where the packed bytes come from.
    window_bits
        As zlib wants it: −15 for a bare stream, 31 for gzip, 15 for zlib.
    max_ratio
        Most bytes out for each byte in, past the first few; None where the reader knows how
        much to ask for.
    """

    def __init__(self, packed: Readable, *, window_bits: int, max_ratio: int | None = None) -> None:
        self._packed = packed
        self._window_bits = window_bits
        self._max_ratio = max_ratio
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
            try:
                part = self._inflate.decompress(waiting, min(n, _PIECE_BYTES))
            except zlib.error:
                raise Unfit("its packed bytes are damaged") from None
            self._n_out += len(part)
            self._check_ratio()
            n -= len(part)
            parts.append(part)
        return parts[0] if len(parts) == 1 else b"".join(parts)

    def check_end(self) -> None:
        """Unfit where the stream does not end here, by its own word and checksum."""
        if self.read(MAX_SURPLUS_BYTES + 1)[MAX_SURPLUS_BYTES:]:
            raise Unfit("holds more numbers than its header declares")
        if not self._inflate.eof:
            raise Unfit("its packed numbers are damaged or cut short")

    def _check_ratio(self) -> None:
        """Refuse a stream that unpacks to far more than any image does."""
        if self._max_ratio is None:
            return
        limit = max(RATIO_FREE_BYTES, self._max_ratio * self._n_in)
        if self._n_out > min(limit, MAX_MEMBER_BYTES):
            raise Unfit(
                f"unpacks out of proportion (got over {self._max_ratio} bytes for each packed "
                f"one, or over {MAX_MEMBER_BYTES:,})"
            )


class Joined:
    """
    Bytes already read, and the stream they came from.

    Parameters
    ----------
    head
        Come first.
    rest
        What follows them.
    """

    def __init__(self, head: bytes, rest: Readable) -> None:
        self._head = head
        self._rest = rest

    def read(self, n: int, /) -> bytes:
        """The next n bytes, fewer only at the end."""
        piece, self._head = self._head[:n], self._head[n:]
        return piece if len(piece) == n else piece + bytes(self._rest.read(n - len(piece)))


def skip(stream: Readable, n: int) -> None:
    """Read past n bytes."""
    while n > 0 and (piece := stream.read(min(n, _PIECE_BYTES))):
        n -= len(piece)
