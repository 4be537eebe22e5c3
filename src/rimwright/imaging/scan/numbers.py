"""Numbers of a volume from a stream, part by part, never more memory than the file fills."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from rimwright.imaging.scan.byte_streams import Readable
from rimwright.imaging.scan.damage import Unfit

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
    target = memoryview(numbers.view(np.uint8))
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
