"""Radial planes: whole planes through an axis, each with its hour up and the opposite one down.

Seen from three hours on: the plane of 12 as a coronal image from the front, that of 3 as an axial
one from below. A left hip has lateral at the right of its picture, a right hip at the left; the
picture of a mirrored hip is the mirrored picture.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import isfinite

import numpy as np

from rimwright.anatomy import Floats, HipGeometry, Points, Side, Vector, frozen_floats, wrap_hour
from rimwright.morphology.reformat.clock import (
    NeckClock,
    SocketClock,
    neck_clock_of,
    socket_clock_of,
)

EVERY_HALF_HOUR = tuple(0.5 * step for step in range(12))
"""Hours shown upward, 12 to 5:30; the lower halves of the same planes show 6 to 11:30."""
SHAPE = (256, 328)
"""Rows and columns of a picture."""
SOCKET_PIXEL_MM = 0.35
"""90 mm high: the rim and its labrum all round with the head between."""
NECK_PIXEL_MM = 0.35
"""115 mm wide: head and neck."""
NECK_SHIFT_MM = 15.0
"""How far along the neck from the head's centre the middle of a femoral picture lies, mm."""
MOST_PIXELS = 2048
"""Most rows or columns of a picture."""


class RadialKind(StrEnum):
    """Which axis the planes hold, and so which clock their hours are of."""

    ACETABULAR = "acetabular"
    FEMORAL = "femoral"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RadialPlane:
    """
    A picture's place in the image frame; only its two kinds are ever made.

    Parameters
    ----------
    hour
        Hour in the upper half, [0, 12), on the clock of the plane's own kind.
    middle_mm
        (3,), mm: middle of the picture.
    right, up
        Unit, at right angles, in the picture.
    pixel_mm
        Side of a pixel, mm.
    shape
        Rows and columns.
    """

    hour: float
    middle_mm: Vector
    right: Vector
    up: Vector
    pixel_mm: float
    shape: tuple[int, int]

    def __post_init__(self) -> None:
        if type(self) is RadialPlane:
            raise TypeError("a radial plane is of the socket or of the neck")
        for name in ("middle_mm", "right", "up"):
            value = frozen_floats(getattr(self, name), shape=(3,), name=name)
            object.__setattr__(self, name, value)
        if not (isfinite(self.pixel_mm) and self.pixel_mm > 0.0):
            raise ValueError(f"pixel_mm: need more than 0, got {self.pixel_mm}")
        if not all(2 <= n <= MOST_PIXELS for n in self.shape):
            raise ValueError(f"shape: need 2 to {MOST_PIXELS} rows and columns, got {self.shape}")

    @property
    def opposite_hour(self) -> float:
        """Hour in the lower half."""
        return wrap_hour(self.hour + 6.0)

    @property
    def normal(self) -> Vector:
        """Unit, towards who looks at the picture: the direction three hours on."""
        normal: Vector = np.cross(self.right, self.up)
        return normal

    @property
    def extent_mm(self) -> tuple[float, float]:
        """Height and width of the picture, mm."""
        rows, columns = self.shape
        return rows * self.pixel_mm, columns * self.pixel_mm

    def to_mm(self, pixels: Floats) -> Points:
        """Row and column, (..., 2), pixel middles at whole numbers, to mm, image frame."""
        pixels = np.asarray(pixels, dtype=np.float64)
        upward = ((self.shape[0] - 1) / 2 - pixels[..., 0:1]) * self.pixel_mm
        sideways = (pixels[..., 1:2] - (self.shape[1] - 1) / 2) * self.pixel_mm
        return self.middle_mm + upward * self.up + sideways * self.right

    def to_pixels(self, points_mm: Points) -> Floats:
        """Points, (..., 3) mm, image frame, dropped on to the plane: row and column, (..., 2)."""
        offset = np.asarray(points_mm, dtype=np.float64) - self.middle_mm
        rows = (self.shape[0] - 1) / 2 - (offset @ self.up) / self.pixel_mm
        columns = (self.shape[1] - 1) / 2 + (offset @ self.right) / self.pixel_mm
        return np.stack([rows, columns], axis=-1)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SocketPlane(RadialPlane):
    """
    A plane through the opening axis, by acetabular hour.

    Parameters
    ----------
    hour, middle_mm, right, up, pixel_mm, shape
        As of every radial plane; the hour is acetabular.
    clock
        Whose hour it is.
    """

    clock: SocketClock

    @property
    def kind(self) -> RadialKind:
        """Acetabular."""
        return RadialKind.ACETABULAR


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NeckPlane(RadialPlane):
    """
    A plane through the neck axis, by femoral hour.

    Parameters
    ----------
    hour, middle_mm, right, up, pixel_mm, shape
        As of every radial plane; the hour is femoral.
    clock
        Whose hour it is.
    """

    clock: NeckClock

    @property
    def kind(self) -> RadialKind:
        """Femoral."""
        return RadialKind.FEMORAL


def socket_planes(
    source: HipGeometry | SocketClock,
    *,
    hours: Sequence[float] = EVERY_HALF_HOUR,
    pixel_mm: float = SOCKET_PIXEL_MM,
    shape: tuple[int, int] = SHAPE,
) -> tuple[SocketPlane, ...]:
    """
    Planes through the opening axis, for rim and labrum.

    Parameters
    ----------
    source
        A measured hip, or the clock of points given by hand.
    hours
        Acetabular hours to show upward; each plane also shows the hour six further on.
    pixel_mm
        Side of a pixel, mm.
    shape
        Rows and columns.

    Returns
    -------
    tuple of SocketPlane
        One for each hour, its middle at the socket's centre.

    Raises
    ------
    LayoutRefusal
        The hip's rim was not measured.
    """
    clock = source if isinstance(source, SocketClock) else socket_clock_of(_a_hip(source))
    return tuple(
        SocketPlane(
            hour=wrap_hour(hour),
            middle_mm=clock.centre_mm,
            right=np.cross(clock.towards(hour), clock.towards(hour + 3.0)),
            up=clock.towards(hour),
            pixel_mm=pixel_mm,
            shape=shape,
            clock=clock,
        )
        for hour in hours
    )


def neck_planes(
    source: HipGeometry | NeckClock,
    *,
    hours: Sequence[float] = EVERY_HALF_HOUR,
    pixel_mm: float = NECK_PIXEL_MM,
    shape: tuple[int, int] = SHAPE,
) -> tuple[NeckPlane, ...]:
    """
    Planes through the neck axis, for the head-neck outline.

    Parameters
    ----------
    source
        A measured hip, or the clock of points given by hand.
    hours
        Femoral hours to show upward; each plane also shows the hour six further on.
    pixel_mm
        Side of a pixel, mm.
    shape
        Rows and columns.

    Returns
    -------
    tuple of NeckPlane
        One for each hour, its middle on the neck axis beyond the head's centre.

    Raises
    ------
    LayoutRefusal
        Head or neck of the hip were not measured.
    """
    clock = source if isinstance(source, NeckClock) else neck_clock_of(_a_hip(source))
    return tuple(
        NeckPlane(
            hour=wrap_hour(hour),
            middle_mm=clock.centre_mm + NECK_SHIFT_MM * clock.axis,
            right=np.cross(clock.towards(hour), clock.towards(hour + 3.0)),
            up=clock.towards(hour),
            pixel_mm=pixel_mm,
            shape=shape,
            clock=clock,
        )
        for hour in hours
    )


def one_kind(planes: Sequence[RadialPlane]) -> RadialKind:
    """
    The kind of planes that belong together.

    Parameters
    ----------
    planes
        At least one.

    Returns
    -------
    RadialKind
        That of all of them.

    Raises
    ------
    TypeError
        Planes of both kinds, or none: they are never mixed.
    """
    kinds = {plane.kind for plane in planes if isinstance(plane, SocketPlane | NeckPlane)}
    if len(kinds) != 1:
        raise TypeError("planes of one kind are needed: acetabular and femoral are never mixed")
    return kinds.pop()


def side_of(
    planes: Sequence[SocketPlane] | Sequence[NeckPlane] | Sequence[SocketPlane | NeckPlane],
) -> Side:
    """
    The side of planes that belong together.

    Parameters
    ----------
    planes
        At least one.

    Returns
    -------
    Side
        That of all of them.

    Raises
    ------
    ValueError
        Planes of both sides.
    """
    sides = {plane.clock.side for plane in planes}
    if len(sides) != 1:
        raise ValueError("planes of one side are needed")
    return sides.pop()


def _a_hip(source: object) -> HipGeometry:
    """The hip, or a TypeError: a clock of the other kind was handed in."""
    if not isinstance(source, HipGeometry):
        raise TypeError(f"a hip or a clock of this kind is needed, got {type(source).__name__}")
    return source
