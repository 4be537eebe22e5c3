"""Radial pictures on paper: one sheet of all half hours, and one leaf for each plane.

A sheet is of one kind and of one hip. The acetabular one takes planes of the socket only, the
femoral one planes of the neck only.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from rimwright.anatomy import spoken_hour
from rimwright.morphology.reformat import (
    AlphaAtHour,
    NeckPlane,
    RadialKind,
    SocketPlane,
    one_kind,
)
from rimwright.report.radial_panel import LABEL_HEIGHT, draw_panel, hour_words
from rimwright.report.radial_words import AnyPlanes, Line, SheetFacts, foot_lines, head_lines
from rimwright.report.raster import PAPER, font

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw

PAGE_WIDTH = 1654
"""Width of A4 at 200 dots an inch; twelve planes fill the sheet."""
COLUMNS = 3
PANEL, LEAF_PANEL = 498, 1000
"""Width of a picture on the sheet, and of the one on a leaf, pixels."""
MARGIN = 56


def acetabular_sheet(
    pictures: npt.NDArray[np.float32],
    planes: Sequence[SocketPlane],
    *,
    facts: SheetFacts,
    marks: bool = True,
) -> Image:
    """
    All acetabular pictures of one hip on a sheet.

    Parameters
    ----------
    pictures
        (n, h, w), of the planes.
    planes
        Planes of the socket; a plane of the neck is an error.
    facts
        Modality, window, slab.
    marks
        Whether sphere, axis and rim are drawn over the pictures.

    Returns
    -------
    Image
        In colour, as wide as A4.

    Raises
    ------
    TypeError
        A plane is not of the socket.
    """
    _demand(planes, RadialKind.ACETABULAR)
    return _sheet(pictures, planes, facts=facts, marks=marks, alpha=())


def femoral_sheet(
    pictures: npt.NDArray[np.float32],
    planes: Sequence[NeckPlane],
    *,
    facts: SheetFacts,
    marks: bool = True,
    alpha: Sequence[AlphaAtHour] = (),
) -> Image:
    """
    All femoral pictures of one hip on a sheet.

    Parameters
    ----------
    pictures
        (n, h, w), of the planes.
    planes
        Planes of the neck; a plane of the socket is an error.
    facts
        Modality, window, slab.
    marks
        Whether sphere, axis and alpha are drawn over the pictures.
    alpha
        Read on these planes.

    Returns
    -------
    Image
        In colour, as wide as A4.

    Raises
    ------
    TypeError
        A plane is not of the neck.
    """
    _demand(planes, RadialKind.FEMORAL)
    return _sheet(pictures, planes, facts=facts, marks=marks, alpha=alpha)


def radial_leaf(
    picture: npt.NDArray[np.float32],
    plane: SocketPlane | NeckPlane,
    *,
    facts: SheetFacts,
    marks: bool = False,
    alpha: Sequence[AlphaAtHour] = (),
) -> Image:
    """
    One radial picture, large, with the same words.

    Parameters
    ----------
    picture
        (h, w), of the plane.
    plane
        Where it lies.
    facts
        Modality, window, slab.
    marks
        Whether sphere, axis, rim or alpha are drawn over it.
    alpha
        Read on this plane.

    Returns
    -------
    Image
        In colour.
    """
    from PIL import Image, ImageDraw

    kind = one_kind([plane])
    width = LEAF_PANEL + 2 * MARGIN
    panel = draw_panel(
        facts.window.grey(picture),
        plane,
        size=LEAF_PANEL,
        marks=marks,
        alpha={item.femoral_hour: item.alpha for item in alpha},
    )
    hours = " / ".join(
        f"{spoken_hour(hour)} {hour_words(hour)}" for hour in (plane.hour, plane.opposite_hour)
    )
    head = head_lines(kind, [plane], facts, width=width - 2 * MARGIN, hours=hours)
    foot = foot_lines(kind, [plane], facts, width=width - 2 * MARGIN, marks=marks, alpha=alpha)
    height = _height(head) + panel.height + _height(foot) + 2 * MARGIN
    leaf = Image.new("RGB", (width, height), PAPER)
    pen = ImageDraw.Draw(leaf)
    top = _write(pen, head, MARGIN)
    leaf.paste(panel, (MARGIN, top))
    _write(pen, foot, top + panel.height)
    return leaf


def _demand(planes: AnyPlanes, kind: RadialKind) -> None:
    """Refuse planes of the other kind."""
    if one_kind(planes) is not kind:
        raise TypeError(
            f"this sheet is by {kind} hour: planes of the other kind are never mixed in"
        )


def _sheet(
    pictures: npt.NDArray[np.float32],
    planes: AnyPlanes,
    *,
    facts: SheetFacts,
    marks: bool,
    alpha: Sequence[AlphaAtHour],
) -> Image:
    """Head, panels in rows, foot."""
    from PIL import Image, ImageDraw

    kind = one_kind(planes)
    readings = {item.femoral_hour: item.alpha for item in alpha}
    panels = [
        draw_panel(facts.window.grey(picture), plane, size=PANEL, marks=marks, alpha=readings)
        for picture, plane in zip(pictures, planes, strict=True)
    ]
    inner = PAGE_WIDTH - 2 * MARGIN
    head = head_lines(kind, planes, facts, width=inner)
    foot = foot_lines(kind, planes, facts, width=inner, marks=marks, alpha=alpha)
    gap = (inner - COLUMNS * PANEL) // (COLUMNS - 1)
    rows = -(-len(panels) // COLUMNS)
    step = panels[0].height + 12
    height = _height(head) + rows * step + _height(foot) + 2 * MARGIN
    sheet = Image.new("RGB", (PAGE_WIDTH, height), PAPER)
    pen = ImageDraw.Draw(sheet)
    top = _write(pen, head, MARGIN)
    for place, panel in enumerate(panels):
        row, column = divmod(place, COLUMNS)
        sheet.paste(panel, (MARGIN + column * (PANEL + gap), top + row * step))
    _write(pen, foot, top + rows * step)
    return sheet


def _height(lines: Sequence[Line]) -> int:
    """Height of lines of text and the space after them, pixels."""
    return sum(round(1.35 * size) for _, size, _, _ in lines) + LABEL_HEIGHT // 3


def _write(pen: ImageDraw, lines: Sequence[Line], top: int) -> int:
    """Write lines of text; where the next thing begins."""
    y = top
    for words, size, bold, colour in lines:
        pen.text((MARGIN, y), words, font=font(size, bold=bold), fill=colour)
        y += round(1.35 * size)
    return y + LABEL_HEIGHT // 3
