"""Compressed slices: which transfer syntaxes are read, and by which named decoder."""

from __future__ import annotations

from collections.abc import Iterator
from importlib.util import find_spec
from typing import Any

import numpy as np
import numpy.typing as npt
from pydicom.encaps import encapsulate, generate_frames
from pydicom.pixels.decoders.base import get_decoder
from pydicom.uid import UID

from rimwright.imaging.scan.codestream import check_codestream
from rimwright.imaging.scan.complaints import complaints
from rimwright.imaging.scan.damage import DAMAGE, Unfit
from rimwright.imaging.scan.dicom_header import NATIVE
from rimwright.imaging.scan.pixel_layout import PixelLayout

# Named one by one: left alone, the library takes whichever decoder it finds first, and that is
# slower for JPEG-LS and ten times slower for RLE.
_JPEG = "1.2.840.10008.1.2.4"
PLUG_INS = {
    "1.2.840.10008.1.2.5": "pylibjpeg",
    f"{_JPEG}.57": "gdcm",
    f"{_JPEG}.70": "gdcm",
    f"{_JPEG}.80": "pyjpegls",
    f"{_JPEG}.81": "pyjpegls",
    f"{_JPEG}.90": "pylibjpeg",
    f"{_JPEG}.91": "pylibjpeg",
}
_LOSSY_8_BIT = {f"{_JPEG}.50", f"{_JPEG}.51"}
_HAS_RLE_AND_J2K = (
    find_spec("pylibjpeg") is not None
    and find_spec("openjpeg") is not None
    and find_spec("rle") is not None
)
_INSTALLED = {
    "gdcm": find_spec("gdcm") is not None,
    "pyjpegls": find_spec("jpeg_ls") is not None,
    "pylibjpeg": _HAS_RLE_AND_J2K,
}
"""Whether the libraries of a decoder are there."""


def check_syntax(syntax: str) -> None:
    """
    Check that slices of a transfer syntax can be read.

    Parameters
    ----------
    syntax
        Its identifier.

    Raises
    ------
    Unfit
        Not known, with loss, or its decoder is not installed.
    """
    plug_in = PLUG_INS.get(syntax)
    if syntax in NATIVE:
        return
    if syntax in _LOSSY_8_BIT:
        raise Unfit("packed as JPEG with loss", "Export it unpacked or packed without loss")
    if plug_in is None:
        raise Unfit(
            "its transfer syntax is not read",
            "Export it unpacked, or as JPEG lossless, JPEG-LS, JPEG 2000 or RLE",
        )
    if not _INSTALLED[plug_in]:
        raise Unfit(f"its decoder {plug_in} is not installed", "Install the package again")


def is_near_lossless(syntax: str) -> bool:
    """Whether a transfer syntax may have changed the pixels."""
    return syntax in {f"{_JPEG}.81", f"{_JPEG}.91"}


def split_frames(fragments: bytes, *, n_frames: int) -> Iterator[bytes]:
    """
    Give the packed images of a file one after the other.

    Parameters
    ----------
    fragments
        The pixels of the file as they stand in it.
    n_frames
        Images in it.

    Yields
    ------
    bytes
        One packed image each.

    Raises
    ------
    Unfit
        The fragments are damaged or too few.
    """
    frames = generate_frames(fragments, number_of_frames=n_frames)
    for _ in range(n_frames):
        try:
            frame = next(frames, None)
        except DAMAGE:
            raise Unfit("its packed pixels are damaged or cut short") from None
        if frame is None:
            raise Unfit("it holds fewer packed images than it says")
        yield frame


def decode_frame(frame: bytes, *, syntax: str, layout: PixelLayout) -> npt.NDArray[Any]:
    """
    Unpack one image.

    Parameters
    ----------
    frame
        Packed.
    syntax
        Its transfer syntax.
    layout
        What the header says of it.

    Returns
    -------
    npt.NDArray[Any]
        (rows, columns), whole numbers as stored.

    Raises
    ------
    Unfit
        Damaged, or of another size than the header says.
    """
    check_codestream(frame, syntax=syntax, layout=layout)
    options: dict[str, Any] = {
        "rows": layout.rows,
        "columns": layout.columns,
        "number_of_frames": 1,
        "samples_per_pixel": 1,
        "photometric_interpretation": "MONOCHROME2",
        "bits_allocated": layout.bits_allocated,
        "bits_stored": layout.bits_stored,
        "pixel_representation": int(layout.is_signed),
        "pixel_keyword": "PixelData",
    }
    decoder = get_decoder(UID(syntax))
    with complaints() as complained:
        try:
            pixels, _ = decoder.as_array(
                encapsulate([frame]), raw=True, decoding_plugin=PLUG_INS[syntax], **options
            )
        except DAMAGE:
            raise Unfit("its packed pixels are damaged or cut short") from None
        if complained():
            raise Unfit("its packed pixels are damaged: the decoder complains")
    if pixels.shape != (layout.rows, layout.columns) or pixels.dtype.kind not in "iu":
        raise Unfit("its packed pixels are of another size than the header says")
    return np.asarray(pixels)
