"""Radial pictures of a volume: through the socket's axis, and through the femoral neck's."""

from rimwright.morphology.reformat.alpha_reading import AlphaAtHour, alpha_on_reformats
from rimwright.morphology.reformat.clock import (
    NeckClock,
    SocketClock,
    neck_clock_from_points,
    neck_clock_of,
    socket_clock_from_points,
    socket_clock_of,
)
from rimwright.morphology.reformat.plane import (
    EVERY_HALF_HOUR,
    NeckPlane,
    RadialKind,
    RadialPlane,
    SocketPlane,
    neck_planes,
    one_kind,
    side_of,
    socket_planes,
)
from rimwright.morphology.reformat.resample import SlabKind, resample

__all__ = [
    "AlphaAtHour",
    "EVERY_HALF_HOUR",
    "NeckClock",
    "NeckPlane",
    "RadialKind",
    "RadialPlane",
    "SlabKind",
    "SocketClock",
    "SocketPlane",
    "alpha_on_reformats",
    "neck_clock_from_points",
    "neck_clock_of",
    "neck_planes",
    "one_kind",
    "resample",
    "side_of",
    "socket_clock_from_points",
    "socket_clock_of",
    "socket_planes",
]
