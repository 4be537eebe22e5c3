"""How the pixels of a DICOM file are stored: size, bits, sign and padding."""

from __future__ import annotations

from collections.abc import Set
from dataclasses import dataclass

from rimwright.imaging.scan.damage import Unfit
from rimwright.imaging.scan.elements import Elements
from rimwright.imaging.scan.limits import MAX_FRAMES, MAX_SIDE

_BITS = frozenset({8, 16, 32})
_GREY = frozenset({"", "MONOCHROME1", "MONOCHROME2"})


@dataclass(frozen=True, slots=True, kw_only=True)
class PixelLayout:
    """
    How the pixels of a file are stored.

    Parameters
    ----------
    rows, columns
        Size of one image.
    n_frames
        Images in the file.
    bits_allocated, bits_stored, high_bit
        Bits of a pixel, of its number, and where the number ends.
    is_signed
        Whether numbers are two's complement.
    padding
        Lowest and highest stored number that stands for 'outside the field'; None: there is none.
    """

    rows: int
    columns: int
    n_frames: int
    bits_allocated: int
    bits_stored: int
    high_bit: int
    is_signed: bool
    padding: tuple[int, int] | None


def read_layout(
    elements: Elements, *, bits: Set[int] = _BITS, shown_as: Set[str] = _GREY
) -> PixelLayout:
    """
    Read how the pixels are stored.

    Parameters
    ----------
    elements
        Of the file.
    bits
        Bits of a pixel that are accepted.
    shown_as
        Ways to show the numbers that are accepted.

    Returns
    -------
    PixelLayout
        Checked against the limits.

    Raises
    ------
    Unfit
        A tag is missing or says something impossible.
    """
    rows, columns = _needed(elements, "Rows"), _needed(elements, "Columns")
    if not (0 < rows <= MAX_SIDE and 0 < columns <= MAX_SIDE):
        raise Unfit(f"its size is out of range (got {columns}×{rows}, need 1 to {MAX_SIDE})")
    samples = elements.count("SamplesPerPixel")
    shown = elements.text("PhotometricInterpretation")
    if samples not in {None, 1} or shown not in shown_as:
        raise Unfit("a colour image")
    allocated, stored = _needed(elements, "BitsAllocated"), _needed(elements, "BitsStored")
    high_bit = elements.count("HighBit")
    high_bit = stored - 1 if high_bit is None else high_bit
    sign = elements.count("PixelRepresentation")
    if sign not in {0, 1}:
        raise Unfit("PixelRepresentation is missing or neither 0 nor 1")
    if allocated not in bits or not 0 < stored <= high_bit + 1 <= allocated:
        raise Unfit(
            f"its pixels are stored in a way that is not read (got {stored} bits up to bit "
            f"{high_bit} of {allocated})"
        )
    n_frames = elements.whole("NumberOfFrames")
    n_frames = 1 if n_frames is None else n_frames
    if not 0 < n_frames <= MAX_FRAMES:
        raise Unfit(
            f"its number of frames is out of range (got {n_frames}, need 1 to {MAX_FRAMES})"
        )
    return PixelLayout(
        rows=rows,
        columns=columns,
        n_frames=n_frames,
        bits_allocated=allocated,
        bits_stored=stored,
        high_bit=high_bit,
        is_signed=sign == 1,
        padding=_padding(elements, is_signed=sign == 1),
    )


def _needed(elements: Elements, name: str) -> int:
    """A count without which the pixels cannot be read."""
    count = elements.count(name)
    if count is None:
        raise Unfit(f"{name} is missing")
    return count


def _padding(elements: Elements, *, is_signed: bool) -> tuple[int, int] | None:
    """Range of stored numbers that stand for 'outside the field'."""
    ends = []
    for name in ("PixelPaddingValue", "PixelPaddingRangeLimit"):
        value = elements.raw(name)
        if value is not None and len(value) in {2, 4}:
            ends.append(int.from_bytes(value, elements.order, signed=is_signed))
    return (min(ends), max(ends)) if ends else None
