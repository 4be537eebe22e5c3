"""From stored numbers to Hounsfield units or signal, in place and without wide copies."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from rimwright.imaging.scan.pixel_layout import PixelLayout
from rimwright.imaging.scan.slice_image import SliceImage

INT16 = np.iinfo(np.int16)
AIR_HU = -1024
"""Value of a voxel outside the scanner's field where padding would read as something denser, HU."""
AIRY_HU = -900
"""Padding at or under this value is left as it is: it reads as air already, HU."""


def stored_type(layout: PixelLayout, *, is_little_endian: bool) -> np.dtype[Any]:
    """
    Type of the stored numbers of an uncompressed file.

    Parameters
    ----------
    layout
        How pixels are stored.
    is_little_endian
        Byte order.

    Returns
    -------
    np.dtype[Any]
        Of 1, 2 or 4 bytes.
    """
    kind = "i" if layout.is_signed else "u"
    return np.dtype(f"{'<' if is_little_endian else '>'}{kind}{layout.bits_allocated // 8}")


def write_hounsfield(
    raw: npt.NDArray[Any], image: SliceImage, out: npt.NDArray[np.int16]
) -> tuple[int, int]:
    """
    Write a slice of a CT.

    Parameters
    ----------
    raw
        (rows, columns), stored numbers; not changed.
    image
        Slope, intercept, padding and bits.
    out
        (rows, columns), HU.

    Returns
    -------
    tuple[int, int]
        Voxels that were padding and became air, and voxels cut to the range of int16.
    """
    stored = _true_bits(raw, image.layout)
    slope, intercept = image.slope, image.intercept
    n_cut = 0
    if slope == int(slope) and intercept == int(intercept) and _fits(stored, image):
        # all that can come out fits: whole numbers, no copy
        same = stored.view(np.int16) if stored.itemsize == 2 else stored.astype(np.int16)
        if slope != 1:
            same = np.multiply(same, np.int16(slope), out=out)
        np.add(same, np.int16(intercept), out=out)
    else:
        values = np.rint(stored.astype(np.float64) * slope + intercept)
        cut = np.clip(values, INT16.min, INT16.max)
        n_cut = int(np.count_nonzero(cut != values))
        out[...] = cut
    return _pad(raw, image, out), n_cut


def write_signal(
    raw: npt.NDArray[Any], image: SliceImage, out: npt.NDArray[np.float32]
) -> tuple[int, int]:
    """
    Write a slice of an MR.

    Parameters
    ----------
    raw
        (rows, columns), stored numbers; not changed.
    image
        Slope, intercept, padding and bits.
    out
        (rows, columns).

    Returns
    -------
    tuple[int, int]
        Voxels that were padding and became 0, and 0: nothing is cut.
    """
    np.copyto(out, _true_bits(raw, image.layout), casting="unsafe")
    if image.slope != 1:
        out *= np.float32(image.slope)
    if image.intercept:
        out += np.float32(image.intercept)
    padding = _padding_mask(raw, image)
    if padding is None:
        return 0, 0
    out[padding] = 0
    return int(np.count_nonzero(padding)), 0


def _true_bits(raw: npt.NDArray[Any], layout: PixelLayout) -> npt.NDArray[Any]:
    """Numbers of the bits stored; bits above and below them may hold anything."""
    allocated = raw.dtype.itemsize * 8
    above = allocated - 1 - layout.high_bit
    if layout.bits_stored >= allocated or above < 0:
        return raw
    if layout.is_signed:
        return (raw << above) >> (allocated - layout.bits_stored)
    below = layout.high_bit + 1 - layout.bits_stored
    mask = raw.dtype.type((1 << layout.bits_stored) - 1)
    if not below and raw.max() <= mask:
        return raw
    return (raw >> below) & mask if below else raw & mask


def _fits(stored: npt.NDArray[Any], image: SliceImage) -> bool:
    """Whether every step from stored number to value stays within int16."""
    layout = image.layout
    if layout.bits_stored < 16:
        n = 1 << layout.bits_stored
        ends = (-(n >> 1), (n >> 1) - 1) if layout.is_signed else (0, n - 1)
        if _ends_fit(ends, image):
            return True
    return _ends_fit((int(stored.min()), int(stored.max())), image)


def _ends_fit(ends: tuple[int, int], image: SliceImage) -> bool:
    steps = [end * image.slope for end in ends]
    reached = [*ends, *steps, *(step + image.intercept for step in steps)]
    reached += [image.slope, image.intercept]
    return all(INT16.min <= number <= INT16.max for number in reached)


def _pad(raw: npt.NDArray[Any], image: SliceImage, out: npt.NDArray[np.int16]) -> int:
    """Make padding air where it would read as something denser."""
    padding = image.layout.padding
    if padding is None or max(p * image.slope + image.intercept for p in padding) <= AIRY_HU:
        return 0
    outside = _padding_mask(raw, image)
    if outside is None:
        return 0
    out[outside] = AIR_HU
    return int(np.count_nonzero(outside))


def _padding_mask(raw: npt.NDArray[Any], image: SliceImage) -> npt.NDArray[np.bool_] | None:
    """Where padding stands; None where there is none."""
    padding = image.layout.padding
    if padding is None:
        return None
    low, high = padding
    mask: npt.NDArray[np.bool_] = (raw == low) if low == high else (raw >= low) & (raw <= high)
    return mask if mask.any() else None
