"""Contours of a bone in half-planes through an axis, walked from triangle to triangle.

Each half-plane holds the axis and one direction at right angles to it. The contour is followed
from a seed triangle both ways, so that it stays on the one sheet of surface that is asked for,
and its points lie exactly on the triangles.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit, prange

from rimwright.anatomy import Floats, Ints, TriangleMesh, Vector, frozen_floats

MAX_STEPS = 4000
"""Most triangles one walk crosses each way; 40 mm over triangles of 0.05 mm is 800."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RadialSections:
    """
    Contours resampled to even steps, in plane coordinates about a centre.

    Parameters
    ----------
    angles_rad
        (n,) azimuth of each half-plane, from `zero` towards `quarter`.
    across_mm, along_mm
        (n, k) distance from the axis and height along it; NaN beyond the contour's ends.
    first_index
        Column where the walk began (the seed).
    step_mm
        Distance between columns.
    """

    angles_rad: Floats
    across_mm: Floats
    along_mm: Floats
    first_index: int
    step_mm: float

    def __post_init__(self) -> None:
        object.__setattr__(
            self, "angles_rad", frozen_floats(self.angles_rad, shape=(None,), name="angles_rad")
        )
        for name in ("across_mm", "along_mm"):
            array = frozen_floats(
                getattr(self, name), shape=(None, None), name=name, allow_nan=True
            )
            object.__setattr__(self, name, array)


@njit(cache=True)
def _walk(
    vertices: Floats,
    triangles: Ints,
    neighbours: Ints,
    plane_normal: Vector,
    radial: Vector,
    axis: Vector,
    start: int,
    entry_edge: int,
    limit_mm: float,
    points: Floats,
) -> int:
    """Cross triangles from `start` through its edge `entry_edge`; fill `points` (k, 2)."""
    n = 0
    triangle = start
    edge = entry_edge
    length = 0.0
    while n < points.shape[0]:
        a = triangles[triangle, edge]
        b = triangles[triangle, (edge + 1) % 3]
        da = 0.0
        db = 0.0
        for i in range(3):
            da += vertices[a, i] * plane_normal[i]
            db += vertices[b, i] * plane_normal[i]
        # written from the lower to the higher index, so both triangles give the same point
        if a > b:
            a, b = b, a
            da, db = db, da
        t = da / (da - db)
        x = 0.0
        y = 0.0
        for i in range(3):
            p = vertices[a, i] + t * (vertices[b, i] - vertices[a, i])
            x += p * radial[i]
            y += p * axis[i]
        if x < 0.0:
            break
        if n > 0:
            length += np.hypot(x - points[n - 1, 0], y - points[n - 1, 1])
        points[n, 0] = x
        points[n, 1] = y
        n += 1
        if length > limit_mm:
            break
        following = neighbours[triangle, edge]
        if following < 0 or following == start:
            break
        entered = -1
        for k in range(3):
            if neighbours[following, k] == triangle:
                c = triangles[following, k]
                if c == triangles[triangle, (edge + 1) % 3]:
                    entered = k
        if entered < 0:
            break
        leaving = -1
        for k in range(3):
            if k == entered:
                continue
            dc = 0.0
            dd = 0.0
            for i in range(3):
                dc += vertices[triangles[following, k], i] * plane_normal[i]
                dd += vertices[triangles[following, (k + 1) % 3], i] * plane_normal[i]
            if (dc >= 0.0) != (dd >= 0.0):
                leaving = k
        if leaving < 0:
            break
        triangle = following
        edge = leaving
    return n


@njit(cache=True)
def _resample(
    points: Floats,
    n: int,
    offset: float,
    sign: int,
    step_mm: float,
    first_index: int,
    row_x: Floats,
    row_y: Floats,
) -> None:
    """Write points at even arc length into a row, from its seed column outward."""
    columns = row_x.shape[0]
    travelled = -offset
    k = 0
    for i in range(n - 1):
        dx = points[i + 1, 0] - points[i, 0]
        dy = points[i + 1, 1] - points[i, 1]
        length = np.hypot(dx, dy)
        while k * step_mm <= travelled + length:
            if k * step_mm >= travelled and length > 0.0:
                f = (k * step_mm - travelled) / length
                column = first_index + sign * k
                if column < 0 or column >= columns:
                    return
                row_x[column] = points[i, 0] + f * dx
                row_y[column] = points[i, 1] + f * dy
            k += 1
        travelled += length


@njit(cache=True, parallel=True)
def _sections(
    vertices: Floats,
    triangles: Ints,
    neighbours: Ints,
    axis: Vector,
    radials: Floats,
    plane_normals: Floats,
    seeds: Ints,
    inner_mm: float,
    outer_mm: float,
    step_mm: float,
    first_index: int,
    across: Floats,
    along: Floats,
) -> None:
    """Follow every section from its seed both ways and write it into its row."""
    for row in prange(len(seeds)):
        seed = seeds[row]
        if seed < 0:
            continue
        q = plane_normals[row]
        crossing = np.full(2, -1)
        heights = np.zeros((2, 2))
        found = 0
        for k in range(3):
            da = 0.0
            db = 0.0
            a = triangles[seed, k]
            b = triangles[seed, (k + 1) % 3]
            for i in range(3):
                da += vertices[a, i] * q[i]
                db += vertices[b, i] * q[i]
            if (da >= 0.0) != (db >= 0.0) and found < 2:
                t = da / (da - db)
                x = 0.0
                y = 0.0
                for i in range(3):
                    p = vertices[a, i] + t * (vertices[b, i] - vertices[a, i])
                    x += p * radials[row, i]
                    y += p * axis[i]
                crossing[found] = k
                heights[found, 0] = x
                heights[found, 1] = y
                found += 1
        if found < 2:
            continue
        # outward = larger polar angle from the medial pole (−axis)
        polar0 = np.arctan2(heights[0, 0], -heights[0, 1])
        polar1 = np.arctan2(heights[1, 0], -heights[1, 1])
        out = 0 if polar0 > polar1 else 1
        for way in range(2):
            edge = crossing[out] if way == 0 else crossing[1 - out]
            limit = outer_mm if way == 0 else inner_mm
            points = np.empty((MAX_STEPS, 2))
            n = _walk(
                vertices,
                triangles,
                neighbours,
                q,
                radials[row],
                axis,
                seed,
                edge,
                limit + 2.0 * step_mm,
                points[1:],
            )
            if n == 0:
                continue
            other = 1 - out if way == 0 else out
            points[0, 0] = heights[other, 0]
            points[0, 1] = heights[other, 1]
            # columns are counted from the middle of the seed triangle's crossing
            offset = 0.5 * np.hypot(heights[0, 0] - heights[1, 0], heights[0, 1] - heights[1, 1])
            sign = 1 if way == 0 else -1
            _resample(points, n + 1, offset, sign, step_mm, first_index, across[row], along[row])


def cut_radial_sections(
    mesh: TriangleMesh,
    neighbours: Ints,
    *,
    centre_mm: Vector,
    axis: Vector,
    zero: Vector,
    quarter: Vector,
    n_angles: int,
    seed_worth: Floats,
    inner_mm: float,
    outer_mm: float,
    step_mm: float,
) -> RadialSections:
    """
    Cut a bone by half-planes round an axis and follow one sheet of it.

    Parameters
    ----------
    mesh, neighbours
        The bone and its `find_neighbours`.
    centre_mm, axis
        (3,) a point on the axis, mm, and its unit direction.
    zero, quarter
        Unit directions of azimuth 0 and 90 degrees, at right angles to the axis.
    n_angles
        Half-planes, evenly spaced from azimuth 0.
    seed_worth
        (m,), how good a start each triangle is, −inf for none: of those that a half-plane
        crosses the best is taken.
    inner_mm, outer_mm
        Arc length followed towards the pole (−axis) and away from it, mm.
    step_mm
        Spacing of the resampled contour, mm.

    Returns
    -------
    RadialSections
        One row a half-plane; a row of NaN where no seed triangle meets it.

    Notes
    -----
    O(crossed triangles); own method.
    """
    vertices = mesh.vertices_mm - centre_mm
    angles: Floats = np.arange(n_angles, dtype=np.float64) * (2.0 * np.pi / n_angles)
    radials = np.cos(angles)[:, None] * zero + np.sin(angles)[:, None] * quarter
    normals = np.cross(axis, radials)
    seeds = _seed_triangles(mesh, vertices, zero, quarter, n_angles, seed_worth)
    n_inner, n_outer = round(inner_mm / step_mm), round(outer_mm / step_mm)
    across = np.full((n_angles, n_inner + n_outer + 1), np.nan)
    along = across.copy()
    _sections(
        vertices,
        np.asarray(mesh.triangles),
        neighbours,
        np.asarray(axis),
        radials,
        normals,
        seeds,
        float(inner_mm),
        float(outer_mm),
        float(step_mm),
        n_inner,
        across,
        along,
    )
    return RadialSections(
        angles_rad=angles,
        across_mm=across,
        along_mm=along,
        first_index=n_inner,
        step_mm=step_mm,
    )


def _seed_triangles(
    mesh: TriangleMesh,
    vertices: Floats,
    zero: Vector,
    quarter: Vector,
    n_angles: int,
    seed_worth: Floats,
) -> Ints:
    """Best seed triangle that each half-plane crosses, −1 for none."""
    candidates = np.flatnonzero(seed_worth > -np.inf)
    corners = vertices[mesh.triangles[candidates]]
    azimuth = np.arctan2(corners @ quarter, corners @ zero)
    turns = (azimuth[:, 1:] - azimuth[:, :1] + np.pi) % (2 * np.pi) - np.pi
    low = azimuth[:, 0] + np.minimum(0.0, turns.min(axis=1))
    high = azimuth[:, 0] + np.maximum(0.0, turns.max(axis=1))
    step = 2 * np.pi / n_angles
    from_row = np.ceil(low / step - 1e-9).astype(np.int64)
    to_row = np.floor(high / step + 1e-9).astype(np.int64)
    spans = to_row - from_row
    shifts = np.arange(int(spans.max(initial=-1)) + 1)
    index, shift = np.nonzero(shifts[None, :] <= spans[:, None])
    order = np.argsort(seed_worth[candidates[index]], kind="stable")  # the last written stays
    seeds = np.full(n_angles, -1, dtype=np.int64)
    seeds[(from_row[index] + shift)[order] % n_angles] = candidates[index[order]]
    return seeds
