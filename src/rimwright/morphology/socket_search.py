"""Finding the lunate surface: the largest concave spherical zone of a hip bone.

Every triangle of a hollow sphere of radius r points at the centre from r away. So each triangle
casts its area as a vote at `centroid + r · normal` for a row of radii, and hollow spheres show
as peaks of votes. A free least-squares search locks on to the fossa; the vote does not, because
the fossa is smaller than the lunate and its floor is flatter.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import (
    Floats,
    Ints,
    Mask,
    Points,
    SphereFit,
    TriangleMesh,
    Vector,
    frozen_floats,
)
from rimwright.errors import BoneRefusal
from rimwright.morphology.sphere_fit import fit_sphere, refine_sphere

SEARCH_RADII_MM = np.arange(17.0, 33.1, 1.5)
"""Radii searched, mm: adult lunate surfaces, with room either side (planning:1.11, 1.12)."""
MOST_VOTERS = 20000
"""Triangles that vote, evenly out of more: the peak needs no finer surface."""
N_CELLS = 40
"""Cells that peaks are climbed from, of all radii together."""
VOTE_CELL_MM = 6.0
"""Edge of a vote's cell, mm: coarse, as it only starts the climb."""
VOTE_REACH_MM = 4.0
"""Votes within this distance count for a peak, mm: the scatter that radius step and bone cause."""
MIN_SHARE_OF_SPHERE = 0.10
"""Least part of the whole sphere that a lunate covers; seen on real hips: 0.23 to 0.30."""
MAX_RMS_MM = 1.0
"""Largest miss of a lunate from its sphere, mm; seen on real hips: 0.26 to 0.60."""
MIN_TRIANGLES = 60
"""Fewest triangles on the lunate that still draw its rim (about 3 mm edges)."""
ZONE_MM = 1.5
"""Largest distance from the sphere at which a triangle still counts as lunate, mm."""
STARTS_MM = ((0.0, 0.0), (0.0, -2.0), (0.0, -4.0), (-3.0, -1.5), (3.0, 1.5), (6.0, 3.0))
"""Starts of the fit: shift of the rough centre along the opening, and change of radius, mm. A
floor may be concentric with the lunate and larger in area: hence the smaller radii."""
SETTLING_MM = (3.0, 2.0, 1.5, 1.5, 1.2, 1.0, 1.0, 1.0)
"""Largest miss that still pulls, from round to round, mm."""
RIVAL_SHARE = 0.4
"""A sphere that less of the surface lies on than this share of the best is no rival."""
DISTINCT_MM = 1.5
"""Spheres whose centres lie nearer than this are one, mm."""
MOST_SETTLING = 3000
"""Triangles that starts are settled on, evenly out of more."""
CLOSE_MM = 0.6
"""Starts are compared by the area within this distance of their sphere, mm …"""
CLOSE_COSINE = 0.94
"""… whose normal points at its centre to within 20 degrees."""
HOLLOW_MM, HOLLOW_COSINE = 7.0, 0.6
"""The hollow as a whole, fossa included: this near the sphere, mm, facing its centre to within 53
degrees."""
FACING_COSINE = 0.90
"""Least cosine between a lunate triangle's normal and the direction of the centre (26 degrees)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LunateFit:
    """
    The lunate sphere and the triangles it rests on.

    Parameters
    ----------
    sphere
        Centre, radius, miss.
    is_lunate
        (m,) bool over the triangles of the bone.
    pole
        Unit direction from the centre to the middle of the hollow, lunate and fossa.
    share
        Part of the whole sphere's area that the triangles cover, 0 to 1.
    others
        Spheres that nearly as much of the surface lies on, where the zone is not told from
        the surface alone; the rim decides between them.
    """

    sphere: SphereFit
    is_lunate: Mask
    pole: Vector
    share: float
    others: tuple[SphereFit, ...] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "pole", frozen_floats(self.pole, shape=(3,), name="pole"))


def find_hollow_spheres(mesh: TriangleMesh, *, n_best: int = 6) -> tuple[SphereFit, ...]:
    """
    Rough centres and radii of the largest hollow spherical zones of a bone.

    Parameters
    ----------
    mesh
        A closed bone with outward normals.
    n_best
        How many to return at most, largest area of votes first, at least 12 mm apart.

    Returns
    -------
    tuple of SphereFit
        Radius to the nearest 1.5 mm and centre to about 3 mm; `rms_mm` is the cell's size.

    Notes
    -----
    O(radii × voters), with at most 40 000 voters; own method.
    """
    stride = 1 + mesh.n_triangles // MOST_VOTERS
    corners = mesh.vertices_mm[mesh.triangles[::stride]]
    vectors = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    areas = np.linalg.norm(vectors, axis=1)
    use = areas > 0
    centroids = corners[use].mean(axis=1)
    areas, normals = areas[use], vectors[use] / areas[use, None]
    cells: list[tuple[float, float, Vector]] = []
    for radius in SEARCH_RADII_MM:
        votes = centroids + radius * normals
        low = votes.min(axis=0) - VOTE_CELL_MM
        index = ((votes - low) / VOTE_CELL_MM).astype(np.int64)
        shape = index.max(axis=0) + 2
        flat = (index[:, 0] * shape[1] + index[:, 1]) * shape[2] + index[:, 2]
        sums = np.bincount(flat, weights=areas, minlength=int(shape.prod()))
        for cell in np.flatnonzero(sums > RIVAL_SHARE * sums.max()):
            middle = low + (np.array(np.unravel_index(cell, shape)) + 0.5) * VOTE_CELL_MM
            cells.append((float(sums[cell]), float(radius), middle))
    cells.sort(key=lambda cell: -cell[0])
    peaks: list[tuple[float, float, Vector]] = []
    for _, radius, middle in cells[:N_CELLS]:
        votes = centroids + radius * normals
        around = np.abs(votes - middle).max(axis=1) < 3.0 * VOTE_REACH_MM
        votes, weight = votes[around], areas[around]
        for _ in range(4):  # climb to the peak, so that a cell's border does not matter
            close = np.linalg.norm(votes - middle, axis=1) < VOTE_REACH_MM
            if not close.any():
                break
            middle = weight[close] @ votes[close] / weight[close].sum()
        peaks.append((float(weight[close].sum()), radius, middle))
    peaks.sort(key=lambda peak: -peak[0])
    chosen: list[SphereFit] = []
    for votes_mm2, radius, middle in peaks:
        if votes_mm2 < RIVAL_SHARE * peaks[0][0]:
            break
        if all(np.linalg.norm(middle - other.centre_mm) > 12.0 for other in chosen):
            chosen.append(SphereFit(centre_mm=middle, radius_mm=radius, rms_mm=VOTE_REACH_MM))
        if len(chosen) == n_best:
            break
    return tuple(chosen)


def fit_lunate(mesh: TriangleMesh, *, centre_mm: Vector, radius_mm: float, where: str) -> LunateFit:
    """
    Grow a rough hollow sphere to the lunate surface and fit it robustly.

    Parameters
    ----------
    mesh
        The hip bone.
    centre_mm, radius_mm
        A rough start, as from `find_hollow_spheres` or the femoral head.
    where
        What to call the bone in a refusal.

    Returns
    -------
    LunateFit
        Triangles within `ZONE_MM` of the sphere that face its centre; the fit weighs them by
        area and by a biweight of their miss, so that fossa, rim and notch do not pull.

    Raises
    ------
    BoneRefusal
        No such zone, or one that is too small, too rough or too coarsely meshed.
    """
    zone = _Zone.around(
        mesh, centre_mm=np.asarray(centre_mm, dtype=np.float64), radius_mm=radius_mm
    )
    starts = _likely_spheres(zone, np.asarray(centre_mm, dtype=np.float64), radius_mm)
    if not starts:
        raise _no_socket(where)
    best, *others = starts
    # the last word has the vertices: they lie on the surface, centroids a sagitta inside it
    inside = zone.is_on(best, within_mm=ZONE_MM, cosine=FACING_COSINE)
    corner_area = np.bincount(
        mesh.triangles[zone.index[inside]].ravel(),
        weights=np.repeat(zone.areas[inside] / 3.0, 3),
        minlength=len(mesh.vertices_mm),
    ).astype(np.float64)
    used = np.flatnonzero(corner_area)
    sphere = refine_sphere(
        mesh.vertices_mm[used],
        start=best,
        least_cutoff_mm=0.3,
        most_cutoff_mm=ZONE_MM,
        weights=corner_area[used],
    ).fit
    inside = zone.is_on(sphere, within_mm=ZONE_MM, cosine=FACING_COSINE)
    weight = zone.areas[inside]
    share = float(weight.sum()) / (4 * np.pi * sphere.radius_mm**2)
    least_mm, most_mm = SEARCH_RADII_MM[0] - 1, SEARCH_RADII_MM[-1] + 1
    if share < MIN_SHARE_OF_SPHERE or not least_mm <= sphere.radius_mm <= most_mm:
        raise _no_socket(where)
    if sphere.rms_mm > MAX_RMS_MM:
        raise BoneRefusal(
            f"the socket is not a sphere (misses by {sphere.rms_mm:.2f} mm, "
            f"need at most {MAX_RMS_MM:.2f})",
            where,
            "Check that the bone is a native adult hip bone, not worn or smoothed away",
        )
    if inside.sum() < MIN_TRIANGLES:
        raise BoneRefusal(
            f"surface too coarse to measure (got {int(inside.sum())} triangles in the socket, "
            f"need {MIN_TRIANGLES})",
            where,
            "Export the bone again at a finer resolution",
        )
    is_lunate = np.zeros(mesh.n_triangles, dtype=bool)
    is_lunate[zone.index[inside]] = True
    # fossa included: the lunate alone is a horseshoe, whose middle lies cranial of the socket's
    hollow = zone.is_on(sphere, within_mm=HOLLOW_MM, cosine=HOLLOW_COSINE)
    pole = zone.areas[hollow] @ (zone.points[hollow] - sphere.centre_mm)
    return LunateFit(
        sphere=sphere,
        is_lunate=is_lunate,
        pole=pole / np.linalg.norm(pole),
        share=share,
        others=tuple(others),
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Zone:
    """Triangles near a rough socket: indices, centroids, unit normals, areas."""

    index: Ints
    points: Points
    normals: Floats
    areas: Floats

    @classmethod
    def around(cls, mesh: TriangleMesh, *, centre_mm: Vector, radius_mm: float) -> _Zone:
        """The triangles within reach of every start, degenerate ones left out."""
        centroids = mesh.centroids_mm()
        vectors = mesh.area_vectors_mm2()
        areas = np.linalg.norm(vectors, axis=1)
        reach = radius_mm + 18.0
        index = np.flatnonzero(
            (np.linalg.norm(centroids - centre_mm, axis=1) < reach) & (areas > 0)
        )
        return cls(
            index=index,
            points=centroids[index],
            normals=vectors[index] / areas[index, None],
            areas=areas[index],
        )

    def thinned(self, most: int) -> _Zone:
        """Every so many triangles, at most `most` or a few more."""
        stride = 1 + len(self.index) // most
        return _Zone(
            index=self.index[::stride],
            points=self.points[::stride],
            normals=self.normals[::stride],
            areas=self.areas[::stride],
        )

    def is_on(self, sphere: SphereFit, *, within_mm: float, cosine: float) -> Mask:
        """(n,) bool: near the sphere and facing its centre."""
        to_centre = sphere.centre_mm - self.points
        distance = np.linalg.norm(to_centre, axis=1)
        near: Mask = (np.abs(distance - sphere.radius_mm) < within_mm) & (
            np.einsum("ij,ij->i", to_centre, self.normals) > cosine * distance
        )
        return near


def _likely_spheres(zone: _Zone, centre: Vector, radius_mm: float) -> list[SphereFit]:
    """Distinct spheres from several starts, the one most surface lies on first.

    A fossa whose floor is itself round draws some starts to a sphere that is half floor, half
    lunate; from another start the fit finds the horseshoe alone.
    """
    first = SphereFit(centre_mm=centre, radius_mm=radius_mm, rms_mm=0.0)
    inside = zone.is_on(first, within_mm=2 * ZONE_MM, cosine=FACING_COSINE)
    if inside.sum() < 20:
        return []
    opening = zone.areas[inside] @ zone.normals[inside]
    opening = opening / np.linalg.norm(opening)
    thin = zone.thinned(MOST_SETTLING)
    found: list[tuple[float, SphereFit]] = []
    for shift_mm, growth_mm in STARTS_MM:
        start = SphereFit(
            centre_mm=centre + shift_mm * opening,
            radius_mm=radius_mm + growth_mm,
            rms_mm=0.0,
        )
        fitted = _settle(thin, start)
        if fitted is not None:
            close = thin.is_on(fitted, within_mm=CLOSE_MM, cosine=CLOSE_COSINE)
            found.append((float(thin.areas[close].sum()), fitted))
    found.sort(key=lambda item: -item[0])
    distinct: list[SphereFit] = []
    for area_mm2, sphere in found:
        if area_mm2 < RIVAL_SHARE * found[0][0]:
            break
        if all(
            np.linalg.norm(sphere.centre_mm - other.centre_mm) > DISTINCT_MM for other in distinct
        ):
            distinct.append(sphere)
    return distinct


def _settle(zone: _Zone, sphere: SphereFit) -> SphereFit | None:
    """Fit again and again to what lies near, ever closer; None where nothing is left."""
    for within_mm in SETTLING_MM:
        inside = zone.is_on(sphere, within_mm=within_mm, cosine=FACING_COSINE)
        if inside.sum() < 20:
            return None
        miss = np.linalg.norm(zone.points[inside] - sphere.centre_mm, axis=1) - sphere.radius_mm
        weight = zone.areas[inside] * (1 - (miss / within_mm) ** 2) ** 2
        sphere = fit_sphere(zone.points[inside], weights=weight)
        if not 10.0 < sphere.radius_mm < 45.0:
            return None
    return sphere


def _no_socket(where: str) -> BoneRefusal:
    """The refusal for a body that has no socket."""
    return BoneRefusal(
        "no hip socket found (need a hollow spherical zone of 17 to 33 mm radius)",
        where,
        "Give the hip bone here; a femur goes under --femur, and lengths are in mm unless told",
    )
