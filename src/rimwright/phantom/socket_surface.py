"""The surfaces of the socket as explicit functions of polar angle and hour angle.

Everything is about the socket centre in the construction frame: polar angle from the medial
pole (minus the construction axis), hour angle from construction 12 towards anterior. A bone
point is centre + distance * (sin(polar) * radial - cos(polar) * axis).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from rimwright.anatomy import Floats, Points, Vector
from rimwright.phantom.shape import HipShape

NOTCH_STEP_MM = 1.5
"""Width along the rim of the slope from the lunate's horn to the floor of the notch, mm."""
NOTCH_DIP_MM = 5.0
"""Width along the rim over which the edge recedes beside a horn, mm."""
WALL_BLEND_MM = 3.0
"""Reach of the rounding between outer wall and the body behind the socket, mm at scale 1."""
PLATE_BLEND_MM = 3.0
"""Reach of the rounding between that body and the inner pelvic wall, mm."""
PLATE_NORMAL = (-0.985, 0.03, -0.17)
"""Medial direction the inner pelvic wall faces: lateral, cranial, anterior (not unit)."""


def rise(fraction: Floats) -> Floats:
    """Smooth step from 0 to 1 over 0..1 with two continuous derivatives."""
    t = np.clip(fraction, 0.0, 1.0)
    return t * t * t * (10.0 + t * (6.0 * t - 15.0))


def bump(angle: Floats, centre: float, sharpness: float) -> Floats:
    """Periodic bump of height 1 at `centre`, radians."""
    return np.exp(sharpness * (np.cos(angle - centre) - 1.0))


def smooth_min(first: Floats, second: Floats, reach: float) -> Floats:
    """Minimum rounded where the two differ by less than `reach`, exact elsewhere."""
    gap = np.maximum(reach - np.abs(first - second), 0.0)
    return np.minimum(first, second) - gap * gap / (4.0 * reach)


@dataclass(frozen=True, kw_only=True, eq=False)
class SocketSurface:
    """
    Lunate sphere, fossa, notch, rounded edge and outer wall of one shape.

    Parameters
    ----------
    shape
        Its numbers.
    """

    shape: HipShape

    @cached_property
    def axis(self) -> Vector:
        """Construction axis, out of the socket: lateral, cranial, anterior."""
        lean, turn = np.radians(
            [self.shape.opening_inclination_deg, self.shape.opening_version_deg]
        )
        return np.array([np.sin(lean) * np.cos(turn), -np.cos(lean), np.sin(lean) * np.sin(turn)])

    @cached_property
    def twelve(self) -> Vector:
        """Construction 12 o'clock, unit."""
        up = np.array([0.0, 1.0, 0.0])
        up = up - (up @ self.axis) * self.axis
        up /= np.linalg.norm(up)
        turn = np.radians(30.0 * self.shape.notch_turn_hours)
        # The notch (6) turns towards anterior (3), so 12 turns towards 9.
        return np.cos(turn) * up - np.sin(turn) * np.cross(self.axis, up)

    @cached_property
    def three(self) -> Vector:
        """Construction 3 o'clock (anterior), unit."""
        return np.cross(self.axis, self.twelve)

    @property
    def radius_mm(self) -> float:
        """Radius of the lunate sphere."""
        return self.shape.socket_radius_mm

    def radial(self, hour_angle: Floats) -> Floats:
        """Unit directions in the plane of the construction dial, (..., 3)."""
        angle = np.asarray(hour_angle)[..., None]
        return np.cos(angle) * self.twelve + np.sin(angle) * self.three

    def point(self, polar: Floats, hour_angle: Floats, distance_mm: Floats) -> Points:
        """Points from polar coordinates (radians, radians, mm), (..., 3)."""
        polar, distance = np.asarray(polar)[..., None], np.asarray(distance_mm)[..., None]
        return distance * (np.sin(polar) * self.radial(hour_angle) - np.cos(polar) * self.axis)

    # Notch -----------------------------------------------------------------------------

    @cached_property
    def notch_half_width(self) -> float:
        """Half the notch, from its middle (hour angle pi) to a horn, radians."""
        return float(np.radians(15.0 * self.shape.notch_width_hours))

    def past_horn_mm(self, hour_angle: Floats) -> Floats:
        """Way into the notch from the nearer horn along the sphere's equator, mm; < 0 outside."""
        off = np.abs((np.asarray(hour_angle) % (2 * np.pi)) - np.pi)
        return (self.notch_half_width - off) * self.radius_mm

    def floor_share(self, hour_angle: Floats) -> Floats:
        """0 on the horns, 1 on the floor of the notch, straight between."""
        return np.clip(self.past_horn_mm(hour_angle) / NOTCH_STEP_MM, 0.0, 1.0)

    # Bony edge --------------------------------------------------------------------------

    def wedge(self, hour_angle: Floats) -> Floats:
        """Angle of bone between articular and outer face at the edge, radians."""
        angle = np.asarray(hour_angle)
        extra = 20.0 * bump(angle, np.radians(24.0), 1.6) - 7.0 * bump(
            angle, np.radians(102.0), 7.0
        )
        return np.radians(self.shape.rim_wedge_deg + extra)

    def edge_polar(self, hour_angle: Floats) -> Floats:
        """Polar angle of the bony edge, radians."""
        s, angle = self.shape, np.asarray(hour_angle)
        degrees = (
            s.rim_mean_deg
            + s.rim_second_deg[0] * np.cos(2 * angle)
            + s.rim_second_deg[1] * np.sin(2 * angle)
            + s.rim_third_deg[0] * np.cos(3 * angle)
            + s.rim_third_deg[1] * np.sin(3 * angle)
            - s.psoas_dip_deg * bump(angle, np.radians(30.0 * s.psoas_hour), s.psoas_sharpness)
            - s.notch_dip_deg * rise(self.past_horn_mm(angle) / NOTCH_DIP_MM)
        )
        return np.radians(degrees)

    def base_distance_mm(self, hour_angle: Floats) -> Floats:
        """Distance of the joint face just inside the edge: lunate, or floor of the notch."""
        return self.radius_mm + self.shape.fossa_depth_mm * self.floor_share(hour_angle)

    def _rounding(self, hour_angle: Floats, share: Floats | float) -> tuple[Floats, Floats]:
        """Along and across the tangent point's ray: a point of the rounding, mm."""
        turn = share * (np.pi - self.wedge(hour_angle))
        r = self.shape.rim_rounding_mm
        return self.base_distance_mm(hour_angle) + r * (1.0 - np.cos(turn)), r * np.sin(turn)

    def tangent_polar(self, hour_angle: Floats) -> Floats:
        """Polar angle at which the joint face ends and the rounding begins, radians."""
        along, across = self._rounding(hour_angle, 0.5)
        return self.edge_polar(hour_angle) - np.arctan2(across, along)

    def rounding_polar(self, hour_angle: Floats, share: Floats | float) -> tuple[Floats, Floats]:
        """Polar angle and distance on the rounding; share 0 joint face, 1/2 edge, 1 outer wall."""
        along, across = self._rounding(hour_angle, share)
        return self.tangent_polar(hour_angle) + np.arctan2(across, along), np.hypot(along, across)

    def edge_points(self, hour_angle: Floats) -> Points:
        """The true bony edge: the middle of the rounding, (..., 3)."""
        polar, distance = self.rounding_polar(hour_angle, 0.5)
        return self.point(polar, hour_angle, distance)

    def edge_normal(self, hour_angle: Floats) -> Floats:
        """Outward bone normal at the edge in the radial plane, half-way between the faces."""
        polar = self.tangent_polar(hour_angle)
        turn = 0.5 * (np.pi - self.wedge(hour_angle))
        ray = self.point(polar, hour_angle, np.ones_like(polar))
        along = self.point(polar + np.pi / 2, hour_angle, np.ones_like(polar))
        return -ray * np.cos(turn)[..., None] + along * np.sin(turn)[..., None]

    def edge_travel(self, hour_angle: Floats) -> Floats:
        """Direction over the edge from the joint side to the outer bone, in the radial plane."""
        polar = self.tangent_polar(hour_angle)
        turn = 0.5 * (np.pi - self.wedge(hour_angle))
        ray = self.point(polar, hour_angle, np.ones_like(polar))
        along = self.point(polar + np.pi / 2, hour_angle, np.ones_like(polar))
        return ray * np.sin(turn)[..., None] + along * np.cos(turn)[..., None]

    # Joint face -------------------------------------------------------------------------

    def fossa_polar(self, hour_angle: Floats) -> Floats:
        """Polar angle of the edge between lunate and fossa, radians (outside the notch)."""
        s = self.shape
        return np.radians(
            s.fossa_polar_deg + s.fossa_growth_deg * (1.0 - np.cos(np.asarray(hour_angle))) / 2.0
        )

    def fossa_floor_polar(self, hour_angle: Floats) -> Floats:
        """Polar angle at which the slope from the lunate has reached the fossa's floor."""
        edge = self.fossa_polar(hour_angle)
        return edge - self.shape.fossa_wall_mm / self.radius_mm

    def joint_distance_mm(self, polar: Floats, hour_angle: Floats) -> Floats:
        """Distance of the joint face from the centre at any direction inside the edge."""
        width = self.shape.fossa_wall_mm / self.radius_mm
        down = np.clip((self.fossa_polar(hour_angle) - polar) / width, 0.0, 1.0)
        share = 1.0 - (1.0 - down) * (1.0 - self.floor_share(hour_angle))
        return self.radius_mm + self.shape.fossa_depth_mm * share

    # Outer bone -------------------------------------------------------------------------

    def outer_distance_mm(self, polar: Floats, hour_angle: Floats) -> Floats:
        """Distance of the outer face of the socket's body at a polar angle behind the edge."""
        s, k = self.shape, self.shape.scale
        end_polar, end_distance = self.rounding_polar(hour_angle, 1.0)
        # The wall is a straight line in the radial plane, tangent to the end of the rounding.
        turn = np.pi - self.wedge(hour_angle)
        normal_polar = self.tangent_polar(hour_angle) + np.pi - turn
        # Normal of the wall = -ray*cos(turn) + along*sin(turn): polar angle tangent + pi - turn.
        reach = end_distance * np.cos(end_polar - normal_polar)
        wall = reach / np.maximum(np.cos(polar - normal_polar), 0.05)
        angle = np.asarray(hour_angle)
        thick = (
            10.0
            + 9.0 * bump(angle, np.radians(20.0), 1.5)
            + 4.0 * bump(angle, np.radians(255.0), 3.0)
            - 2.5 * bump(angle, np.radians(102.0), 8.0)
        )
        middle = 13.0
        spread = rise(polar / np.radians(45.0))
        thickness = s.wall_scale * k * (middle + (thick - middle) * spread)
        body = self.radius_mm + thickness
        normal = np.array(PLATE_NORMAL) / np.linalg.norm(PLATE_NORMAL)
        facing = self.point(polar, hour_angle, np.ones_like(polar)) @ normal
        plate_mm = self.radius_mm + s.fossa_depth_mm + s.floor_thickness_mm
        plate = plate_mm / np.maximum(facing, 0.05)
        body = smooth_min(body, plate, PLATE_BLEND_MM)
        return smooth_min(wall, body, WALL_BLEND_MM * s.wall_scale * k)
