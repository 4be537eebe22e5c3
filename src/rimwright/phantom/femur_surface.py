"""Head, cam and neck of the femur as one explicit function of direction from the head centre."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from rimwright.anatomy import Floats, Points, Vector
from rimwright.phantom.shape import HipShape

JUNCTION_REACH_MM = 1.0
"""Reach of the rounding between head (or cam) and neck, mm."""
NECK_FLARE = 0.35
"""Slope the neck widens with towards the shaft, far from its waist."""
HEAD_FLARE = 0.12
"""The same towards the head."""
NECK_SEEN_DEG = 75.0
"""Directions farther from the neck axis than this never meet the neck."""


def smooth_max(first: Floats, second: Floats, reach: float) -> Floats:
    """Maximum rounded where the two differ by less than `reach`, exact elsewhere."""
    gap = np.maximum(reach - np.abs(first - second), 0.0)
    return np.maximum(first, second) + gap * gap / (4.0 * reach)


@dataclass(frozen=True, kw_only=True, eq=False)
class FemurSurface:
    """
    Axes and contour of one shape's femur, built frame.

    Parameters
    ----------
    shape
        Its numbers.
    """

    shape: HipShape

    @cached_property
    def head_centre_mm(self) -> Vector:
        """Centre of the head."""
        return np.array(self.shape.head_offset_mm, dtype=np.float64)

    @cached_property
    def femoral_axes(self) -> Floats:
        """Rows: lateral along the condyles' back, proximal along the shaft, anterior."""
        tilt, turn = np.radians([self.shape.shaft_tilt_deg, self.shape.femoral_turn_deg])
        proximal = np.array([np.sin(tilt), np.cos(tilt), 0.0])
        side = np.array([np.cos(tilt), -np.sin(tilt), 0.0])
        front = np.array([0.0, 0.0, 1.0])
        # Outward turn: toes go lateral, so the condyles' lateral end goes backwards.
        lateral = np.cos(turn) * side - np.sin(turn) * front
        anterior = np.sin(turn) * side + np.cos(turn) * front
        return np.stack([lateral, proximal, anterior])

    @property
    def proximal(self) -> Vector:
        """Shaft axis, distal to proximal."""
        return self.femoral_axes[1]

    @cached_property
    def neck_axis(self) -> Vector:
        """Unit, from the head centre along the neck."""
        down, turn = np.radians(
            [180.0 - self.shape.neck_shaft_angle_deg, self.shape.femoral_version_deg]
        )
        inside = np.array(
            [np.sin(down) * np.cos(turn), -np.cos(down), -np.sin(down) * np.sin(turn)]
        )
        return inside @ self.femoral_axes

    @cached_property
    def twelve(self) -> Vector:
        """Femoral 12 o'clock: the proximal direction of the shaft made normal to the neck axis."""
        up = self.proximal - (self.proximal @ self.neck_axis) * self.neck_axis
        return up / np.linalg.norm(up)

    @cached_property
    def three(self) -> Vector:
        """Femoral 3 o'clock, anterior."""
        return np.cross(self.neck_axis, self.twelve)

    @cached_property
    def neck_centre_mm(self) -> Vector:
        """Centre of the neck at its narrowest."""
        return self.head_centre_mm + self.shape.neck_waist_mm * self.neck_axis

    @cached_property
    def shaft_point_mm(self) -> Vector:
        """Where the neck axis meets the shaft axis."""
        return self.head_centre_mm + self.shape.neck_length_mm * self.neck_axis

    def neck_radius_mm(self, along_mm: Floats) -> Floats:
        """Radius of the neck by the way along its axis from the head centre."""
        s = self.shape
        past = np.asarray(along_mm) - s.neck_waist_mm
        flare = np.where(past > 0, NECK_FLARE, HEAD_FLARE)
        return np.sqrt(s.neck_radius_mm**2 + (flare * past) ** 2)

    def neck_distance_mm(self, polar: Floats) -> Floats:
        """Distance from the head centre to the neck along a direction; 0 where it is not met."""
        s, polar = self.shape, np.asarray(polar, dtype=np.float64)
        sine, cosine = np.sin(polar), np.cos(polar)
        answer = np.zeros_like(polar)
        # Radius² = waist² + flare² (along − waist place)²: quadratic in the distance d,
        # d² (sine² − f² cosine²) + 2 f² w cosine d − (r² + f² w²) = 0.
        for flare, beyond in ((HEAD_FLARE, False), (NECK_FLARE, True)):
            f2 = flare**2
            a = sine**2 - f2 * cosine**2
            b = f2 * s.neck_waist_mm * cosine
            c = s.neck_radius_mm**2 + f2 * s.neck_waist_mm**2
            root = np.sqrt(np.maximum(b * b + a * c, 0.0))
            # The nearer crossing, written so that it holds where a is zero or less.
            distance = c / (b + root)
            is_beyond = sine * s.neck_waist_mm < s.neck_radius_mm * cosine
            answer = np.where(is_beyond == beyond, distance, answer)
        return np.where(polar < np.radians(NECK_SEEN_DEG), answer, 0.0)

    def cam_start(self, hour_angle: Floats) -> Floats:
        """Angle from the neck axis at which the contour leaves the head sphere, radians."""
        s = self.shape
        share = np.exp(
            s.cam_sharpness * (np.cos(np.asarray(hour_angle) - np.radians(30.0 * s.cam_hour)) - 1)
        )
        return np.radians(s.cam_base_deg + (s.cam_start_deg - s.cam_base_deg) * share)

    def distance_mm(self, polar: Floats, hour_angle: Floats) -> Floats:
        """Distance of the bone from the head centre: polar angle from the neck axis, femoral hour.

        Sphere; within `cam_start` of the axis a bump of height h (1 − exp(−(t/w)²)), t the angle
        past the start; and the neck, a hyperboloid of revolution with its waist at the narrowest.
        """
        s = self.shape
        past = np.maximum(self.cam_start(hour_angle) - polar, 0.0)
        ramp = np.radians(s.cam_ramp_deg)
        head = s.head_radius_mm + s.cam_height_mm * (1.0 - np.exp(-((past / ramp) ** 2)))
        return smooth_max(head, self.neck_distance_mm(polar), JUNCTION_REACH_MM)

    def point(self, polar: Floats, hour_angle: Floats, distance_mm: Floats) -> Points:
        """Points from polar coordinates about head centre and neck axis, (..., 3)."""
        polar, distance = np.asarray(polar)[..., None], np.asarray(distance_mm)[..., None]
        angle = np.asarray(hour_angle)[..., None]
        radial = np.cos(angle) * self.twelve + np.sin(angle) * self.three
        return self.head_centre_mm + distance * (
            np.sin(polar) * radial + np.cos(polar) * self.neck_axis
        )

    def angles_of(self, directions: Floats) -> tuple[Floats, Floats]:
        """Polar angle from the neck axis and femoral hour angle of directions, (..., 3)."""
        unit = directions / np.linalg.norm(directions, axis=-1, keepdims=True)
        polar = np.arccos(np.clip(unit @ self.neck_axis, -1.0, 1.0))
        return polar, np.arctan2(unit @ self.three, unit @ self.twelve)
