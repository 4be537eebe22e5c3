"""Points of a hip that a person gave on an image nothing can be measured in, such as an MR."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from typing import TYPE_CHECKING

import numpy as np

from rimwright.anatomy import Floats, Side, Vector, Volume
from rimwright.errors import LayoutRefusal

if TYPE_CHECKING:
    from rimwright.morphology.reformat import NeckClock, SocketClock

POINT_NAMES = ("head", "socket", "neck", "notch", "rim")
"""What a point may be called; only 'rim' may be given several times."""
MOST_RIM_POINTS = 200


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HandPoints:
    """
    Points given by hand, mm, image frame (LPS); None where not given.

    Parameters
    ----------
    head, socket
        (3,), centres of the femoral head and of the socket; one stands in for the other where it
        is the socket's that is missing.
    neck
        (3,), centre of the neck at its narrowest.
    notch
        (3,), middle of the notch, for 6 o'clock.
    rim
        (n, 3), points of the rim.
    """

    head: Vector | None = None
    socket: Vector | None = None
    neck: Vector | None = None
    notch: Vector | None = None
    rim: Floats | None = None

    def socket_clock(self, side: Side) -> SocketClock | None:
        """The acetabular clock; None where no point of the rim is given."""
        from rimwright.morphology.reformat import socket_clock_from_points

        if self.rim is None:
            return None
        centre = self.head if self.socket is None else self.socket
        if centre is None:
            raise LayoutRefusal(
                "no centre for the points of the rim",
                "--point",
                "Give socket=X,Y,Z or head=X,Y,Z",
            )
        return socket_clock_from_points(
            side=side, centre_mm=centre, rim_mm=self.rim, notch_mm=self.notch
        )

    def neck_clock(self, side: Side) -> NeckClock | None:
        """The femoral clock; None where the neck's centre is not given."""
        from rimwright.morphology.reformat import neck_clock_from_points

        if self.neck is None:
            return None
        if self.head is None:
            raise LayoutRefusal(
                "no centre of the head for that of the neck", "--point", "Give head=X,Y,Z"
            )
        return neck_clock_from_points(side=side, head_centre_mm=self.head, neck_centre_mm=self.neck)

    def refuse_outside(self, volume: Volume) -> None:
        """Refuse points that the image does not hold: they are of other axes, or mistyped."""
        last = np.array(volume.values.shape) - 1.0
        for name in POINT_NAMES:
            value = getattr(self, name)
            if value is None:
                continue
            index = volume.to_index(np.atleast_2d(value))
            outside = ((index < -0.5) | (index > last + 0.5)).any(axis=1)
            if outside.any():
                at = np.atleast_2d(value)[outside][0]
                raise LayoutRefusal(
                    f"the point {name} lies outside the image (got {_shown(at)})",
                    "--point",
                    "Give points in LPS, mm: x to the left, y to the back, z upward",
                )


def read_points(words: Sequence[str]) -> HandPoints:
    """
    Points from words such as 'rim=31.5,-20,12'.

    Parameters
    ----------
    words
        NAME=X,Y,Z each; mm, image frame (LPS).

    Returns
    -------
    HandPoints
        What was given.

    Raises
    ------
    LayoutRefusal
        A name is not known or given twice, or the rest is not three numbers.
    """
    found: dict[str, list[Vector]] = {}
    for item in words:
        name, _, rest = item.partition("=")
        name = name.strip().lower()
        if name not in POINT_NAMES:
            raise LayoutRefusal(
                f"not the name of a point (got {name[:40]!r}, need {' or '.join(POINT_NAMES)})",
                "--point",
                "Write for example rim=31.5,-20,12",
            )
        found.setdefault(name, []).append(_numbers(name, rest))
    for name, points in found.items():
        most = MOST_RIM_POINTS if name == "rim" else 1
        if len(points) > most:
            raise LayoutRefusal(
                f"too many points called {name} (got {len(points)}, need {most} at most)",
                "--point",
                "Give each but the rim once",
            )
    rim = found.pop("rim", None)
    single = {name: points[0] for name, points in found.items()}
    return HandPoints(rim=None if rim is None else np.stack(rim), **single)


def _numbers(name: str, text: str) -> Vector:
    """Three numbers, or a refusal."""
    parts = text.split(",")
    try:
        numbers = [float(part) for part in parts]
    except ValueError:
        numbers = []
    if len(numbers) != 3 or not all(isfinite(number) for number in numbers):
        raise LayoutRefusal(
            f"not three numbers (got {text[:60]!r})",
            f"--point {name}",
            "Write X,Y,Z in mm, for example rim=31.5,-20,12",
        )
    return np.array(numbers)


def _shown(point_mm: Vector) -> str:
    """A point as typed."""
    return ",".join(f"{number:g}" for number in point_mm)
