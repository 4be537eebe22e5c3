"""What a compiled decoder writes to the error stream: taken as a sign of damage, and not shown."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager

_STDERR = 2


@contextmanager
def complaints() -> Iterator[Callable[[], bool]]:
    """
    Catch what is written to the error stream of the process meanwhile.

    Yields
    ------
    Callable[[], bool]
        Whether anything was written so far.

    Notes
    -----
    The decoder of JPEG lossless goes on behind damaged data, hands out pixels that are none, and
    tells of it nowhere else. The stream is turned away for the one call alone.
    """
    try:
        kept = os.dup(_STDERR)
    except OSError:  # a process without an error stream: nothing can be told, or shown
        yield lambda: False
        return
    try:
        with tempfile.TemporaryFile() as caught:
            os.dup2(caught.fileno(), _STDERR)
            try:
                yield lambda: os.fstat(caught.fileno()).st_size > 0
            finally:
                os.dup2(kept, _STDERR)
    finally:
        os.close(kept)
