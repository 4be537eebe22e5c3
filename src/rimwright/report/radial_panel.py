"""One radial picture with its hours, its sides, a scale and, if wanted, its marks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from rimwright.anatomy import Measurement, SphereFit, Status, Vector, spoken_hour, wrap_hour
from rimwright.morphology.reformat import NeckPlane, SocketPlane
from rimwright.report.raster import INK, PAPER, font
from rimwright.report.wording import STATUS_SHAPES, measured

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw

CIRCLE, ARM, AXIS = "#56b4e9", "#e69f00", "#f0e442"
"""Okabe and Ito's sky blue, orange and yellow: told apart on grey, and drawn in different ways."""
SCALE_MM = 20.0
HOUR_SIZE, WORD_SIZE = 30, 24
LABEL_HEIGHT = 42
"""Height of the line of words above and below a picture, pixels."""
FINER = 3
"""Marks are drawn this many times larger and brought down, so that lines are smooth."""
DASH = 10
ARM_REACH = 1.35
"""The arm of the alpha angle ends this many head radii from the centre."""


def hour_words(hour: float) -> str:
    """
    Where an hour lies, in words: anterior and posterior are always named.

    Parameters
    ----------
    hour
        Of either clock.

    Returns
    -------
    str
        'cranial' at 12, 'anterior' from there to 6, 'caudal' at 6, 'posterior' on.
    """
    hour = wrap_hour(hour)
    if min(hour, 12.0 - hour) < 1e-6:
        return "cranial"
    if abs(hour - 6.0) < 1e-6:
        return "caudal"
    return "anterior" if hour < 6.0 else "posterior"


def draw_panel(
    grey: npt.NDArray[np.uint8],
    plane: SocketPlane | NeckPlane,
    *,
    size: int,
    marks: bool = True,
    alpha: Mapping[float, Measurement] | None = None,
) -> Image:
    """
    Draw one picture.

    Parameters
    ----------
    grey
        (rows, columns) of the plane.
    plane
        Where it lies.
    size
        Width of the picture, pixels; its height follows.
    marks
        Whether sphere, axis, rim points and alpha are drawn over it.
    alpha
        Alpha angle by femoral hour, written beside its hour with the marks.

    Returns
    -------
    Image
        In colour; a line of words above and one below the picture.
    """
    from PIL import Image, ImageDraw

    rows, columns = grey.shape
    scale = size / columns
    height = round(rows * scale)
    picture = Image.fromarray(grey).resize((size, height), Image.Resampling.BICUBIC)
    panel = Image.new("RGB", (size, height + 2 * LABEL_HEIGHT), PAPER)
    coloured = picture.convert("RGB")
    if marks:
        layer = _marks(plane, (size, height), scale=scale, alpha=alpha or {})
        coloured.paste(layer.convert("RGB"), (0, 0), layer.getchannel("A"))
    _scale_bar(ImageDraw.Draw(coloured), height, mm=scale / plane.pixel_mm)
    panel.paste(coloured, (0, LABEL_HEIGHT))
    shown = alpha if marks and alpha else {}
    _words(ImageDraw.Draw(panel), plane, size, height, shown)
    return panel


def _words(
    pen: ImageDraw,
    plane: SocketPlane | NeckPlane,
    size: int,
    height: int,
    alpha: Mapping[float, Measurement],
) -> None:
    """The hours above and below, what lies there, the sides of the picture, and alpha."""
    outward_right = float(plane.right @ plane.clock.axis) > 0.0
    left, right = ("medial", "lateral") if outward_right else ("lateral", "medial")
    middle = LABEL_HEIGHT / 2
    for hour, y in ((plane.hour, middle), (plane.opposite_hour, LABEL_HEIGHT * 1.5 + height)):
        big, small = font(HOUR_SIZE, bold=True), font(WORD_SIZE)
        time, word = spoken_hour(hour), f" {hour_words(hour)}"
        reading = _alpha_words(alpha.get(hour))
        is_upper = hour == plane.hour
        width = big.getlength(time) + small.getlength(word + reading)
        x = 0.0 if is_upper or reading else (size - width) / 2
        pen.text((x, y), time, font=big, fill=INK, anchor="lm")
        x += big.getlength(time)
        pen.text((x, y), word, font=small, fill=INK, anchor="lm")
        x += small.getlength(word)
        pen.text((x, y), reading, font=small, fill=INK, anchor="lm")
    for words, x, anchor in ((left, 6.0, "ls"), (right, size - 6.0, "rs")):
        _haloed(pen, (x, LABEL_HEIGHT + 30.0), words, anchor=anchor)


def _alpha_words(reading: Measurement | None) -> str:
    """Alpha with its status, or that it was refused."""
    if reading is None:
        return ""
    if reading.status is Status.REFUSED:
        return f"   alpha {STATUS_SHAPES[Status.REFUSED]} not read"
    shape = "" if reading.status is Status.OK else f" {STATUS_SHAPES[reading.status]}"
    return f"   alpha {measured(reading)}{shape}"


def _haloed(pen: ImageDraw, at: tuple[float, float], words: str, *, anchor: str) -> None:
    """Quiet words on a picture, readable on black and on white."""
    pen.text(
        at,
        words,
        font=font(20),
        fill="#ffffff",
        anchor=anchor,
        stroke_width=2,
        stroke_fill="#000000",
    )


def _scale_bar(pen: ImageDraw, height: int, *, mm: float) -> None:
    """20 mm, at the lower left."""
    length, x, y = SCALE_MM * mm, 12.0, height - 14.0
    pen.rectangle((x - 2, y - 5, x + length + 2, y + 3), fill="#000000")
    pen.rectangle((x, y - 3, x + length, y + 1), fill="#ffffff")
    _haloed(pen, (x + length + 8, y + 5), f"{SCALE_MM:.0f} mm", anchor="ls")


def _marks(
    plane: SocketPlane | NeckPlane,
    size: tuple[int, int],
    *,
    scale: float,
    alpha: Mapping[float, Measurement],
) -> Image:
    """Sphere, axis, rim points and alpha arms on a clear ground."""
    from PIL import Image, ImageDraw

    fine = (size[0] * FINER, size[1] * FINER)
    layer = Image.new("RGBA", fine, (0, 0, 0, 0))
    pen = ImageDraw.Draw(layer)

    def spot(point_mm: Vector) -> Vector:
        row, column = plane.to_pixels(point_mm)
        at: Vector = np.array([column + 0.5, row + 0.5]) * scale * FINER
        return at

    mm = scale * FINER / plane.pixel_mm
    reach = 0.62 * plane.extent_mm[1]
    centre = plane.clock.centre_mm
    for end in (-1.0, 1.0):
        _line(pen, spot(centre), spot(centre + end * reach * plane.clock.axis), AXIS, dash=4 * DASH)
    sphere = plane.clock.socket if isinstance(plane, SocketPlane) else plane.clock.head
    if sphere is not None:
        _circle(pen, spot(sphere.centre_mm), mm * _radius_in_plane(plane, sphere))
    if isinstance(plane, SocketPlane) and plane.clock.rim is not None:
        for hour in (plane.hour, plane.opposite_hour):
            point = plane.clock.rim.point_at(hour)
            if np.isfinite(point).all():
                _ring(pen, spot(point))
    if isinstance(plane, NeckPlane) and sphere is not None:
        for hour, reading in alpha.items():
            if reading.value is None or hour not in (plane.hour, plane.opposite_hour):
                continue
            turn = np.radians(reading.value)
            towards = np.cos(turn) * plane.clock.axis + np.sin(turn) * plane.clock.towards(hour)
            start = sphere.centre_mm
            _line(pen, spot(start), spot(start + ARM_REACH * sphere.radius_mm * towards), ARM)
    return layer.resize(size, Image.Resampling.LANCZOS)


def _radius_in_plane(plane: SocketPlane | NeckPlane, sphere: SphereFit) -> float:
    """Radius of the circle in which a plane meets a sphere, mm."""
    off = float((sphere.centre_mm - plane.middle_mm) @ plane.normal)
    return float(np.sqrt(max(sphere.radius_mm**2 - off**2, 0.0)))


def _line(pen: ImageDraw, start: Vector, end: Vector, colour: str, *, dash: int = 0) -> None:
    """A line, whole or in dashes, over a dark one."""
    length = float(np.linalg.norm(end - start))
    pieces = [(0.0, 1.0)]
    if dash:
        n = max(int(length / (2 * dash)), 1)
        pieces = [(k / n, (k + 0.5) / n) for k in range(n)]
    for width, ink in ((FINER * 5, "#000000"), (FINER * 3, colour)):
        for a, b in pieces:
            ends: Sequence[float] = (*(start + a * (end - start)), *(start + b * (end - start)))
            pen.line(list(ends), fill=ink, width=width)


def _circle(pen: ImageDraw, middle: Vector, radius: float) -> None:
    """A circle in short dashes."""
    step = 5
    for width, ink in ((FINER * 5, "#000000"), (FINER * 3, CIRCLE)):
        outer = radius + width / 2  # a drawn arc grows inward from its box
        box = [*(middle - outer), *(middle + outer)]
        for begin in range(0, 360, 2 * step):
            pen.arc(box, begin, begin + step, fill=ink, width=width)


def _ring(pen: ImageDraw, middle: Vector) -> None:
    """A ring about a point, which itself stays free to be seen."""
    for width, ink, radius in ((FINER * 5, "#000000", 11.0), (FINER * 2, ARM, 10.0)):
        r = radius * FINER
        pen.ellipse([*(middle - r), *(middle + r)], outline=ink, width=width)
