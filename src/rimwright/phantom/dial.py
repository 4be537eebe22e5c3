"""The dial of a synthetic socket: opening axis, hour zero and notch, from the true edge."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from rimwright.anatomy import Floats, Points, Vector, wrap_hours
from rimwright.phantom.socket_surface import SocketSurface

N_DENSE = 7200
"""Stations of the dense edge; its chords miss the curve by less than 1e-5 mm."""
N_BRACKETS = 1440
"""Brackets a sign change is looked for in: a quarter of a degree each."""
N_HALVINGS = 48
"""Halvings of a bracket: to rounding."""


def crossings(value_at: Callable[[Floats], Floats], low: float, high: float) -> Floats:
    """All hour angles in [low, high] where a smooth function changes sign, to rounding."""
    stations = np.linspace(low, high, N_BRACKETS + 1)
    values = value_at(stations)
    first = np.flatnonzero((values[:-1] < 0) != (values[1:] < 0))
    a, b = stations[first], stations[first + 1]
    is_negative = values[first] < 0
    for _ in range(N_HALVINGS):
        middle = 0.5 * (a + b)
        is_left = (value_at(middle) < 0) == is_negative
        a, b = np.where(is_left, middle, a), np.where(is_left, b, middle)
    return 0.5 * (a + b)


@dataclass(frozen=True, kw_only=True, eq=False)
class SocketDial:
    """
    Where the hours of the true edge are counted from, built frame (socket centre the origin).

    Parameters
    ----------
    surface
        The socket.

    Notes
    -----
    Opening axis: normal of the least-squares plane of the edge, weighted by arc length, the
    notch left out. 6 o'clock: the bisector of the unit directions from the socket centre to
    the two ends of the notch, made normal to the opening axis. A notch end is the last point of
    the edge beside which the lunate still lies on its sphere.
    """

    surface: SocketSurface

    @cached_property
    def bony_range(self) -> tuple[float, float]:
        """Construction hour angles of the bony edge, from the hind horn over 12 to the front."""
        half = self.surface.notch_half_width
        return -np.pi + half, np.pi - half

    @cached_property
    def opening_axis(self) -> Vector:
        """Unit, out of the socket."""
        points = self.surface.edge_points(np.linspace(*self.bony_range, N_DENSE + 1))
        steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
        weights = np.concatenate([[0.0], steps]) + np.concatenate([steps, [0.0]])
        centre = np.average(points, axis=0, weights=weights)
        spread = (points - centre).T @ ((points - centre) * weights[:, None])
        normal = np.linalg.eigh(spread)[1][:, 0]
        return normal * np.sign(normal @ self.surface.axis)

    @cached_property
    def notch_ends_mm(self) -> Points:
        """Hind and front end of the notch on the edge, (2, 3)."""
        return self.surface.edge_points(np.array(self.bony_range))

    @cached_property
    def twelve(self) -> Vector:
        """Unit direction of 12 o'clock."""
        ends = self.notch_ends_mm / np.linalg.norm(self.notch_ends_mm, axis=1, keepdims=True)
        six = ends.sum(axis=0)
        six = six - (six @ self.opening_axis) * self.opening_axis
        return -six / np.linalg.norm(six)

    @cached_property
    def three(self) -> Vector:
        """Unit direction of 3 o'clock, anterior."""
        return np.cross(self.opening_axis, self.twelve)

    def hours_of(self, points_mm: Points) -> Floats:
        """Hours of points or directions about the socket centre."""
        points = np.asarray(points_mm)
        return wrap_hours(np.degrees(np.arctan2(points @ self.three, points @ self.twelve)) / 30.0)

    @cached_property
    def notch_hours(self) -> tuple[float, float]:
        """Hours at which the notch begins (front) and ends (behind)."""
        hind, front = self.hours_of(self.notch_ends_mm)
        return float(front), float(hind)

    def is_in_notch(self, hours: Floats) -> NDArray[np.bool_]:
        """Whether hours lie strictly inside the notch, elementwise."""
        start, end = self.notch_hours
        return (np.mod(np.asarray(hours) - start, 12.0) > 0) & (
            np.mod(np.asarray(hours) - start, 12.0) < end - start
        )

    def hour_angles(self, hours: Floats) -> Floats:
        """Construction hour angles of the edge points that stand at given hours."""
        hours = np.asarray(hours, dtype=np.float64)
        stations = np.linspace(-np.pi, np.pi, N_DENSE + 1)
        reached = self._turned(stations)
        wanted = (np.mod(hours * 30.0 + 180.0, 360.0) - 180.0) * np.pi / 180.0
        wanted = np.where(wanted < reached[0], wanted + 2 * np.pi, wanted)
        wanted = np.where(wanted > reached[-1], wanted - 2 * np.pi, wanted)
        index = np.clip(np.searchsorted(reached, wanted) - 1, 0, N_DENSE - 1)
        a, b = stations[index], stations[index + 1]
        for _ in range(N_HALVINGS):
            middle = 0.5 * (a + b)
            is_short = self._turned(middle, near=middle) < wanted
            a, b = np.where(is_short, middle, a), np.where(is_short, b, middle)
        return 0.5 * (a + b)

    def _turned(self, stations: Floats, *, near: Floats | None = None) -> Floats:
        """Dial angle of the edge at construction hour angles, unwrapped."""
        points = self.surface.edge_points(stations)
        turned = np.arctan2(points @ self.three, points @ self.twelve)
        guess = stations if near is None else near
        return turned - 2 * np.pi * np.round((turned - guess) / (2 * np.pi))

    def edge_at(self, hours: Floats) -> Points:
        """True edge at hours, (..., 3); inside the notch its receded edge."""
        return self.surface.edge_points(self.hour_angles(hours))
