"""Alpha angle by femoral hour on the femoral pictures of a CT."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Mask, Measurement, Modality, SphereFit, Volume, spoken_hour
from rimwright.errors import LayoutRefusal
from rimwright.morphology.femur.alpha import (
    DEPARTURE_MM,
    HEAD_SEEN_DEG,
    LIP_MM,
    departure_mm,
)
from rimwright.morphology.reformat.head_outline import (
    ANGLE_STEP_DEG,
    HeadOutline,
    ray_grid,
    trace_outline,
)
from rimwright.morphology.reformat.plane import NeckPlane
from rimwright.morphology.reformat.ray_sampling import sample_points

SEEN_LEAST = 0.6
"""Share of the rays over the head's edge that must show their edge for an hour to be read."""
NECK_SIDE_DEG = 60.0
"""Rays nearer to the neck axis than this meet the place where a head without cam ends."""
JUMP_MM = 1.5
"""The outline leaves the circle in steps of 0.3 mm from ray to ray; a greater step than this is
the edge of another bone, mm."""
MOST_ALPHA_DEG = 110.0
"""A way out nearer to the pole than this lies under the socket's roof: it is not of the femur."""
UNRESOLVED = "part of the head's outline is not told from the socket: the joint is narrow here"
COARSE_MM = 1.5
"""A voxel longer than this blurs the outline by more than the departure looked for, mm."""
TOO_COARSE_MM = 2.5
"""A voxel longer than this cannot tell an outline one departure off the sphere, mm: at 3 mm made
heads read up to 12° wrong."""
METHOD = "radial CT picture through the neck axis, edge half way between soft tissue and bone"
BY_EYE = "on MR the outline of the bone is read by eye: no edge is told from signal alone"


@dataclass(frozen=True, slots=True, kw_only=True)
class AlphaAtHour:
    """
    The alpha angle in one half of one picture.

    Parameters
    ----------
    femoral_hour
        Hour on the femoral clock.
    alpha
        deg; refused with its reason where it could not be read.
    """

    femoral_hour: float
    alpha: Measurement


@dataclass(frozen=True, slots=True, kw_only=True)
class _WayOut:
    """Where the outline leaves the head, and whether another bone's edge was passed over."""

    angle_deg: float
    skipped: bool


def alpha_on_reformats(
    volume: Volume, planes: Sequence[NeckPlane], *, head: SphereFit | None = None
) -> tuple[AlphaAtHour, ...]:
    """
    Read the alpha angle in both halves of every femoral picture.

    Parameters
    ----------
    volume
        The CT the pictures are of; an MR is refused reading by reading.
    planes
        Femoral planes; an acetabular plane is an error.
    head
        Sphere of the femoral head; that of the planes' clock where left out.

    Returns
    -------
    tuple of AlphaAtHour
        In order of femoral hour.

    Raises
    ------
    TypeError
        A plane that is not a femoral one.
    LayoutRefusal
        No sphere of the head is known.

    Notes
    -----
    The outline is read on rays from the head's centre, half a degree apart, within the plane of
    the picture and straight from the volume: one interpolation, not two. From the pole towards
    the neck, the first place where the outline lies `DEPARTURE_MM` outside the sphere for longer
    than `LIP_MM` is P; alpha is the angle at the centre between neck axis and P, as on bones.
    """
    if not all(isinstance(plane, NeckPlane) for plane in planes):
        raise TypeError("alpha is read on femoral planes: acetabular ones are never mixed in")
    if volume.modality is not Modality.CT:
        refused = Measurement.refused("deg", BY_EYE, method=METHOD)
        hours = sorted({hour for p in planes for hour in (p.hour, p.opposite_hour)})
        return tuple(AlphaAtHour(femoral_hour=hour, alpha=refused) for hour in hours)
    found: dict[float, AlphaAtHour] = {}
    for plane in planes:
        sphere = head if head is not None else plane.clock.head
        if sphere is None:
            raise LayoutRefusal(
                "the femoral head was not measured", "alpha angle", "Measure the hip on its CT"
            )
        for hour in (plane.hour, plane.opposite_hour):
            reading = _read(volume, plane, hour, head=sphere)
            found[hour] = AlphaAtHour(femoral_hour=hour, alpha=reading)
    return tuple(found[hour] for hour in sorted(found))


def _read(volume: Volume, plane: NeckPlane, hour: float, *, head: SphereFit) -> Measurement:
    """The alpha angle of one hour."""
    angles, distances = ray_grid(head.radius_mm)
    turn = np.radians(angles)[:, None]
    rays = np.cos(turn) * plane.clock.axis + np.sin(turn) * plane.clock.towards(hour)
    points = head.centre_mm + distances[None, :, None] * rays[:, None, :]
    outline = trace_outline(
        sample_points(volume, points),
        angles_deg=angles,
        distances_mm=distances,
        radius_mm=head.radius_mm,
    )
    if isinstance(outline, str):
        return Measurement.refused("deg", outline, method=METHOD)
    departure = departure_mm(head.rms_mm)
    way_out = _way_out(outline, limit_mm=head.radius_mm + departure)
    if isinstance(way_out, str):
        return Measurement.refused("deg", way_out, method=METHOD)
    coarse_mm = float(volume.spacing_mm.max())
    if coarse_mm > TOO_COARSE_MM:
        return Measurement.refused(
            "deg",
            f"voxels are {coarse_mm:.1f} mm long (need {TOO_COARSE_MM:.1f} mm at most)",
            method=METHOD,
        )
    reading = Measurement(
        value=way_out.angle_deg,
        unit="deg",
        method=f"{METHOD} ({outline.soft_hu:.0f} and {outline.bone_hu:.0f} HU); outline over "
        f"{departure:.1f} mm outside the head sphere, at femoral {spoken_hour(hour)}",
        spread=_edge_spread_deg(outline, way_out.angle_deg),
    )
    if way_out.skipped:
        reading = reading.doubted(UNRESOLVED)
    if coarse_mm > COARSE_MM:
        reading = reading.doubted(
            f"voxels are {coarse_mm:.1f} mm long (need {COARSE_MM:.1f} mm at most)"
        )
    if departure > 1.5 * DEPARTURE_MM:
        reading = reading.doubted(
            f"on a head this rough ({head.rms_mm:.1f} mm rms) the outline counts as off the "
            f"sphere from {departure:.1f} mm on"
        )
    for note in plane.clock.notes:
        reading = reading.doubted(note)
    return reading


def _way_out(outline: HeadOutline, *, limit_mm: float) -> _WayOut | str:
    """The first lasting way out, from the pole towards the neck, or why there is none."""
    angles, radii = outline.angles_deg[::-1], outline.radii_mm[::-1]
    least = int(np.ceil(np.degrees(LIP_MM / limit_mm) / ANGLE_STEP_DEG))
    skipped = False
    for begin, end in _runs(radii > limit_mm):  # NaN is not out
        if end - begin < least:
            continue
        last = radii[begin - 1] if begin else np.nan
        if angles[begin] > MOST_ALPHA_DEG or not radii[begin] - last <= JUMP_MM:
            skipped = True  # the edge of the other bone, seen across a joint too narrow
            continue
        on_head = (angles > angles[begin]) & (angles <= angles[begin] + HEAD_SEEN_DEG)
        if np.isfinite(radii[on_head]).mean() < SEEN_LEAST:
            return "the outline of the head is not seen up to where it is left"
        share = (limit_mm - last) / (radii[begin] - last)
        angle = float(angles[begin - 1] + share * (angles[begin] - angles[begin - 1]))
        return _WayOut(angle_deg=angle, skipped=skipped)
    if skipped:
        return "where the head is left, its outline is not told from another bone"
    if np.isfinite(radii[angles < NECK_SIDE_DEG]).mean() < SEEN_LEAST:
        return "the outline is not seen where it should leave the head"
    return "the outline does not leave the head within the picture"


def _runs(flags: Mask) -> list[tuple[int, int]]:
    """Begin and end of every run of True."""
    padded = np.concatenate([[False], flags, [False]])
    steps = np.flatnonzero(padded[1:] != padded[:-1])
    return [(int(a), int(b)) for a, b in steps.reshape(-1, 2)]


def _edge_spread_deg(outline: HeadOutline, alpha: float) -> float:
    """Scatter of the edge about a smooth outline near the place, over the outline's slope, deg."""
    near = np.abs(outline.angles_deg - alpha) <= HEAD_SEEN_DEG / 2
    angles, radii = outline.angles_deg[near], outline.radii_mm[near]
    seen = np.isfinite(radii)
    if np.count_nonzero(seen) < 6:
        return HEAD_SEEN_DEG / 2
    curve = np.polynomial.Polynomial.fit(angles[seen], radii[seen], 3)
    scatter = float(np.std(radii[seen] - curve(angles[seen])))
    slope = abs(float(curve.deriv()(alpha)))
    return min(scatter / max(slope, 1e-3), HEAD_SEEN_DEG / 2)
