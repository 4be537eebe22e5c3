"""The neck: its narrowest section beyond the head, and the axis from the head centre to it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, Ints, Vector
from rimwright.errors import BoneRefusal
from rimwright.morphology.femur.head import FoundHead
from rimwright.morphology.femur.sections import (
    Dial,
    plane_directions,
    radial_contours,
    radii_along,
)
from rimwright.morphology.femur.surface import WHERE, FemurSurface

N_RAYS = 72
"""Half-planes round the axis for a section of the neck."""
STEP_MM = 0.5
"""Step of the sections along the axis, mm."""
FROM_RADII, TO_RADII = 0.55, 2.8
"""Where the narrowest section is looked for, in head radii from the head centre: from inside the
head's edge to well past the base of a long neck."""
SHELL_FROM, SHELL_TO = 1.15, 1.6
"""Surface this many radii from the centre is neck on any femur: it gives the first direction."""
MET_LEAST = 0.85
"""Share of the rays that must meet surface for a section to count."""
NARROW_MOST = 0.85
"""Largest area of the narrowest section over the head's disc for it to be a neck."""
FLOOR_FRACTION = 0.04
"""Sections within this share of the smallest area make the flat stretch of the neck."""
GOES_ON_RADII = 3.5
"""A bone that reaches this many head radii from its head's centre must show a neck."""
TUBE_RADII = 1.7
"""Triangles within this many head radii of the first axis can be the neck's outline."""
BOTTOM_FRACTION = 0.01
"""Sections within this share of the smallest area place its bottom; further up, the valley's
flanks are no parabolas."""
BOTTOM_STEP_MM = 0.25
"""Step at which the bottom of the narrowing is tried before it is interpolated, mm."""
INSIDE_BALL = 0.85
"""A section whose edge lies within this many head radii of the head centre lies inside the ball: a
neck's leaves the ball at one radius, and a flattened head's a little before."""
N_TURNS = 25
"""Most corrections of the axis."""
SETTLED_RAD = 1e-6
"""The axis has settled when it turns less than this."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundNeck:
    """
    The neck's axis and narrowest section, pelvic frame.

    Parameters
    ----------
    centre_mm, axis
        (3,) centre of the narrowest section; unit, head centre to it.
    radius_mm
        Radius of the circle of the same area, mm.
    along_mm
        Distance of the narrowest section from the head centre, mm.
    slope
        (3,), drift of the section centres per mm along the axis: what the axis would turn by
        if the narrowest section were taken a little nearer or further.
    floor_mm
        Length of neck whose sections are within a few per cent of the narrowest, mm.
    """

    centre_mm: Vector
    axis: Vector
    radius_mm: float
    along_mm: float
    slope: Vector
    floor_mm: float


def find_neck(surface: FemurSurface, head: FoundHead) -> FoundNeck | str:
    """
    Find the neck behind a head.

    Parameters
    ----------
    surface, head
        Pelvic frame.

    Returns
    -------
    FoundNeck or str
        The neck, or the reason why none is seen: the bone ends too near to the head, or its surface
        has walls within it.

    Raises
    ------
    BoneRefusal
        The bone goes on behind the head but narrows nowhere.

    Notes
    -----
    Fixed point: sections at right angles to the axis, narrowest one, its centre, new axis.
    """
    radius = head.sphere.radius_mm
    centre = head.sphere.centre_mm
    axis = _first_direction(surface, head)
    if axis is None:
        return _no_neck(surface, head, "the bone ends at the head: no neck is seen")
    triangles = _round_the_neck(surface, centre, axis, radius)
    along = np.arange(FROM_RADII * radius, TO_RADII * radius, STEP_MM)
    narrowest: tuple[FoundNeck, float] | str = "the neck's axis does not settle"
    for _ in range(N_TURNS):
        narrowest = _narrowest(surface, triangles, centre, axis, along, radius)
        if isinstance(narrowest, str):
            return _no_neck(surface, head, narrowest)
        neck, turn = narrowest
        axis = neck.axis
        if turn < SETTLED_RAD:
            break
    edge_mm = float(np.hypot(neck.along_mm, neck.radius_mm))
    if edge_mm < INSIDE_BALL * radius:
        return (
            f"the surface runs inside the head (the narrowest section ends {edge_mm:.0f} mm "
            f"from the head centre, the head {radius:.0f} mm): the bone is hollow or torn"
        )
    return neck


def _no_neck(surface: FemurSurface, head: FoundHead, reason: str) -> str:
    """The reason itself for a bone cut at its head; a refusal for one that goes on."""
    reach = np.linalg.norm(surface.points_mm - head.sphere.centre_mm, axis=1)
    far_mm = float(reach.max())
    if far_mm > GOES_ON_RADII * head.sphere.radius_mm:
        raise BoneRefusal(
            f"the bone goes on for {far_mm:.0f} mm behind its ball without a neck "
            f"(need a section under {100 * NARROW_MOST:.0f} % of the ball's disc); "
            "this is not a femur",
            WHERE,
            "Give the proximal or whole femur",
        )
    return reason


def _round_the_neck(surface: FemurSurface, centre: Vector, axis: Vector, radius: float) -> Ints:
    """Triangles in a tube round the first axis, wide enough for the axis to turn."""
    offset = surface.points_mm - centre
    along = offset @ axis
    aside = np.einsum("ij,ij->i", offset, offset) - along**2
    own = (
        (along > (FROM_RADII - 0.4) * radius)
        & (along < (TO_RADII + 0.4) * radius)
        & (aside < (TUBE_RADII * radius) ** 2)
    )
    return surface.triangles[own[surface.triangles].any(axis=1)]


def _first_direction(surface: FemurSurface, head: FoundHead) -> Vector | None:
    """Mean direction of the surface a little outside the head's sphere."""
    offset = surface.points_mm - head.sphere.centre_mm
    reach = np.linalg.norm(offset, axis=1)
    radius = head.sphere.radius_mm
    shell = (reach > SHELL_FROM * radius) & (reach < SHELL_TO * radius)
    if np.count_nonzero(shell) < 10:
        return None
    pull = (surface.areas_mm2[shell] / reach[shell] ** 3) @ offset[shell]
    length = float(np.linalg.norm(pull))
    return None if length < 1e-12 else pull / length


def _narrowest(
    surface: FemurSurface,
    triangles: Ints,
    centre: Vector,
    axis: Vector,
    along: Floats,
    head_radius: float,
) -> tuple[FoundNeck, float] | str:
    """The narrowest section across one axis, and the angle to the axis through its centre."""
    twelve, three = plane_directions(axis)
    dial = Dial(centre_mm=centre, axis=axis, twelve=twelve, three=three)
    contours = radial_contours(surface.points_mm, triangles, dial=dial, n_hours=N_RAYS)
    radii = radii_along(contours, along_mm=along)
    seen = np.isfinite(radii)
    whole = seen.mean(axis=0) >= MET_LEAST
    radii = _bridged(radii, head_radius)
    areas = np.pi * np.mean(radii**2, axis=0)
    areas[~whole] = np.inf
    place = _first_valley(areas, most=NARROW_MOST * np.pi * head_radius**2)
    if place is None:
        return "the bone narrows nowhere behind the head: no neck is seen"
    floor = _run_round(areas <= (1.0 + FLOOR_FRACTION) * areas[place], place)
    stations = along[floor]
    low = _run_round(areas <= (1.0 + BOTTOM_FRACTION) * areas[place], place)
    at, area = _bottom(along[low], areas[low], start=float(along[place]))
    angles = 2.0 * np.pi * np.arange(N_RAYS) / N_RAYS
    cube = radii[:, floor] ** 3 * (2.0 * np.pi / (3.0 * N_RAYS)) / areas[floor]
    offsets = np.outer(np.cos(angles) @ cube, twelve) + np.outer(np.sin(angles) @ cube, three)
    slope = np.polyfit(stations - at, offsets, 1)[0] if len(stations) >= 3 else np.zeros(3)
    bottom = np.isin(floor, low)
    if len(low) >= 3:
        offset = np.polyfit(stations[bottom] - at, offsets[bottom], 1)[1]
    else:
        offset = offsets[bottom].mean(axis=0)
    neck_centre = centre + at * axis + offset
    reach = float(np.linalg.norm(neck_centre - centre))
    turned = (neck_centre - centre) / reach
    turn = float(np.linalg.norm(turned - axis))
    neck = FoundNeck(
        centre_mm=neck_centre,
        axis=turned,
        radius_mm=float(np.sqrt(area / np.pi)),
        along_mm=reach,
        slope=slope,
        floor_mm=float(stations[-1] - stations[0]),
    )
    return neck, turn


def _bottom(stations: Floats, areas: Floats, *, start: float) -> tuple[float, float]:
    """
    Place and area of the bottom of a valley that may rise more steeply on one side.

    A parabola with its own curvature on either side; its bottom is tried over the whole stretch
    (a single parabola would be drawn towards the gentler side by several mm).
    """
    if len(stations) < 6:
        return start, float(areas.min())
    tried = np.arange(stations[0], stations[-1], BOTTOM_STEP_MM)
    gap = stations - tried[:, None]
    design = np.stack(
        [np.ones_like(gap), np.minimum(gap, 0.0) ** 2, np.maximum(gap, 0.0) ** 2], axis=2
    )
    normal = np.einsum("tni,tnj->tij", design, design)
    normal += 1e-9 * np.eye(3) * normal[:, :1, :1]  # one side may hold no station
    moment = np.einsum("tni,n->ti", design, areas)
    answer = np.linalg.solve(normal, moment[:, :, None])[:, :, 0]
    miss = np.sum((np.einsum("tni,ti->tn", design, answer) - areas) ** 2, axis=1)
    miss[(answer[:, 1:] < -1e-9).any(axis=1)] = np.inf
    best = int(np.argmin(miss))
    if not np.isfinite(miss[best]):
        return start, float(areas.min())
    if 0 < best < len(tried) - 1 and np.isfinite(miss[best - 1 : best + 2]).all():
        before, here, after = miss[best - 1 : best + 2]
        bend = before - 2.0 * here + after
        shift = 0.5 * (before - after) / bend if bend > 0 else 0.0
    else:
        shift = 0.0
    return float(tried[best] + shift * BOTTOM_STEP_MM), float(answer[best, 0])


def _bridged(radii: Floats, most: float) -> Floats:
    """Radii with missing rays bridged round the dial; far ones held to a little over the head."""
    held = np.minimum(radii, 1.6 * most)
    for station in np.flatnonzero(~np.isfinite(radii).all(axis=0)):
        met = np.flatnonzero(np.isfinite(radii[:, station]))
        if len(met):
            held[:, station] = np.interp(
                np.arange(len(radii)), met, held[met, station], period=len(radii)
            )
    return held


def _first_valley(areas: Floats, *, most: float) -> int | None:
    """Index of the first lasting low of the areas that is small enough and rises on both sides."""
    finite = np.flatnonzero(np.isfinite(areas))
    if len(finite) < 5:
        return None
    reach = max(round(4.0 / STEP_MM), 1)  # lows shorter than 4 mm are dents
    for place in finite:
        low, high = max(place - reach, 0), min(place + reach + 1, len(areas))
        window = areas[low:high]
        if areas[place] <= most and areas[place] == window.min():
            inside = finite[0] < place < finite[-1]
            if inside and np.isfinite(window).all():
                return int(place)
    return None


def _run_round(mask: np.ndarray, place: int) -> np.ndarray:
    """Indices of the unbroken run of True round a place."""
    before = np.flatnonzero(~mask[:place])
    after = np.flatnonzero(~mask[place:])
    start = before[-1] + 1 if len(before) else 0
    stop = place + after[0] if len(after) else len(mask)
    return np.arange(start, stop)
