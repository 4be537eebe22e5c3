"""The two clocks radial planes are laid by; each is a type of its own, so that none is mixed up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import (
    ClockReference,
    HipGeometry,
    Points,
    RimCurve,
    Side,
    SphereFit,
    Vector,
    frozen_floats,
    pelvic_frame_of_image,
)
from rimwright.errors import LayoutRefusal

WHERE = "radial planes"
FEWEST_RIM_POINTS = 3
NARROW_MM = 5.0
"""Rim points within this of one line (rms) leave the opening axis open, mm."""
TOO_NEAR_MM = 10.0
"""Head and neck centre nearer than this give no axis: 1 mm of picking would turn it by 6°."""
LEAST_TOWARDS = 0.2
"""An axis less than this (cosine) to the lateral side, or a 12 o'clock less than this to the
cranial one, is not that of a hip of this side lying in the image as stated."""

SHAFT = "shaft"
"""What femoral 12 is counted from where the shaft is seen."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Clock:
    """
    A clock round an axis, image frame.

    Parameters
    ----------
    side
        Side of the hip.
    centre_mm
        (3,), mm: every plane passes through it.
    axis, twelve, three
        Unit, at right angles: the axis, and the directions of 12 and 3 o'clock (anterior).
    reference
        What 12 was counted from.
    notes
        What was assumed, in words.
    """

    side: Side
    centre_mm: Vector
    axis: Vector
    twelve: Vector
    three: Vector
    reference: str
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for name in ("centre_mm", "axis", "twelve", "three"):
            value = frozen_floats(getattr(self, name), shape=(3,), name=name)
            object.__setattr__(self, name, value)
        triad = np.stack([self.axis, self.twelve, self.three])
        if np.abs(triad @ triad.T - np.eye(3)).max() > 1e-6:
            raise ValueError("axis, twelve and three must be unit and at right angles")

    def towards(self, hour: float) -> Vector:
        """Unit direction of an hour, at right angles to the axis."""
        angle = np.radians(30.0 * hour)
        return np.cos(angle) * self.twelve + np.sin(angle) * self.three


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SocketClock(_Clock):
    """
    The acetabular clock: round the opening axis through the socket's centre.

    Parameters
    ----------
    side
        Side of the hip.
    centre_mm
        (3,), mm, socket centre.
    axis, twelve, three
        Unit: out of the socket, 12 o'clock, 3 o'clock (anterior).
    reference
        What 12 was counted from.
    notes
        What was assumed, in words.
    socket
        Sphere of the lunate surface, where it was measured.
    rim
        The bony rim by hour, where it was measured.
    """

    socket: SphereFit | None = None
    rim: RimCurve | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NeckClock(_Clock):
    """
    The femoral clock: round the neck axis through the head's centre.

    Parameters
    ----------
    side
        Side of the hip.
    centre_mm
        (3,), mm, head centre.
    axis, twelve, three
        Unit: from the head along the neck, femoral 12 (cranial), femoral 3 (anterior).
    reference
        What 12 was counted from.
    notes
        What was assumed, in words.
    head
        Sphere of the femoral head, where it was measured.
    """

    head: SphereFit | None = None


def socket_clock_of(hip: HipGeometry) -> SocketClock:
    """
    The acetabular clock of a measured hip: that of its rim.

    Parameters
    ----------
    hip
        Measured.

    Returns
    -------
    SocketClock
        Its hours are the rim's.

    Raises
    ------
    LayoutRefusal
        The hip has no rim.
    """
    if hip.rim is None:
        reason = hip.unavailable.get("rim", "no rim was found")
        raise LayoutRefusal(
            f"the socket's rim was not measured ({reason})", WHERE, "Give the points of the socket"
        )
    rim = hip.rim
    notes: tuple[str, ...] = ()
    if rim.reference is not ClockReference.NOTCH:
        notes = (f"hours are counted from the {rim.reference}",)
    return SocketClock(
        side=hip.side,
        centre_mm=rim.centre_mm,
        axis=rim.axis,
        twelve=rim.twelve,
        three=rim.three,
        reference=rim.reference,
        notes=notes,
        socket=hip.socket,
        rim=rim,
    )


def neck_clock_of(hip: HipGeometry) -> NeckClock:
    """
    The femoral clock of a measured hip.

    Parameters
    ----------
    hip
        Measured.

    Returns
    -------
    NeckClock
        Its hours are those of the alpha angle.

    Raises
    ------
    LayoutRefusal
        The hip has no head or neck.
    """
    if hip.head is None or hip.femur is None:
        reason = hip.unavailable.get("femoral_axes", hip.unavailable.get("head", "not found"))
        raise LayoutRefusal(
            f"head and neck were not measured ({reason})",
            WHERE,
            "Give the points of head and neck",
        )
    has_shaft = hip.femur.shaft_axis is not None
    reference = SHAFT if has_shaft else str(ClockReference.IMAGE_AXES)
    return NeckClock(
        side=hip.side,
        centre_mm=hip.head.centre_mm,
        axis=hip.femur.neck_axis,
        twelve=hip.femur.femoral_twelve,
        three=hip.femur.femoral_three,
        reference=reference,
        notes=() if has_shaft else ("femoral 12 is cranial in the image: no shaft is seen",),
        head=hip.head,
    )


def socket_clock_from_points(
    *,
    side: Side,
    centre_mm: Vector,
    rim_mm: Points | Sequence[Vector],
    notch_mm: Vector | None = None,
) -> SocketClock:
    """
    The acetabular clock from points a person gave, as on an MR.

    Parameters
    ----------
    side
        Side of the hip.
    centre_mm
        (3,), mm, image frame: centre of the socket, or of the head in it.
    rim_mm
        (n, 3), mm, n >= 3: points of the rim, well round the socket.
    notch_mm
        (3,), mm: middle of the notch, for 6 o'clock; left out, 12 is cranial in the image.

    Returns
    -------
    SocketClock
        The opening axis is the normal of the points' best plane.

    Raises
    ------
    LayoutRefusal
        Too few points, on one line, or not of a hip of this side.
    """
    rim = np.asarray(rim_mm, dtype=np.float64).reshape(-1, 3)
    if len(rim) < FEWEST_RIM_POINTS:
        raise LayoutRefusal(
            f"too few points of the rim (got {len(rim)}, need {FEWEST_RIM_POINTS})",
            WHERE,
            "Give points well round the socket",
        )
    offset = rim - rim.mean(axis=0)
    _, spans, turn = np.linalg.svd(offset, full_matrices=False)
    across_mm = float(spans[1]) / np.sqrt(len(rim))
    if across_mm < NARROW_MM:
        raise LayoutRefusal(
            f"the points of the rim lie on one line (within {across_mm:.1f} mm, "
            f"need {NARROW_MM:.0f} mm)",
            WHERE,
            "Give points well round the socket",
        )
    frame = pelvic_frame_of_image(side)
    axis = _turned_to(turn[2], frame.lateral)
    if axis is None:
        raise LayoutRefusal(
            "the plane of the rim points does not face outward",
            WHERE,
            "Check the points, the side and the axes of the image",
        )
    if notch_mm is None:
        upward = frame.cranial
        reference = ClockReference.IMAGE_AXES
        notes: tuple[str, ...] = ("12 is cranial in the image: no point of the notch was given",)
    else:
        upward = np.asarray(centre_mm, dtype=np.float64) - np.asarray(notch_mm, dtype=np.float64)
        reference, notes = ClockReference.NOTCH, ()
    twelve = _upright(upward, axis)
    if twelve is None or twelve @ frame.cranial < LEAST_TOWARDS:
        raise LayoutRefusal(
            "12 o'clock does not come to lie above",
            WHERE,
            "Check the points and the axes of the image",
        )
    return SocketClock(
        side=side,
        centre_mm=centre_mm,
        axis=axis,
        twelve=twelve,
        three=_forward(side, axis, twelve),
        reference=reference,
        notes=("socket and rim are points given by hand", *notes),
    )


def neck_clock_from_points(
    *, side: Side, head_centre_mm: Vector, neck_centre_mm: Vector
) -> NeckClock:
    """
    The femoral clock from two points a person gave, as on an MR.

    Parameters
    ----------
    side
        Side of the hip.
    head_centre_mm, neck_centre_mm
        (3,), mm, image frame: centre of the head, and of the neck at its narrowest.

    Returns
    -------
    NeckClock
        Femoral 12 is cranial in the image.

    Raises
    ------
    LayoutRefusal
        The points are too near, or the neck does not run outward.
    """
    along = np.asarray(neck_centre_mm, dtype=np.float64) - head_centre_mm
    length_mm = float(np.linalg.norm(along))
    if length_mm < TOO_NEAR_MM:
        raise LayoutRefusal(
            f"head and neck centre are too near (got {length_mm:.1f} mm, "
            f"need {TOO_NEAR_MM:.0f} mm)",
            WHERE,
            "Set the neck's point at its narrowest",
        )
    frame = pelvic_frame_of_image(side)
    axis = along / length_mm
    twelve = _upright(frame.cranial, axis)
    if twelve is None or axis @ frame.lateral < LEAST_TOWARDS:
        raise LayoutRefusal(
            "the neck does not run outward from the head",
            WHERE,
            "Check the points, the side and the axes of the image",
        )
    return NeckClock(
        side=side,
        centre_mm=head_centre_mm,
        axis=axis,
        twelve=twelve,
        three=_forward(side, axis, twelve),
        reference=ClockReference.IMAGE_AXES,
        notes=(
            "head and neck are points given by hand",
            "femoral 12 is cranial in the image",
        ),
    )


def _turned_to(direction: Vector, towards: Vector) -> Vector | None:
    """The direction or its opposite, whichever looks that way; None where neither does."""
    share = float(direction @ towards)
    if abs(share) < LEAST_TOWARDS:
        return None
    return direction if share > 0.0 else -direction


def _upright(upward: Vector, axis: Vector) -> Vector | None:
    """The part of a direction at right angles to an axis, unit; None where there is none."""
    part = upward - (upward @ axis) * axis
    length = float(np.linalg.norm(part))
    return None if length < LEAST_TOWARDS * float(np.linalg.norm(upward)) else part / length


def _forward(side: Side, axis: Vector, twelve: Vector) -> Vector:
    """3 o'clock: outward × cranial is anterior on the left and posterior on the right."""
    return side.lateral_x_lps * np.cross(axis, twelve)
