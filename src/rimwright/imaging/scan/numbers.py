"""Numbers of a volume from a stream, part by part, never more memory than the file fills."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from rimwright.imaging.scan.byte_streams import Readable
from rimwright.imaging.scan.damage import Unfit

MAX_TEXT_BYTES = 64 * 1024**2
"""Bytes of numbers written as text; each takes ten times as much in memory meanwhile."""
_PIECE_BYTES = 4 * 1024**2


def read_numbers(stream: Readable, *, n: int, kind: np.dtype[Any]) -> npt.NDArray[Any]:
    """
    Read numbers into an array of the machine's own byte order.

    Parameters
    ----------
    stream
        At the first of them.
    n
        How many.
    kind
        Their type as stored.

    Returns
    -------
    npt.NDArray[Any]
        (n,).

    Raises
    ------
    Unfit
        The stream ends before.
    """
    # the memory is only taken as it is written, so a header that promises more than the file
    # holds costs nothing
    numbers = np.empty(n, dtype=kind)
    target = numbers.view(np.uint8).data
    at = 0
    while at < len(target):
        piece = stream.read(min(_PIECE_BYTES, len(target) - at))
        if not piece:
            raise Unfit(
                f"cut short (its header declares {len(target):,} bytes of numbers, it holds {at:,})"
            )
        target[at : at + len(piece)] = piece
        at += len(piece)
    if not kind.isnative:
        numbers = numbers.byteswap(inplace=True).view(kind.newbyteorder("="))
    return numbers


def read_text_numbers(
    stream: Readable, *, n: int, kind: np.dtype[Any], n_bytes: int
) -> npt.NDArray[Any]:
    """
    Read numbers written as text.

    Parameters
    ----------
    stream
        At the first of them.
    n
        How many.
    kind
        Their type.
    n_bytes
        Bytes of text there.

    Returns
    -------
    npt.NDArray[Any]
        (n,).

    Raises
    ------
    Unfit
        Too few, or not numbers.
    """
    if n_bytes > MAX_TEXT_BYTES or 2 * n - 1 > n_bytes + 1:
        raise Unfit("its text holds fewer numbers than its header says, or is too long")
    text = bytearray()
    while piece := stream.read(_PIECE_BYTES):
        text += piece
    words = bytes(text).split()
    if len(words) < n:
        raise Unfit(f"cut short (its header declares {n:,} numbers, it holds {len(words):,})")
    try:
        numbers = np.array(words[:n], dtype="S32").astype(np.float64)
    except ValueError:
        raise Unfit("its text is not made of numbers") from None
    limits = np.iinfo(kind) if kind.kind in "iu" else np.finfo(kind)
    if not np.isfinite(numbers).all() or np.abs(numbers).max() > limits.max:
        raise Unfit("its numbers are out of range of their kind")
    return numbers.astype(kind.newbyteorder("="))
