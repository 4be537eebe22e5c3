"""Sections of the surface: half-planes through an axis, and stacks of planes across one.

Nothing is chained into polylines: every answer is a sum, an extreme or a root over loose
segments, so that holes cost a little and order costs nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, Ints, Points, Vector


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Dial:
    """
    An axis with a clock round it, pelvic frame.

    Parameters
    ----------
    centre_mm
        (3,), where the axis starts.
    axis, twelve, three
        Unit, at right angles.
    """

    centre_mm: Vector
    axis: Vector
    twelve: Vector
    three: Vector


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RadialContours:
    """
    Where the surface meets the planes through an axis, as loose segments.

    Parameters
    ----------
    n_hours
        Half-planes round the whole dial, even; plane k holds hour k and hour k + n/2.
    plane
        (s,), which plane a segment lies in, 0 … n/2 - 1.
    ends_mm
        (s, 2, 2): both ends; the distance from the axis (+ on the plane's first hour) and the
        place along the axis, mm.
    outward
        (s,), the surface normal's part along the first hour's direction.
    """

    n_hours: int
    plane: Ints
    ends_mm: Floats
    outward: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stack:
    """
    Plane sections across an axis.

    Parameters
    ----------
    heights_mm
        (n,), along the axis from the reference point.
    areas_mm2
        (n,), area inside; 0 where nothing is met.
    centroids_mm
        (n, 3), pelvic; NaN where nothing is met.
    """

    heights_mm: Floats
    areas_mm2: Floats
    centroids_mm: Points


def radial_contours(
    points_mm: Points, triangles: Ints, *, dial: Dial, n_hours: int
) -> RadialContours:
    """
    Cut triangles by the planes that hold an axis.

    Parameters
    ----------
    points_mm, triangles
        (n, 3) mm and (m, 3), pelvic frame.
    dial
        The axis and its clock.
    n_hours
        Half-planes round the dial, even: 48 = every quarter of an hour.
    """
    frame = np.stack([dial.twelve, dial.three, dial.axis], axis=1)
    local = (points_mm - dial.centre_mm) @ frame
    angles = 2.0 * np.pi * np.arange(n_hours // 2) / n_hours
    along = np.stack([np.cos(angles), np.sin(angles)])
    across = np.stack([-np.sin(angles), np.cos(angles)])
    off_plane = local[:, :2] @ across
    above = off_plane >= 0.0
    corner_above = above[triangles]
    n_above = corner_above.sum(axis=1)
    cut, plane = np.nonzero((n_above == 1) | (n_above == 2))
    corners = triangles[cut]
    sides = corner_above[cut, :, plane]
    # The lone corner differs from the other two; both cut edges start there.
    lone = np.argmax(sides == (sides.sum(axis=1) == 1)[:, None], axis=1)
    rows = np.arange(len(cut))
    first = corners[rows, lone]
    ends = np.empty((len(cut), 2, 2))
    for end, step in enumerate((1, 2)):
        other = corners[rows, (lone + step) % 3]
        start_off, other_off = off_plane[first, plane], off_plane[other, plane]
        share = start_off / (start_off - other_off)
        place = local[first] + share[:, None] * (local[other] - local[first])
        ends[:, end, 0] = place[:, 0] * along[0, plane] + place[:, 1] * along[1, plane]
        ends[:, end, 1] = place[:, 2]
    spans = local[corners]
    normal = np.cross(spans[:, 1] - spans[:, 0], spans[:, 2] - spans[:, 0])
    outward = normal[:, 0] * along[0, plane] + normal[:, 1] * along[1, plane]
    return RadialContours(n_hours=n_hours, plane=plane, ends_mm=ends, outward=outward)


def radii_along(contours: RadialContours, *, along_mm: Floats) -> Floats:
    """
    Distance from the axis to the first surface that faces away from it.

    Parameters
    ----------
    contours
        Radial contours.
    along_mm
        (t,), increasing places along the axis, mm.

    Returns
    -------
    Floats
        (n_hours, t), mm; inf where nothing is met.
    """
    low, high = contours.ends_mm[:, :, 1].min(axis=1), contours.ends_mm[:, :, 1].max(axis=1)
    segment, station = _spanned(along_mm, low=low, high=high)
    ends = contours.ends_mm[segment]
    share = (along_mm[station] - ends[:, 0, 1]) / (ends[:, 1, 1] - ends[:, 0, 1])
    radial = ends[:, 0, 0] + share * (ends[:, 1, 0] - ends[:, 0, 0])
    half = contours.n_hours // 2
    hour = contours.plane[segment] + np.where(radial < 0.0, half, 0)
    faces_out = contours.outward[segment] * radial > 0.0
    radii = np.full((contours.n_hours, len(along_mm)), np.inf)
    np.minimum.at(radii, (hour[faces_out], station[faces_out]), np.abs(radial[faces_out]))
    return radii


def stack_sections(
    points_mm: Points, triangles: Ints, *, origin_mm: Vector, axis: Vector, heights_mm: Floats
) -> Stack:
    """
    Area and centroid of the plane sections across an axis.

    Parameters
    ----------
    points_mm, triangles
        (n, 3) mm and (m, 3), pelvic frame, outward.
    origin_mm, axis
        Where heights are counted from, and the unit direction they grow in.
    heights_mm
        (n,), increasing, mm.
    """
    n = len(heights_mm)
    across, over = plane_directions(axis)
    local = (points_mm - origin_mm) @ np.stack([across, over, axis], axis=1)
    height = local[triangles, 2]
    triangle, level = _spanned(heights_mm, low=height.min(axis=1), high=height.max(axis=1))
    corners = local[triangles[triangle]]
    off_plane = corners[:, :, 2] - heights_mm[level, None]
    sides = off_plane >= 0.0
    n_above = sides.sum(axis=1)
    met = (n_above == 1) | (n_above == 2)
    corners, off_plane, sides, level = corners[met], off_plane[met], sides[met], level[met]
    lone = np.argmax(sides == (n_above[met] == 1)[:, None], axis=1)
    rows = np.arange(len(level))
    ends = []
    for step in (1, 2):
        other = (lone + step) % 3
        share = off_plane[rows, lone] / (off_plane[rows, lone] - off_plane[rows, other])
        start = corners[rows, lone, :2]
        ends.append(start + share[:, None] * (corners[rows, other, :2] - start))
    start, end = ends
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    # Counter-clockwise round bone: the outward normal turned a quarter.
    forward = (end - start)[:, 0] * -normal[:, 1] + (end - start)[:, 1] * normal[:, 0] >= 0.0
    tail = np.where(forward[:, None], start, end)
    head = np.where(forward[:, None], end, start)
    # Moments about a point inside each section keep a hole from mattering much.
    count = np.maximum(np.bincount(level, minlength=n), 1)
    middle = np.column_stack([np.bincount(level, (tail[:, k]), n) / count for k in range(2)])
    tail, head = tail - middle[level], head - middle[level]
    doubled = tail[:, 0] * head[:, 1] - tail[:, 1] * head[:, 0]
    area = 0.5 * np.bincount(level, doubled, n)
    centroid = np.full((n, 2), np.nan)
    filled = area > 1e-6
    for k in range(2):
        moment = np.bincount(level, doubled * (tail[:, k] + head[:, k]), n) / 6.0
        centroid[filled, k] = moment[filled] / area[filled] + middle[filled, k]
    centroids_mm = (
        origin_mm
        + centroid[:, :1] * across
        + centroid[:, 1:] * over
        + np.asarray(heights_mm)[:, None] * axis
    )
    return Stack(
        heights_mm=np.asarray(heights_mm),
        areas_mm2=np.where(filled, area, 0.0),
        centroids_mm=centroids_mm,
    )


def plane_directions(axis: Vector) -> tuple[Vector, Vector]:
    """Two unit directions that make a right-handed triad with an axis."""
    helper = np.zeros(3)
    helper[int(np.argmin(np.abs(axis)))] = 1.0
    across = np.cross(helper, axis)
    across /= np.linalg.norm(across)
    return across, np.cross(axis, across)


def _spanned(stations: Floats, *, low: Floats, high: Floats) -> tuple[Ints, Ints]:
    """Pairs (item, station) for every station within an item's span, low < station <= high."""
    begin = np.searchsorted(stations, low, side="right")
    counts = np.searchsorted(stations, high, side="right") - begin
    item = np.repeat(np.arange(len(low)), counts)
    before = np.cumsum(counts) - counts
    station = np.arange(len(item)) - before[item] + begin[item]
    return item, station
