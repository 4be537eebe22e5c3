"""How many bytes a run-length packed segment unpacks to; decoders trust it and should not."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit


@njit(cache=True, nogil=True)
def unpacked_bytes(data: npt.NDArray[np.uint8], start: int, end: int) -> Any:
    """
    Count the bytes that a segment unpacks to.

    Parameters
    ----------
    data
        (n,), packed bytes.
    start, end
        Where the segment lies in them.

    Returns
    -------
    Any
        The count; −1 where the segment ends inside a run.

    Notes
    -----
    A byte n up to 127 is followed by n + 1 bytes as they are, one above 128 by a byte that
    stands 257 − n times, 128 by nothing. A single byte 0 may fill the segment up to an even
    length. Source: DICOM PS3.5, annex G.3.
    """
    position, count = start, 0
    while position < end:
        head = data[position]
        if head == 0 and position == end - 1:
            break
        if head < 128:
            count += head + 1
            position += head + 2
        elif head > 128:
            count += 257 - head
            position += 2
        else:
            position += 1
    return count if position <= end else -1
