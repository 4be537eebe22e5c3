"""Pictures made of pixels: paper, words and lines, and how they become a PNG."""

from __future__ import annotations

import io
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from rimwright.report.palette import LIGHT
from rimwright.report.pdf_page import font_folders

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageFont import FreeTypeFont, ImageFont

DOTS_PER_INCH = 200
"""Of a page: 1654 pixels are the width of A4."""
QUICK = 2
"""How hard a PNG is packed: grey noise packs no better for three times the time."""
PAPER, INK, QUIET = LIGHT["paper"], LIGHT["ink"], LIGHT["quiet"]


@cache
def font(size: int, *, bold: bool = False) -> FreeTypeFont | ImageFont:
    """
    The sans serif of the report.

    Parameters
    ----------
    size
        Pixels.
    bold
        Whether it is the bold one.

    Returns
    -------
    font
        DejaVu Sans, as matplotlib brings it; Pillow's own where that is not installed.
    """
    from PIL import ImageFont

    for folder in font_folders():
        file = Path(folder) / ("DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf")
        if file.is_file():
            return ImageFont.truetype(str(file), size)
    return ImageFont.load_default(size)


def wrapped(words: str, *, size: int, width: float, bold: bool = False) -> list[str]:
    """
    Break words into lines of at most so many pixels.

    Parameters
    ----------
    words
        A sentence or more.
    size
        Of the font, pixels.
    width
        Of the line, pixels.
    bold
        Whether it is the bold font.

    Returns
    -------
    list of str
        Lines; a word alone may stand out.
    """
    lines: list[str] = []
    for word in words.split():
        if lines and font(size, bold=bold).getlength(f"{lines[-1]} {word}") <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def png_bytes(image: Image) -> bytes:
    """
    An image as a PNG file: its pixels and its size in print, and nothing else.

    Parameters
    ----------
    image
        Grey or in colour.

    Returns
    -------
    bytes
        The same for the same pixels.
    """
    buffer = io.BytesIO()
    image.save(buffer, format="PNG", dpi=(DOTS_PER_INCH, DOTS_PER_INCH), compress_level=QUICK)
    return buffer.getvalue()
