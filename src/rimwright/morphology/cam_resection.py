"""How much bone to take from the head-neck junction, by hour, to bring alpha under a target.

In every half-plane through the neck axis the contour after the cut follows the head's sphere and
leaves it in a hollow arc towards the neck; it never goes below the sphere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import CamPlan, Floats, HipGeometry, Mask
from rimwright.errors import CaseRefusal
from rimwright.evidence import EvidenceTable
from rimwright.morphology.cam_cautions import find_cautions, other_targets
from rimwright.morphology.femur.alpha import (
    N_ALPHA_HOURS,
    SEARCHED_FROM_HOUR,
    SEARCHED_TO_HOUR,
    SPIKE_DEG,
    alpha_by_hour,
    alpha_hours,
    departure_mm,
)
from rimwright.morphology.femur.sections import Dial, RadialContours, radial_contours
from rimwright.morphology.femur.surface import prepare_surface
from rimwright.morphology.polar_contours import polar_distances

ANGLES_DEG = np.arange(20.0, 156.0, 0.5)
"""Angles from the neck axis at which the contour is read, deg: 0.2 mm apart on a head of 24 mm;
from the neck beyond its waist to short of the fovea."""
AIM_UNDER_DEG = 1.0
"""The cut aims this far under the target, deg: alpha is read on surfaces to about 1 degree."""
FLUSH_MM = 0.2
"""The cut ends on the head where the contour stands no more than this over the sphere, mm: half the
miss of a real head."""
HOLLOW_SHRINKS, LEAST_HOLLOW_MM = 0.85, 4.0
"""Where the hollow would run on along the neck its radius is made smaller by this factor, down to
this, mm, about a large burr's radius."""
HAIR_MM = 1e-6
"""Taken off the contour before alpha is read, mm, so that it does not just touch the limit."""
STATION_MM = 0.5
"""Step along the neck at which its width is read, mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Outline:
    """Contours of head and neck by hour, with what alpha is read against."""

    radial: RadialContours
    distance_mm: Floats
    radius_mm: float
    departure_mm: float
    neck_mm: float
    waist_deg: float


def plan_cam(
    hip: HipGeometry, table: EvidenceTable, *, target_alpha_deg: float | None = None
) -> CamPlan | str:
    """
    Plan what to take from a cam.

    Parameters
    ----------
    hip
        A hip with femur, head and neck.
    table
        Settings in force: `femur.alpha_cam_deg` and those under `cam`.
    target_alpha_deg
        A target of the user's own, deg.

    Returns
    -------
    CamPlan or str
        The plan, or the reason why there is none: no neck seen, or alpha under the target already.

    Raises
    ------
    CaseRefusal
        A target outside the range of the setting.

    Notes
    -----
    With head radius R, departure e and hollow radius q the contour after the cut, by the angle p
    from the neck axis, is at most R for p over p0 and R + (R (p0 - p))² / 2q under it; p0 is chosen
    so that it reaches R + e, where alpha is read, just under the target. Own method.
    """
    outline = _outline(hip)
    if isinstance(outline, str):
        return outline
    setting = table.setting("femur.alpha_cam_deg")
    target = setting.value if target_alpha_deg is None else float(target_alpha_deg)
    if not setting.low <= target <= setting.high:
        raise CaseRefusal(
            f"a target no cut is worked out for (got {target:g}°, "
            f"need {setting.low:g} to {setting.high:g}°)",
            "cam, target_alpha_deg",
            "Give a target in that range",
        )
    hours = alpha_hours()
    before = _alpha(outline, outline.radial)
    wanted = _hours_over(before, hours, target)
    if not wanted.any():
        seen = before[_is_searched(hours)]
        if not np.isfinite(seen).any():
            return "no contour of head and neck was met from 9 through 12 to 5 o'clock"
        return (
            f"alpha is {np.nanmax(seen):.0f}° at most from 9 through 12 to 5 o'clock, not over the "
            f"target of {target:g}°: no bone to take"
        )
    depth = _depth_map(outline, wanted, aim_deg=target - AIM_UNDER_DEG, table=table)
    after_mm = outline.distance_mm - depth
    after = _alpha(outline, _as_contours(after_mm - HAIR_MM))
    at_waist = depth[:, int(np.searchsorted(ANGLES_DEG, outline.waist_deg, side="right"))]
    share, share_hour = _neck_share(outline, after_mm)
    source = f"femur.alpha_cam_deg ({setting.status})" if target_alpha_deg is None else "the user"
    deepest = np.nanmax(depth, axis=1)
    return CamPlan(
        femoral_hours=hours,
        angles_deg=ANGLES_DEG,
        contour_before_mm=outline.distance_mm,
        contour_after_mm=after_mm,
        depth_map_mm=depth,
        depth_mm=deepest,
        alpha_before_deg=before,
        # hours that nothing is taken from keep the reading of the exact contour
        alpha_after_deg=np.where(deepest > 0.0, after, before),
        target_alpha_deg=target,
        target_source=source,
        other_targets=other_targets(target, table=table),
        resected_hours=np.flatnonzero(wanted),
        neck_share_removed=share,
        neck_share_hour=share_hour,
        volume_mm3=_volume_mm3(outline.distance_mm, after_mm),
        cautions=find_cautions(
            hours=hours,
            depth_mm=deepest,
            alpha_before_deg=before,
            alpha_after_deg=np.where(deepest > 0.0, after, before),
            target_deg=target,
            neck_share=share,
            is_step=at_waist > FLUSH_MM,
            table=table,
        ),
    )


def femoral_dial(hip: HipGeometry) -> Dial | None:
    """Clock round the neck of a measured hip, pelvic frame; None without head or neck."""
    if hip.head is None or hip.femur is None:
        return None
    pelvic = hip.frame.pelvic_from_image
    return Dial(
        centre_mm=pelvic.points(hip.head.centre_mm),
        axis=pelvic.directions(hip.femur.neck_axis),
        twelve=pelvic.directions(hip.femur.femoral_twelve),
        three=pelvic.directions(hip.femur.femoral_three),
    )


def _outline(hip: HipGeometry) -> _Outline | str:
    """Cut head and neck in every half-plane, or say what is missing."""
    dial = femoral_dial(hip)
    if hip.femur_bone is None or hip.head is None:
        return hip.unavailable.get("head", "no femur given")
    if dial is None or hip.femur is None:
        return hip.unavailable.get("femoral_axes", "no neck is seen")
    surface = prepare_surface(hip.femur_bone, frame=hip.frame)
    neck_mm = float(np.linalg.norm(hip.femur.neck_centre_mm - hip.head.centre_mm))
    radial = radial_contours(
        surface.points_mm,
        surface.near(dial.centre_mm, reach_mm=neck_mm + hip.head.radius_mm),
        dial=dial,
        n_hours=N_ALPHA_HOURS,
    )
    return _Outline(
        radial=radial,
        distance_mm=polar_distances(radial, angles_deg=ANGLES_DEG),
        radius_mm=hip.head.radius_mm,
        departure_mm=departure_mm(hip.head.rms_mm),
        neck_mm=neck_mm,
        waist_deg=float(np.degrees(np.arctan2(hip.femur.neck_radius_mm, neck_mm))),
    )


def _alpha(outline: _Outline, contours: RadialContours) -> Floats:
    """Alpha by hour of some contours, read as on the hip itself."""
    return alpha_by_hour(contours, radius_mm=outline.radius_mm, departure=outline.departure_mm)


def _as_contours(distance_mm: Floats) -> RadialContours:
    """Contours by hour and angle as loose segments."""
    angle = np.radians(ANGLES_DEG)
    points = np.stack([distance_mm * np.sin(angle), distance_mm * np.cos(angle)], axis=2)
    half = N_ALPHA_HOURS // 2
    points[half:, :, 0] *= -1.0
    ends = np.stack([points[:, :-1], points[:, 1:]], axis=2).reshape(-1, 2, 2)
    plane = np.repeat(np.arange(N_ALPHA_HOURS) % half, len(ANGLES_DEG) - 1)
    known = np.isfinite(ends).all(axis=(1, 2))
    return RadialContours(
        n_hours=N_ALPHA_HOURS,
        plane=plane[known],
        ends_mm=ends[known],
        outward=np.sign(ends[known][:, 0, 0]),
    )


def _is_searched(hours: Floats) -> Mask:
    """Hours at which a cam is looked for."""
    searched: Mask = (hours >= SEARCHED_FROM_HOUR) | (hours <= SEARCHED_TO_HOUR)
    return searched


def _hours_over(alpha_deg: Floats, hours: Floats, target_deg: float) -> Mask:
    """Hours whose alpha is over the target and no spike."""
    known = np.where(np.isfinite(alpha_deg), alpha_deg, -np.inf)
    beside = np.maximum(np.roll(known, 1), np.roll(known, -1))
    is_spike = np.isfinite(beside) & (known > beside + SPIKE_DEG)
    over: Mask = _is_searched(hours) & (known > target_deg) & ~is_spike
    return over


def _depth_map(outline: _Outline, wanted: Mask, *, aim_deg: float, table: EvidenceTable) -> Floats:
    """What is taken at every hour and angle, mm: full where wanted, running out beyond."""
    hollow_mm = table.number("cam.blend_radius_mm")
    most = np.stack(
        [
            _spare_mm(outline, hour, aim_deg=aim_deg, hollow_mm=hollow_mm)
            for hour in range(N_ALPHA_HOURS)
        ]
    )
    full = np.where(wanted[:, None], most, 0.0)
    step = 12.0 / N_ALPHA_HOURS
    blend = table.number("cam.blend_hours")
    spread = full.copy()
    for away in range(1, int(np.ceil(blend / step))):
        share = 0.5 * (1.0 + np.cos(np.pi * away * step / blend))
        for way in (-away, away):
            spread = np.maximum(spread, share * np.roll(full, way, axis=0))
    return np.minimum(spread, most)


def _spare_mm(outline: _Outline, hour: int, *, aim_deg: float, hollow_mm: float) -> Floats:
    """Bone over the contour aimed at, in one half-plane, by angle, mm; 0 where none may go."""
    contour, radius = outline.distance_mm[hour], outline.radius_mm
    place = np.arange(len(ANGLES_DEG))
    under = int(np.searchsorted(ANGLES_DEG, aim_deg)) - 1
    n_tried = 1 + max(int(np.log(LEAST_HOLLOW_MM / hollow_mm) / np.log(HOLLOW_SHRINKS)), 0)
    for tried_mm in hollow_mm * HOLLOW_SHRINKS ** np.arange(n_tried):
        start_deg = aim_deg + np.degrees(np.sqrt(2.0 * tried_mm * outline.departure_mm) / radius)
        past_mm = radius * np.radians(np.maximum(start_deg - ANGLES_DEG, 0.0))
        over = np.nan_to_num(contour - radius - past_mm**2 / (2.0 * tried_mm))
        # towards the pole the cut ends where the contour has come back to the sphere
        flush = (start_deg <= ANGLES_DEG) & (over <= FLUSH_MM)
        top = int(np.argmax(flush)) if flush.any() else len(over)
        # towards the neck it ends where the hollow comes out of the swelling under the aim
        swollen = np.flatnonzero(over[: under + 1] > 0.0)
        swell = int(swollen[-1]) if len(swollen) else under
        free = np.flatnonzero(over[: swell + 1] <= 0.0)
        out = int(free[-1]) if len(free) else -1
        if out >= 0 and ANGLES_DEG[out] > outline.waist_deg:
            break
    may_go = (place > out) & (place < top) & (outline.waist_deg < ANGLES_DEG)
    return np.where(may_go, np.maximum(over, 0.0), 0.0)


def _neck_share(outline: _Outline, after_mm: Floats) -> tuple[float, float | None]:
    """Largest share of the width, across the neck in one plane, that is taken; and its hour."""
    stations = np.arange(0.0, outline.neck_mm + STATION_MM, STATION_MM)
    before = _radii(outline.distance_mm, stations)
    after = _radii(after_mm, stations)
    width = before + np.roll(before, N_ALPHA_HOURS // 2, axis=0)
    share = np.nan_to_num((before - after) / width)
    hour, _ = np.unravel_index(int(np.argmax(share)), share.shape)
    most = float(share.max())
    return (most, float(alpha_hours()[hour])) if most > 0.0 else (0.0, None)


def _radii(distance_mm: Floats, stations: Floats) -> Floats:
    """Distance of contours from the neck axis at places along it, (hours, stations) mm."""
    angle = np.radians(ANGLES_DEG)[::-1]
    radii = np.full((len(distance_mm), len(stations)), np.nan)
    for hour, row in enumerate(distance_mm[:, ::-1]):
        known = np.isfinite(row)
        if known.sum() < 2:
            continue
        along = np.maximum.accumulate(row[known] * np.cos(angle[known]))
        radii[hour] = np.interp(
            stations, along, row[known] * np.sin(angle[known]), left=np.nan, right=np.nan
        )
    return radii


def _volume_mm3(before_mm: Floats, after_mm: Floats) -> float:
    """Volume between two contours over all hours and angles."""
    angle = np.radians(ANGLES_DEG)
    layer = np.nan_to_num((before_mm**3 - after_mm**3) / 3.0) * np.sin(angle)
    return float(layer.sum() * (angle[1] - angle[0]) * (2.0 * np.pi / N_ALPHA_HOURS))
