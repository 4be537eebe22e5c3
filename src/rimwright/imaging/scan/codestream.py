"""The size that packed pixels state of themselves, read before a decoder sets memory aside."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from rimwright.imaging.scan.damage import Unfit
from rimwright.imaging.scan.lossless_jpeg import is_sound_jpeg
from rimwright.imaging.scan.pixel_layout import PixelLayout
from rimwright.imaging.scan.run_lengths import unpacked_bytes

_RLE = "1.2.840.10008.1.2.5"
_JPEG_LOSSLESS = {"1.2.840.10008.1.2.4.57", "1.2.840.10008.1.2.4.70"}
_JPEG_2000 = {"1.2.840.10008.1.2.4.90", "1.2.840.10008.1.2.4.91"}
_SOI, _SIZE_MARKS = b"\xff\xd8", {0xC3, 0xF7}
"""Start of a JPEG or JPEG-LS image; marks of the frame headers of both, lossless."""
_END, _END_BYTES = b"\xff\xd9", 16
"""End of a JPEG or JPEG-LS image, and the last bytes among which it stands: some
programs fill up behind it."""
_J2K = b"\xff\x4f\xff\x51"
"""Start of a JPEG 2000 code stream and of its size segment."""
_JP2 = b"\0\0\0\x0cjP  "
_MAX_TILES = 4096
"""Tiles of one image; a decoder sets memory aside for each."""


def check_codestream(frame: bytes, *, syntax: str, layout: PixelLayout) -> None:
    """
    Compare the size packed pixels state of themselves with that of the header.

    Parameters
    ----------
    frame
        Packed pixels of one image.
    syntax
        Transfer syntax.
    layout
        What the header says.

    Raises
    ------
    Unfit
        The two differ, there is more than one colour, or no size is stated.
    """
    if syntax == _RLE:
        _check_rle(frame, layout)
        return
    size = _size_of_j2k(frame) if syntax in _JPEG_2000 else _size_of_jpeg(frame)
    if size is None:
        raise Unfit("its packed pixels are damaged: they state no size")
    if syntax not in _JPEG_2000 and _END not in frame[-_END_BYTES:]:
        # decoders fill up what is missing, or search for it for seconds
        raise Unfit("its packed pixels are cut short")
    if syntax in _JPEG_LOSSLESS and not is_sound_jpeg(frame):
        raise Unfit("its packed pixels are damaged: their segments do not fit")
    if size != (layout.rows, layout.columns, 1):
        raise Unfit(
            f"its packed pixels are of another size than the header says (got {size[1]}×{size[0]} "
            f"with {size[2]} colours, need {layout.columns}×{layout.rows} with 1)"
        )


def _check_rle(frame: bytes, layout: PixelLayout) -> None:
    """One segment for each byte of a pixel, each beginning inside the frame."""
    n_segments = int.from_bytes(frame[:4], "little")
    starts = [
        int.from_bytes(frame[4 + 4 * i : 8 + 4 * i], "little") for i in range(n_segments % 16)
    ]
    is_sound = len(frame) >= 64 and n_segments == layout.bits_allocated // 8
    if not is_sound or any(not 64 <= start <= len(frame) for start in starts):
        raise Unfit("its packed pixels are damaged: their segments do not fit")
    data = np.frombuffer(frame, dtype=np.uint8)
    for start, end in pairwise([*starts, len(frame)]):
        if unpacked_bytes(data, start, end) != layout.rows * layout.columns:
            raise Unfit("its packed pixels are damaged or cut short")


def _size_of_jpeg(frame: bytes) -> tuple[int, int, int] | None:
    """Rows, columns and colours of a JPEG or JPEG-LS image."""
    if frame[:2] != _SOI:
        return None
    position = 2
    while position + 9 < len(frame) and frame[position] == 0xFF:
        mark = frame[position + 1]
        if mark == 0xFF:
            position += 1
            continue
        if mark in _SIZE_MARKS:
            rows, columns = _number(frame, position + 5, 2), _number(frame, position + 7, 2)
            return rows, columns, frame[position + 9]
        if mark == 0xDA or (0xC0 <= mark <= 0xCF and mark not in {0xC4, 0xC8, 0xCC}):
            return None
        position += 2 + max(2, _number(frame, position + 2, 2))
    return None


def _size_of_j2k(frame: bytes) -> tuple[int, int, int] | None:
    """Rows, columns and colours of a JPEG 2000 image."""
    at = frame.find(_J2K, 0, 256)
    if at < 0 or (at and not frame.startswith(_JP2)) or len(frame) < at + 44:
        return None
    numbers = [_number(frame, at + 8 + 4 * i, 4) for i in range(8)]
    right, bottom, left, top, tile_width, tile_height, _, _ = numbers
    columns, rows = right - left, bottom - top
    if min(columns, rows, tile_width, tile_height) <= 0:
        return None
    if -(-columns // tile_width) * -(-rows // tile_height) > _MAX_TILES:
        return None
    return rows, columns, _number(frame, at + 40, 2)


def _number(data: bytes, at: int, n_bytes: int) -> int:
    """A big-endian number."""
    return int.from_bytes(data[at : at + n_bytes], "big")
