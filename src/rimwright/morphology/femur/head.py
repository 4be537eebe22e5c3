"""The femoral head: found by where outward normals meet, fitted as a sphere.

Every bit of surface votes for the places that lie below it by any radius a head may have; the
head's bits agree on one place, those of shaft, trochanter and condyles smear. The places with
most votes are fitted and judged by how much of a full ball the surface covers: a head covers
well over half, a condyle about a quarter.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import maximum_filter, uniform_filter

from rimwright.anatomy import Floats, Ints, Points, SphereFit, Vector
from rimwright.errors import BoneRefusal
from rimwright.morphology.femur.surface import CRANIAL, LATERAL, WHERE, FemurSurface
from rimwright.morphology.sphere_fit import fit_sphere, refine_sphere

LEAST_RADIUS_MM, MOST_RADIUS_MM = 16.0, 34.0
"""Radii tried, mm: adult heads are about 19 to 29 mm (from memory), with room for dysplasia."""
RADIUS_STEP_MM = 1.0
"""Step of the radii a vertex votes for, mm: below the cell, so that no cell is jumped."""
CELL_MM = 3.0
"""Cell of the voting grid, mm: about the scatter of where real normals meet."""
MOST_VOTERS = 12_000
"""Vertices that vote at most; more only cost time."""
N_PEAKS = 8
"""Places fitted at most."""
PEAK_GAP_CELLS = 5
"""Two places nearer than this many cells (15 mm) are one."""
MEETING_MM = 4.0
"""Normals passing within this of a place belong to it for its first fit, mm."""
TOLERANCE_FRACTIONS = (0.05, 0.08)
"""Surface within this share of the radius counts as covered when candidates are judged: first as
for a smooth bone, then, if no head is found, as for one made of coarse voxels."""
FACING_LEAST = (0.94, 0.85)
"""Least cosine between normal and ray from the centre for surface to count as covered (20 and
32 deg), for the two tolerances."""
LEAST_COVERS = (0.38, 0.5)
"""Least share of the full ball a head covers, for the two tolerances. On a real femur the head
covers 0.70 and 0.78, the next best place (a condyle) 0.29 and 0.43."""
MOST_COVER = 0.975
"""A ball covered more than this has no neck."""
NEAR_BEST = 0.8
"""Candidates covering this share of the best are equals; the most medial-proximal is taken."""
MOST_CUTOFF_MM = 1.2
"""Largest miss of a point of the head's final fit, mm: half-way to a small cam."""
LEAST_CUTOFF_MM = 0.15
"""Smallest such miss, mm: below the sag of a coarse but good triangulation."""
N_CONCENTRATIONS = 20
"""Rounds on the nearer half of the surface, so that a broad cam does not draw the sphere over."""
CLEARLY_ROUNDER = 0.5
"""The sphere of the nearer half is taken if its miss is under this share of the plain one's."""
_Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Strictness:
    """How near to the ball, and how square to it, surface must lie."""

    tolerance_fraction: float
    facing_least: float
    least_cover: float


_STRICTNESSES = tuple(
    _Strictness(tolerance_fraction=near, facing_least=square, least_cover=cover)
    for near, square, cover in zip(TOLERANCE_FRACTIONS, FACING_LEAST, LEAST_COVERS, strict=True)
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundHead:
    """
    The head's sphere, pelvic frame, and how it was seen.

    Parameters
    ----------
    sphere
        Centre (3,) in pelvic coordinates, radius and miss, mm.
    cover_fraction
        Share of the full ball that lies on the sphere.
    points_mm, areas_mm2
        (k, 3), (k,): the surface that the fit rests on.
    """

    sphere: SphereFit
    cover_fraction: float
    points_mm: Points
    areas_mm2: Floats


def find_head(surface: FemurSurface, *, seed_mm: Vector | None = None) -> FoundHead:
    """
    Find the femoral head and fit its sphere.

    Parameters
    ----------
    surface
        Pelvic frame.
    seed_mm
        (3,) pelvic coordinates of a place known to be near the centre (the socket's centre);
        among several balls the nearest one is taken.

    Returns
    -------
    FoundHead
        The sphere without the fovea and the part that leaves it towards the neck.

    Raises
    ------
    BoneRefusal
        No part of the surface is enough of a ball, or all of it is one.
    """
    places = _meeting_places(surface)
    for strictness in _STRICTNESSES:
        candidates = [
            found
            for place in places
            if (found := _judge_place(surface, place, strictness)) is not None
        ]
        best_cover = max((cover for _, cover in candidates), default=0.0)
        if best_cover >= strictness.least_cover:
            break
    if best_cover < strictness.least_cover:
        raise BoneRefusal(
            f"no femoral head found (got a ball covered to {100 * best_cover:.0f} %, "
            f"need {100 * strictness.least_cover:.0f} %); this is not a femur with its head",
            WHERE,
            "Give the proximal or whole femur, or check its unit",
        )
    if best_cover > MOST_COVER:
        raise BoneRefusal(
            f"a whole ball without a neck (got {100 * best_cover:.0f} % of a sphere, "
            f"need at most {100 * MOST_COVER:.0f} %); this is not a femur",
            WHERE,
            "Give the femur, not a fitted sphere or a component",
        )
    equals = [
        fit
        for fit, cover in candidates
        if cover >= max(NEAR_BEST * best_cover, strictness.least_cover) and cover <= MOST_COVER
    ]
    if seed_mm is None:
        chosen = max(equals, key=lambda fit: fit.centre_mm[CRANIAL] - fit.centre_mm[LATERAL])
    else:
        seed = np.asarray(seed_mm, dtype=np.float64)
        chosen = min(equals, key=lambda fit: float(np.linalg.norm(fit.centre_mm - seed)))
    return _final_head(surface, chosen, strictness)


def _meeting_places(surface: FemurSurface) -> list[Vector]:
    """The places where most normals meet, best first, as pelvic points."""
    stride = max(1, len(surface.points_mm) // MOST_VOTERS)
    points, normals = surface.points_mm[::stride], surface.normals[::stride]
    areas = surface.areas_mm2[::stride] * stride
    radii = np.arange(LEAST_RADIUS_MM, MOST_RADIUS_MM + 1e-9, RADIUS_STEP_MM)
    # Cells are counted from the lowest corner of the mesh in pelvic coordinates.
    corner = surface.points_mm.min(axis=0)
    shape = (np.ptp(surface.points_mm, axis=0) // CELL_MM).astype(np.int64) + 1
    votes = np.zeros(int(np.prod(shape)))
    for radius in radii:
        cells = np.floor((points - radius * normals - corner) / CELL_MM).astype(np.int64)
        inside = ((cells >= 0) & (cells < shape)).all(axis=1)
        flat = (cells[inside, 0] * shape[1] + cells[inside, 1]) * shape[2] + cells[inside, 2]
        share = areas[inside] / (4.0 * np.pi * radius**2)
        votes += np.bincount(flat, weights=share, minlength=len(votes))
    smooth = uniform_filter(votes.reshape(shape), size=3, mode="constant") * 27.0
    peak = (smooth == maximum_filter(smooth, size=PEAK_GAP_CELLS)) & (smooth > 0.1 * smooth.max())
    cells = np.argwhere(peak)
    order = np.argsort(-smooth[peak], kind="stable")[:N_PEAKS]
    return [corner + (cells[index] + 0.5) * CELL_MM for index in order]


def _judge_place(
    surface: FemurSurface, place: Vector, strictness: _Strictness
) -> tuple[SphereFit, float] | None:
    """A sphere round a place and the share of the ball that it covers; None where none fits."""
    offset = surface.points_mm - place
    depth = np.einsum("ij,ij->i", offset, surface.normals)
    squared = np.einsum("ij,ij->i", offset, offset)
    aside = np.sqrt(np.maximum(squared - depth**2, 0.0))
    own = (depth > LEAST_RADIUS_MM - 2.0) & (depth < MOST_RADIUS_MM + 2.0) & (aside < MEETING_MM)
    if np.count_nonzero(own) < 20:
        return None
    # The radius that most of the surface agrees on: condyles and shaft add others.
    bins = np.bincount(
        (depth[own] / RADIUS_STEP_MM).astype(np.int64), weights=surface.areas_mm2[own]
    )
    window = np.convolve(bins, np.ones(3), mode="same")
    radius = (float(np.argmax(window)) + 0.5) * RADIUS_STEP_MM
    close = np.sqrt(squared) < radius + 8.0
    points, areas = surface.points_mm[close], surface.areas_mm2[close]
    normals = surface.normals[close]
    start = own[close] & (np.abs(depth[close] - radius) < 2.0)
    try:
        fit = fit_sphere(points[start], weights=areas[start])
        for band, last in pairwise((6.0, 3.0, strictness.tolerance_fraction * radius)):
            facing = _facing(points, normals, fit, strictness)
            fit = refine_sphere(
                points[facing],
                start=fit,
                weights=areas[facing],
                least_cutoff_mm=last,
                most_cutoff_mm=band,
                n_rounds=8,
            ).fit
    except BoneRefusal:
        return None
    if not LEAST_RADIUS_MM <= fit.radius_mm <= MOST_RADIUS_MM:
        return None
    return fit, _cover_fraction(surface, fit, strictness)


def _facing(points: Points, normals: Floats, sphere: SphereFit, strictness: _Strictness) -> _Mask:
    """Which points look away from the centre and lie near the sphere."""
    offset = points - sphere.centre_mm
    reach = np.linalg.norm(offset, axis=1)
    outward = np.einsum("ij,ij->i", offset, normals) > strictness.facing_least * reach
    tolerance_mm = strictness.tolerance_fraction * sphere.radius_mm
    return outward & (np.abs(reach - sphere.radius_mm) < tolerance_mm)


def _cover_fraction(surface: FemurSurface, sphere: SphereFit, strictness: _Strictness) -> float:
    """Share of the ball's directions that triangles lying on it cover."""
    near = np.linalg.norm(surface.points_mm - sphere.centre_mm, axis=1) < 1.3 * sphere.radius_mm
    index = np.flatnonzero(near)
    on_ball = np.zeros(len(near), dtype=bool)
    on_ball[index] = _facing(surface.points_mm[index], surface.normals[index], sphere, strictness)
    corners = surface.points_mm[surface.triangles[on_ball[surface.triangles].all(axis=1)]]
    a, b, c = np.moveaxis(corners - sphere.centre_mm, 1, 0)
    # Flux through a small triangle: (a x b) . c / 2 over the cube of its distance.
    volume = np.einsum("ij,ij->i", np.cross(a, b), c)
    reach = np.linalg.norm(a + b + c, axis=1) / 3.0
    return float(np.sum(volume / (2.0 * reach**3)) / (4.0 * np.pi))


def _final_head(surface: FemurSurface, start: SphereFit, strictness: _Strictness) -> FoundHead:
    """The sphere of the chosen candidate at its tightest."""
    close = np.linalg.norm(surface.points_mm - start.centre_mm, axis=1) < 1.3 * start.radius_mm
    points, normals = surface.points_mm[close], surface.normals[close]
    areas = surface.areas_mm2[close]
    plain, kept = _tightened(points, normals, areas, start, strictness, n_concentrations=0)
    half, kept_half = _tightened(
        points, normals, areas, start, strictness, n_concentrations=N_CONCENTRATIONS
    )
    # On a real, rough head the nearer half is a matter of chance: it must be clearly rounder.
    is_rounder = half.rms_mm < CLEARLY_ROUNDER * plain.rms_mm
    fit, kept = (half, kept_half) if is_rounder else (plain, kept)
    return FoundHead(
        sphere=fit,
        cover_fraction=_cover_fraction(surface, fit, strictness),
        points_mm=points[kept],
        areas_mm2=areas[kept],
    )


def _tightened(
    points: Points,
    normals: Floats,
    areas: Floats,
    start: SphereFit,
    strictness: _Strictness,
    *,
    n_concentrations: int,
) -> tuple[SphereFit, Ints]:
    """The sphere refined on what faces away from it, and which points it keeps."""
    fit, kept = start, np.arange(len(points))
    for _ in range(3):
        facing = np.flatnonzero(_facing(points, normals, fit, strictness))
        refined = refine_sphere(
            points[facing],
            start=fit,
            weights=areas[facing],
            least_cutoff_mm=LEAST_CUTOFF_MM,
            n_concentrations=n_concentrations,
            most_cutoff_mm=max(MOST_CUTOFF_MM, strictness.tolerance_fraction * fit.radius_mm),
        )
        fit, kept = refined.fit, facing[refined.inliers]
    return fit, kept
