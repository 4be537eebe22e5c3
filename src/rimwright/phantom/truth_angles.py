"""Angles of a synthetic hip from its analytic curves, in any pelvic frame, never from a mesh."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from rimwright.anatomy import Floats, Vector
from rimwright.phantom.dial import SocketDial, crossings

CRANIAL_LEVEL_MM = 10.0
"""The cranial version is read this far below the top of the socket sphere, mm."""
N_FLOOR = 48
"""Stations towards the edge when the lowest point of the floor is sought."""
N_ACROSS = 241
"""Stations across the notch in the same search."""


@dataclass(frozen=True, kw_only=True, eq=False)
class SocketAngles:
    """
    Angles of one socket about one centre in one frame; everything in the built frame.

    Parameters
    ----------
    dial
        The socket's dial.
    centre_mm
        (3,) centre the angles are taken about: head centre, or socket centre without a femur.
    radius_mm
        Head radius, for the extrusion index.
    frame
        (3, 3) rows: lateral, cranial, anterior.
    """

    dial: SocketDial
    centre_mm: Vector
    radius_mm: float
    frame: Floats

    def _edges_in_plane(self, normal: int, level_mm: float = 0.0) -> Floats:
        """Lateral, cranial, anterior of the bony edge where it meets a plane of the frame."""
        surface, axis = self.dial.surface, self.frame[normal]

        def above(angle: Floats) -> Floats:
            return (surface.edge_points(angle) - self.centre_mm) @ axis - level_mm

        angles = crossings(above, *self.dial.bony_range)
        return (surface.edge_points(angles) - self.centre_mm) @ self.frame.T

    @cached_property
    def lateral_edge(self) -> Vector:
        """E of the coronal plane: the most cranial crossing; lateral, cranial, anterior."""
        edges = self._edges_in_plane(2)
        return edges[np.argmax(edges[:, 1])]

    def lateral_centre_edge_deg(self) -> float:
        """Angle from cranial to E in the coronal plane, + lateral."""
        edge = self.lateral_edge
        return float(np.degrees(np.arctan2(edge[0], edge[1])))

    def anterior_centre_edge_deg(self) -> float:
        """Angle from cranial to the anterior-cranial crossing of the sagittal plane."""
        edges = self._edges_in_plane(0)
        edge = edges[np.argmax(edges[:, 1] + edges[:, 2])]
        return float(np.degrees(np.arctan2(edge[2], edge[1])))

    def extrusion_percent(self) -> float:
        """Share of the head's width lateral of E."""
        return float(100.0 * (self.radius_mm - self.lateral_edge[0]) / (2.0 * self.radius_mm))

    def _axial_edges(self, level_mm: float) -> tuple[Vector, Vector]:
        """Anterior and posterior crossing of an axial plane."""
        edges = self._edges_in_plane(1, level_mm)
        return edges[np.argmax(edges[:, 2])], edges[np.argmin(edges[:, 2])]

    def version_deg(self, *, cranial: bool = False) -> float:
        """Version at the centre, or 10 mm below the top of the socket sphere."""
        level = 0.0
        if cranial:
            socket_cranial = float(-self.centre_mm @ self.frame[1])
            level = socket_cranial + self.dial.surface.radius_mm - CRANIAL_LEVEL_MM
        front, back = self._axial_edges(level)
        step = front - back
        return float(np.degrees(np.arctan2(-step[0], step[2])))

    def sector_deg(self) -> tuple[float, float]:
        """Anterior and posterior sector angle: from medial to the edges, central axial plane."""
        front, back = self._axial_edges(0.0)
        return (
            float(np.degrees(np.arctan2(front[2], -front[0]))),
            float(np.degrees(np.arctan2(-back[2], -back[0]))),
        )

    def _sphere_curve_in_coronal(self, which: str) -> Vector:
        """Most cranial crossing of a curve on the sphere with the coronal plane; NaN if none."""
        surface = self.dial.surface

        def point(angle: Floats) -> Floats:
            polar = getattr(surface, which)(angle)
            return surface.point(polar, angle, np.full_like(polar, surface.radius_mm))

        def before(angle: Floats) -> Floats:
            return (point(angle) - self.centre_mm) @ self.frame[2]

        found = point(crossings(before, *self.dial.bony_range)) - self.centre_mm
        if not len(found):
            return np.full(3, np.nan)
        edges = found @ self.frame.T
        return edges[np.argmax(edges[:, 1])]

    def sourcil_ends(self) -> tuple[Vector, Vector]:
        """Medial end (lunate meets fossa) and lateral end (sphere gives way to the rounding)."""
        return (
            self._sphere_curve_in_coronal("fossa_polar"),
            self._sphere_curve_in_coronal("tangent_polar"),
        )

    def sourcil_centre_edge_deg(self) -> float:
        """Lateral centre-edge angle to the lateral end of the sourcil surrogate."""
        lateral = self.sourcil_ends()[1]
        return float(np.degrees(np.arctan2(lateral[0], lateral[1])))

    def tonnis_deg(self) -> float:
        """Slope of the sourcil surrogate against lateral, + with the lateral end higher."""
        medial, lateral = self.sourcil_ends()
        step = lateral - medial
        return float(np.degrees(np.arctan2(step[1], step[0])))

    def teardrop(self) -> Vector:
        """Lowest point of the joint face in the coronal section, the notch's edge included."""
        surface = self.dial.surface
        low, high = np.pi - surface.notch_half_width, np.pi + surface.notch_half_width
        angle = np.linspace(low, high, N_ACROSS)
        polar = surface.tangent_polar(angle) * np.linspace(0.3, 1.0, N_FLOOR)[:, None]
        floor = surface.point(polar, angle, surface.joint_distance_mm(polar, angle))
        turn = np.linspace(0.0, 0.5, 8)[:, None]
        rounding = surface.point(
            surface.rounding_polar(angle, turn)[0], angle, surface.rounding_polar(angle, turn)[1]
        )
        here = (np.concatenate([floor, rounding]) - self.centre_mm) @ self.frame.T
        row, k = np.nonzero((here[:, :-1, 2] < 0) != (here[:, 1:, 2] < 0))
        if not len(row):
            raise AssertionError("the coronal section misses the notch")
        before, after = here[row, k], here[row, k + 1]
        share = (before[:, 2] / (before[:, 2] - after[:, 2]))[:, None]
        met = (1 - share) * before + share * after
        return met[np.argmin(met[:, 1])]

    def sharp_deg(self) -> float:
        """Lateral against the line from the teardrop surrogate to E."""
        step = self.lateral_edge - self.teardrop()
        return float(np.degrees(np.arctan2(step[1], step[0])))

    def subtended_deg(self) -> float:
        """Mean over hours outside the notch of the angle at the socket centre, pole to edge."""
        front, hind = self.dial.notch_hours
        hours = np.linspace(hind - 12.0, front, 1441)
        edge = self.dial.edge_at(hours)
        unit = edge / np.linalg.norm(edge, axis=1, keepdims=True)
        angles = np.degrees(np.arccos(-(unit @ self.dial.opening_axis)))
        return float(np.trapezoid(angles, hours) / (hours[-1] - hours[0]))

    def coverage_deg(self, hours: Floats) -> Floats:
        """Angle at the centre from the medial pole to the edge at each hour."""
        edge = self.dial.edge_at(hours) - self.centre_mm
        unit = edge / np.linalg.norm(edge, axis=-1, keepdims=True)
        return np.degrees(np.arccos(-(unit @ self.dial.opening_axis)))
