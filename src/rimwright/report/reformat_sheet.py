"""Radial pictures on paper: one sheet of all half hours, and one leaf for each plane.

A sheet is of one kind and of one hip. The acetabular one takes planes of the socket only, the
femoral one planes of the neck only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from rimwright.anatomy import Modality, Status, spoken_hour
from rimwright.morphology.reformat import (
    AlphaAtHour,
    NeckPlane,
    RadialKind,
    SlabKind,
    SocketPlane,
    one_kind,
    side_of,
)
from rimwright.report.grey_window import GreyWindow
from rimwright.report.radial_panel import LABEL_HEIGHT, draw_panel, hour_words
from rimwright.report.raster import INK, PAPER, QUIET, font, wrapped
from rimwright.report.wording import NOTICE, STATUS_SHAPES, side_words

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw

PAGE_WIDTH = 1654
"""Width of A4 at 200 dots an inch; twelve planes fill the sheet."""
COLUMNS = 3
PANEL, LEAF_PANEL = 498, 1000
"""Width of a picture on the sheet, and of the one on a leaf, pixels."""
MARGIN = 56
TITLE_SIZE, TEXT_SIZE, FOOT_SIZE = 38, 24, 21

Line = tuple[str, int, bool, str]
"""Words, size, bold, colour."""
AnyPlanes = Sequence[SocketPlane] | Sequence[NeckPlane] | Sequence[SocketPlane | NeckPlane]
"""Of one kind, as `one_kind` holds."""

KIND_WORDS = {
    RadialKind.ACETABULAR: ("ACETABULAR hours", "planes through the opening axis of the socket"),
    RadialKind.FEMORAL: ("FEMORAL hours", "planes through the axis of the femoral neck"),
}
SEEN_FROM = (
    "Above each picture the hour of its upper half, below it that of its lower half. Seen from "
    "three hours on: 12:00 as a coronal image from the front, 3:00 as an axial image from below."
)
LEGENDS = {
    RadialKind.ACETABULAR: "Marks: blue dashes, sphere of the socket; yellow dashes, opening axis; "
    "orange ring, bony rim at that hour (none in the notch).",
    RadialKind.FEMORAL: "Marks: blue dashes, sphere of the head; yellow dashes, neck axis; orange "
    "line, where the outline leaves the sphere. "
    "Alpha is read on the plane itself, not on a slab; "
    f"{STATUS_SHAPES[Status.CAUTION]} read with caution, {STATUS_SHAPES[Status.REFUSED]} not read.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetFacts:
    """
    What a sheet says of its pictures besides where they lie.

    Parameters
    ----------
    modality
        What they were made from.
    window
        Shown range of greys.
    slab_mm, slab
        Thickness, 0 for the plane alone, and what is shown of it.
    name
        A word for the case, printed at the head; nothing is taken from the images.
    notes
        Further doubts, in words.
    """

    modality: Modality
    window: GreyWindow
    slab_mm: float = 0.0
    slab: SlabKind = SlabKind.MEAN
    name: str = ""
    notes: tuple[str, ...] = ()

    def words(self) -> str:
        """Modality, slab and window on one line."""
        slab = (
            f"slab of {self.slab_mm:g} mm, {self.slab}" if self.slab_mm else "no slab: plane alone"
        )
        return f"{self.modality} · {slab} · {self.window.words(self.modality)}"


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
    head = _head(kind, [plane], facts, width=width - 2 * MARGIN, hours=hours)
    doubts = _alpha_doubts(alpha) if marks else []
    foot = _foot(kind, [plane], facts, width=width - 2 * MARGIN, marks=marks, doubts=doubts)
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
    head = _head(kind, planes, facts, width=inner)
    doubts = _alpha_doubts(alpha) if marks else []
    foot = _foot(kind, planes, facts, width=inner, marks=marks, doubts=doubts)
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


def _head(
    kind: RadialKind,
    planes: AnyPlanes,
    facts: SheetFacts,
    *,
    width: float,
    hours: str = "",
) -> list[Line]:
    """Side and kind first, then what the pictures are."""
    title, through = KIND_WORDS[kind]
    side = side_words(side_of(planes))
    named = f"{side} · {title}" + (f" · {facts.name}" if facts.name else "")
    lines: list[Line] = [
        (line, TITLE_SIZE, True, INK)
        for line in wrapped(named, size=TITLE_SIZE, width=width, bold=True)
    ]
    if hours:
        lines.append((hours, TITLE_SIZE - 6, True, INK))
    text = f"{through[0].upper()}{through[1:]} · {facts.words()}"
    lines += [(line, TEXT_SIZE, False, INK) for line in wrapped(text, size=TEXT_SIZE, width=width)]
    seen = f"Seen from {_seen_from(planes[0])}." if hours else SEEN_FROM
    lines += [
        (line, FOOT_SIZE, False, QUIET) for line in wrapped(seen, size=FOOT_SIZE, width=width)
    ]
    return lines


def _foot(
    kind: RadialKind,
    planes: AnyPlanes,
    facts: SheetFacts,
    *,
    width: float,
    marks: bool,
    doubts: Sequence[str],
) -> list[Line]:
    """Legend, what was assumed, and the sentence of every page."""
    notes = dict.fromkeys(
        [f"Hours counted from: {planes[0].clock.reference}.", *(_sentence(n) for n in facts.notes)]
        + [_sentence(note) for plane in planes for note in plane.clock.notes]
        + [*doubts]
    )
    text = " ".join([*([LEGENDS[kind]] if marks else []), *notes])
    return [
        (line, FOOT_SIZE, False, QUIET) for line in wrapped(text, size=FOOT_SIZE, width=width)
    ] + [(line, FOOT_SIZE, False, INK) for line in wrapped(NOTICE, size=FOOT_SIZE, width=width)]


def _alpha_doubts(alpha: Sequence[AlphaAtHour]) -> list[str]:
    """Why an alpha angle is doubtful or not read, each reason once with its femoral hours."""
    hours: dict[str, list[str]] = {}
    for item in alpha:
        for reason in filter(None, item.alpha.reason.split("; ")):
            hours.setdefault(reason, []).append(spoken_hour(item.femoral_hour))
    return [
        f"Alpha at {'every hour' if len(at) == len(alpha) else ', '.join(at)}: {reason}."
        for reason, at in hours.items()
    ]


def _sentence(words: str) -> str:
    """A note as a sentence."""
    return f"{words[0].upper()}{words[1:].rstrip('.')}."


def _seen_from(plane: SocketPlane | NeckPlane) -> str:
    """Where the viewer of a picture stands: three hours on."""
    hour = plane.hour + 3.0
    return f"{spoken_hour(hour)}, {hour_words(hour)}"


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
