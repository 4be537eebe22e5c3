"""Joint space and head–neck contour of a synthetic hip from its analytic surfaces."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Floats
from rimwright.phantom.dial import SocketDial
from rimwright.phantom.femur_surface import FemurSurface

N_HALVINGS = 60
"""Halvings of the half-turn an alpha angle is sought in: to rounding."""
LEAST_PERCENT = 1.0
"""The least joint space is this percentile over the lunate's area, %."""


def alpha_deg(femur: FemurSurface, hour_angles: Floats, *, departure_mm: float) -> Floats:
    """
    Alpha angle in radial planes of the femoral clock.

    Parameters
    ----------
    femur
        The femur's surface, built frame.
    hour_angles
        (n,) radians from femoral 12 towards 3.
    departure_mm
        How far beyond the head's radius the contour must lie, mm, > 0.

    Notes
    -----
    From the head's far pole towards the neck the contour never comes nearer, so the first point
    beyond radius + departure is the root of one monotone function.
    """
    angles = np.asarray(hour_angles, dtype=np.float64)
    limit = femur.shape.head_radius_mm + departure_mm
    low, high = np.full_like(angles, np.radians(10.0)), np.full_like(angles, np.pi)
    for _ in range(N_HALVINGS):
        middle = 0.5 * (low + high)
        is_beyond = femur.distance_mm(middle, angles) > limit
        low, high = np.where(is_beyond, middle, low), np.where(is_beyond, high, middle)
    return np.degrees(0.5 * (low + high))


def joint_space_mm(dial: SocketDial, femur: FemurSurface, directions: Floats) -> Floats:
    """Gap along rays from the head centre, (..., 3) built frame; NaN where no lunate is met."""
    surface = dial.surface
    unit = directions / np.linalg.norm(directions, axis=-1, keepdims=True)
    start = femur.head_centre_mm
    along = unit @ start
    reach = -along + np.sqrt(along**2 + surface.radius_mm**2 - start @ start)
    met = start + reach[..., None] * unit
    polar = np.arccos(np.clip(-(met @ surface.axis) / surface.radius_mm, -1.0, 1.0))
    angle = np.arctan2(met @ surface.three, met @ surface.twelve)
    is_lunate = (
        (polar >= surface.fossa_polar(angle))
        & (polar <= surface.tangent_polar(angle))
        & (surface.floor_share(angle) <= 0.0)
    )
    gap = reach - femur.distance_mm(*femur.angles_of(unit))
    return np.where(is_lunate, gap, np.nan)


def joint_space_at(dial: SocketDial, femur: FemurSurface, hours: Floats) -> Floats:
    """Median gap over the lunate along each hour, evenly by arc on its sphere, (n,) mm."""
    angle = np.radians(30.0 * np.asarray(hours, dtype=np.float64))[:, None, None]
    polar = np.linspace(np.radians(20.0), np.radians(110.0), 901)[None, :, None]
    radial = np.cos(angle) * dial.twelve + np.sin(angle) * dial.three
    on_sphere = dial.surface.radius_mm * (
        np.sin(polar) * radial - np.cos(polar) * dial.opening_axis
    )
    gap = joint_space_mm(dial, femur, on_sphere - femur.head_centre_mm)
    middle = np.full(len(gap), np.nan)
    is_seen = np.isfinite(gap).any(axis=1)
    middle[is_seen] = np.nanmedian(gap[is_seen], axis=1)
    return middle


def lunate_gaps_mm(dial: SocketDial, femur: FemurSurface) -> tuple[Floats, Floats]:
    """Gaps at places all over the lunate, ascending, mm, and the share of its area up to each."""
    surface = dial.surface
    angle = np.linspace(*dial.bony_range, 481)[:, None]
    inner = np.cos(surface.fossa_polar(angle))
    outer = np.cos(surface.tangent_polar(angle))
    # Even in the cosine of the polar angle is even in area along one strip.
    polar = np.arccos(inner + (outer - inner) * (np.arange(80) + 0.5) / 80)
    weights = np.broadcast_to(inner - outer, polar.shape).ravel()
    angle = np.broadcast_to(angle, polar.shape)
    place = surface.point(polar, angle, np.full_like(polar, surface.radius_mm))
    gaps = joint_space_mm(dial, femur, place - femur.head_centre_mm).ravel()
    order = np.argsort(gaps)
    order = order[np.isfinite(gaps[order])]
    return gaps[order], np.cumsum(weights[order]) / weights[order].sum()


def joint_space_least_mm(dial: SocketDial, femur: FemurSurface) -> float:
    """First percentile of the gap over the lunate's area."""
    gaps, shares = lunate_gaps_mm(dial, femur)
    return float(np.interp(LEAST_PERCENT / 100.0, shares, gaps))
