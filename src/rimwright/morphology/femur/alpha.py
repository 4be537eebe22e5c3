"""Alpha angle by femoral hour, and the head-neck offset, on planes through the neck axis."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Floats, Ints
from rimwright.morphology.femur.sections import RadialContours, radii_along

ALPHA_STEP_HOURS = 0.25
"""Step of the femoral hours."""
N_ALPHA_HOURS = 48
"""Radial half-planes: every quarter of an hour."""
DEPARTURE_MM = 1.0
"""The contour has left the head when it lies this much outside the sphere, mm: about three times
the miss (0.33 mm rms) of a real head; at half of it, roughness is taken for a cam."""
DEPARTURE_OF_MISS = 3.0
"""On a head rougher than that, the departure is this many times its miss (rms)."""
LIP_MM = 2.0
"""Runs outside the sphere shorter than this along the contour are a lip or roughness, mm."""
POLE_DEG = 155.0
"""Nearer to the pole than this the contour is fovea and ligament, not head-neck outline."""
HEAD_SEEN_DEG = 10.0
"""Contour must be met within this on the head's side of the angle found, else it is a hole."""
SEARCHED_FROM_HOUR, SEARCHED_TO_HOUR = 9.0, 5.0
"""The largest alpha angle is looked for from 9 through 12 to 5 o'clock, where cams are; below and
behind, the outline leaves the head at the calcar and the folds of the capsule."""
SPIKE_DEG = 15.0
"""An angle that stands this far over both neighbours (a quarter hour, under 3 mm, away) is
roughness, not a cam."""
OFFSET_BEYOND_RADII = 0.2
"""The anterior tangent is looked for up to this many head radii beyond the narrowest neck."""
OFFSET_STEP_MM = 0.5
"""Step along the neck for the anterior tangent, mm."""


def alpha_by_hour(
    contours: RadialContours,
    *,
    radius_mm: float,
    shift_mm: Floats | None = None,
    departure: float = DEPARTURE_MM,
) -> Floats:
    """
    Alpha angle in every half-plane of the dial.

    Parameters
    ----------
    contours
        Planes through the head centre that hold the neck axis.
    radius_mm
        Head radius.
    shift_mm
        (3,) what to move the head centre by: towards 12, towards 3, along the axis, mm.
    departure
        How far outside the sphere the contour has left the head, mm.

    Returns
    -------
    Floats
        (n_hours,), deg; NaN where the contour is not met on both sides of the place.

    Notes
    -----
    Roots of |x| = R + departure on every segment. From the pole of the head towards the neck,
    the first lasting way out is P; alpha is the angle at the centre between neck axis and P.
    """
    half = contours.n_hours // 2
    ends = contours.ends_mm
    if shift_mm is not None:
        hour_angles = 2.0 * np.pi * np.arange(half) / contours.n_hours
        sideways = np.cos(hour_angles) * shift_mm[0] + np.sin(hour_angles) * shift_mm[1]
        ends = ends.copy()
        ends[:, :, 0] -= sideways[contours.plane][:, None]
        ends[:, :, 1] -= shift_mm[2]
    limit = radius_mm + departure
    start, run = ends[:, 0], ends[:, 1] - ends[:, 0]
    # |start + s run|² = limit²
    squared = np.einsum("ij,ij->i", run, run)
    mixed = np.einsum("ij,ij->i", start, run)
    rest = np.einsum("ij,ij->i", start, start) - limit**2
    inside = mixed**2 - squared * rest
    real = (inside > 0.0) & (squared > 0.0)
    root = np.sqrt(inside[real])
    planes, angles, hours = [], [], []
    for sign in (-1.0, 1.0):
        share = (-mixed[real] + sign * root) / squared[real]
        met = (share >= 0.0) & (share < 1.0)
        place = start[real][met] + share[met, None] * run[real][met]
        planes.append(contours.plane[real][met])
        angles.append(np.degrees(np.arctan2(np.abs(place[:, 0]), place[:, 1])))
        hours.append(np.where(place[:, 0] < 0.0, half, 0))
    hour = np.concatenate(planes) + np.concatenate(hours)
    angle: Floats = np.concatenate(angles)
    kept = angle < POLE_DEG
    hour, angle = hour[kept], angle[kept]
    seen = _head_contour(contours, ends, limit)
    return _first_way_out(hour, angle, seen=seen, radius_mm=limit)


def head_neck_offset_mm(
    contours: RadialContours,
    *,
    hour_index: int,
    radius_mm: float,
    neck_mm: float,
    alpha_deg: float,
) -> float | None:
    """
    Head radius less the distance of the neck's tangent, parallel to the axis, at one hour.

    Parameters
    ----------
    contours
        Planes through the head centre that hold the neck axis.
    hour_index
        Half-plane of the hour asked for.
    radius_mm, neck_mm
        Head radius; distance of the narrowest neck from the head centre.
    alpha_deg
        Alpha angle of that hour: the neck's contour begins where the head's ends.

    Returns
    -------
    float or None
        mm; None where the contour is not met.
    """
    begin = max(radius_mm * np.cos(np.radians(alpha_deg)), 0.0)
    end = neck_mm + OFFSET_BEYOND_RADII * radius_mm
    if end - begin < OFFSET_STEP_MM:
        return None
    stations = np.arange(begin, end, OFFSET_STEP_MM)
    radii = radii_along(contours, along_mm=stations)[hour_index]
    met = np.isfinite(radii)
    if met.mean() < 0.7:
        return None
    return float(radius_mm - radii[met].min())


def departure_mm(miss_mm: float) -> float:
    """How far outside the sphere the contour of a head of this roughness (rms) has left it, mm."""
    return max(DEPARTURE_MM, DEPARTURE_OF_MISS * miss_mm)


def largest_alpha(alpha_deg: Floats) -> int | None:
    """
    Index of the largest alpha angle that is no spike.

    Parameters
    ----------
    alpha_deg
        (48,), deg, every quarter of an hour; NaN where not seen.

    Returns
    -------
    int or None
        Its place; None where nothing is seen from 9 through 12 to 5 o'clock.
    """
    hours = alpha_hours()
    searched = (hours >= SEARCHED_FROM_HOUR) | (hours <= SEARCHED_TO_HOUR)
    known = np.where(np.isfinite(alpha_deg), alpha_deg, -np.inf)
    beside = np.maximum(np.roll(known, 1), np.roll(known, -1))
    alone = ~np.isfinite(beside)
    lasting = np.where(searched & (alone | (known <= beside + SPIKE_DEG)), known, -np.inf)
    place = int(np.argmax(lasting))
    return place if np.isfinite(lasting[place]) else None


def alpha_hours() -> Floats:
    """The femoral hours of the curve, (48,): 0, 0.25 … 11.75."""
    hours: Floats = np.arange(N_ALPHA_HOURS, dtype=np.float64) * ALPHA_STEP_HOURS
    return hours


def _head_contour(contours: RadialContours, ends: Floats, limit: float) -> Floats:
    """Which angles (n_hours, 181) from the neck axis hold contour near or inside the sphere."""
    half = contours.n_hours // 2
    reach = np.linalg.norm(ends, axis=2)
    near = (reach < limit * 1.001).all(axis=1)
    hour = contours.plane[near][:, None] + np.where(ends[near][:, :, 0] < 0.0, half, 0)
    angle = np.degrees(np.arctan2(np.abs(ends[near][:, :, 0]), ends[near][:, :, 1]))
    seen = np.zeros((contours.n_hours, 181), dtype=bool)
    seen[hour.ravel(), np.round(angle).astype(np.int64).ravel()] = True
    return seen


def _first_way_out(hour: Ints, angle: Floats, *, seen: Floats, radius_mm: float) -> Floats:
    """Largest angle of each hour at which the contour goes out for longer than a lip."""
    lip_deg = float(np.degrees(LIP_MM / radius_mm))
    alpha = np.full(len(seen), np.nan)
    order = np.lexsort((-angle, hour))
    hour, angle = hour[order], angle[order]
    begins = np.searchsorted(hour, np.arange(len(seen) + 1))
    for index in range(len(seen)):
        ways = angle[begins[index] : begins[index + 1]]
        # Ways alternate out, in, out …: an even run before the last is a closed lip.
        place = 0
        while place + 1 < len(ways) and ways[place] - ways[place + 1] < lip_deg:
            place += 2
        if place >= len(ways):
            continue
        low = int(np.ceil(ways[place]))
        if seen[index, low : min(low + int(HEAD_SEEN_DEG), 180)].any():
            alpha[index] = ways[place]
    return alpha
