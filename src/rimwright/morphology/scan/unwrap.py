"""Directions round a head, in great circles through the socket's pole, and profiles along them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, Points, Side, Vector
from rimwright.morphology.scan.oriented import OrientedGrid
from rimwright.morphology.scan.sampling import read_profiles

N_TURNS = 180
"""Meridians round the pole, 2 degrees apart: 0.8 mm on a head's equator."""
POLAR_DEG = np.arange(1.0, 156.0, 2.0)
"""Angles from the medial pole; beyond lies the neck."""
TYPICAL_OPENING = (0.72, -0.6, 0.35)
"""Lateral, cranial, anterior parts of a usual opening axis: only the map's pole, not a result."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RayMap:
    """
    Rays from a middle.

    Parameters
    ----------
    centre_mm
        (3,), mm, image frame.
    pole, first, second
        Unit: from the middle into the depth of the socket, and where turns are counted from and
        towards.
    directions
        (n_polar, n_turns, 3), unit.
    """

    centre_mm: Vector
    pole: Vector
    first: Vector
    second: Vector
    directions: Floats

    @property
    def shape(self) -> tuple[int, int]:
        """Number of polar angles and of meridians."""
        return self.directions.shape[0], self.directions.shape[1]

    def points_mm(self, radius_mm: Floats) -> Points:
        """Points at a radius on each ray, (n_polar, n_turns, 3) mm."""
        return self.centre_mm + radius_mm[..., None] * self.directions

    def cells(self, points_mm: Points) -> tuple[Floats, Floats, Floats]:
        """
        Where points lie on the map.

        Parameters
        ----------
        points_mm
            (n, 3), mm, image frame.

        Returns
        -------
        polar, turn, radius_mm
            (n,) each: fractional indices of polar angle (beyond the map's end it is larger than
            the last) and of turn, and distance from the middle.
        """
        away = np.asarray(points_mm, dtype=np.float64) - self.centre_mm
        radius = np.sqrt(np.einsum("ij,ij->i", away, away))
        cosine = np.clip(away @ self.pole / np.maximum(radius, 1e-9), -1.0, 1.0)
        polar = (np.degrees(np.arccos(cosine)) - POLAR_DEG[0]) / (POLAR_DEG[1] - POLAR_DEG[0])
        turn = np.arctan2(away @ self.second, away @ self.first) * N_TURNS / (2.0 * np.pi)
        return polar, turn % N_TURNS, radius

    def at(self, field: Floats, polar: Floats, turn: Floats) -> Floats:
        """A map's values between its rays, bilinear; the end ring's beyond its end."""
        low = np.clip(np.floor(polar).astype(int), 0, len(POLAR_DEG) - 2)
        up = np.clip(polar - low, 0.0, 1.0)
        left = np.floor(turn).astype(int) % N_TURNS
        right = (left + 1) % N_TURNS
        across = turn - np.floor(turn)
        return (1 - up) * ((1 - across) * field[low, left] + across * field[low, right]) + up * (
            (1 - across) * field[low + 1, left] + across * field[low + 1, right]
        )

    def solid_angles(self) -> Floats:
        """Solid angle that each ray stands for, (n_polar, n_turns), sr."""
        n_turns = self.shape[1]
        polar = np.radians(self.polar_deg)
        ring = np.sin(polar) * (polar[1] - polar[0])
        return np.repeat(ring[:, None] * (2.0 * np.pi / n_turns), n_turns, axis=1)

    @property
    def polar_deg(self) -> Floats:
        """Angle of each ring from the pole, (n_polar,) deg."""
        n_polar = self.shape[0]
        return POLAR_DEG[:: max(1, round(len(POLAR_DEG) / n_polar))][:n_polar]


def map_rays(centre_mm: Vector, *, side: Side, stride: int = 1) -> RayMap:
    """
    Lay rays out round a head.

    Parameters
    ----------
    centre_mm
        Its middle, mm, image frame.
    side
        Tells which way is medial.
    stride
        Takes every so manieth ray in both directions, for a first look; such a map has no cells.

    Returns
    -------
    RayMap
        A right hip's is the mirror image of a left one's.
    """
    lateral, cranial, anterior = TYPICAL_OPENING
    pole = -np.array([lateral, -anterior, cranial])
    pole /= np.linalg.norm(pole)
    first = np.cross(pole, [0.0, 1.0, 0.0])
    first /= np.linalg.norm(first)
    second = np.cross(pole, first)
    polar = np.radians(POLAR_DEG[::stride])[:, None, None]
    turn = (2.0 * np.pi * np.arange(0, N_TURNS, stride) / N_TURNS)[None, :, None]
    directions = np.cos(polar) * pole + np.sin(polar) * (
        np.cos(turn) * first + np.sin(turn) * second
    )
    flip = np.array([side.lateral_x_lps, 1.0, 1.0])
    return RayMap(
        centre_mm=np.array(centre_mm, dtype=np.float64),
        pole=pole * flip,
        first=first * flip,
        second=second * flip,
        directions=np.ascontiguousarray(directions * flip),
    )


def unwrap(
    grid: OrientedGrid, rays: RayMap, *, start_mm: float, step_mm: float, n_samples: int
) -> Floats:
    """
    Read the scan along all rays.

    Parameters
    ----------
    grid
        The scan.
    rays
        Where to.
    start_mm, step_mm, n_samples
        First radius, distance of the samples, and how many.

    Returns
    -------
    (n_polar, n_turns, n_samples) float32
        Hounsfield units.
    """
    flat = rays.directions.reshape(-1, 3)
    profiles = read_profiles(
        grid,
        np.broadcast_to(rays.centre_mm, flat.shape),
        flat,
        start_mm=start_mm,
        step_mm=step_mm,
        n_samples=n_samples,
    )
    return profiles.reshape(*rays.shape, n_samples)
