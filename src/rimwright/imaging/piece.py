"""One connected piece of surface: its size, what it encloses, and where it is open."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from rimwright.anatomy import Ints, Points, Vector
from rimwright.imaging.box import bounding_box
from rimwright.imaging.edges import EdgeTable, find_edges


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Piece:
    """
    A connected surface with consistent winding.

    Parameters
    ----------
    vertices_mm, triangles
        (n, 3) mm, LPS, and (m, 3); every vertex is used.
    low_mm, high_mm
        (3,) corners of the box round it.
    area_mm2
        Of the surface.
    volume_mm3
        Enclosed, negative where the surface faces inward; a hole counts as covered by a fan to
        the middle of its corners.
    hole_widths_mm
        Longest side of the box round each hole, widest first; empty where closed.
    open_fraction
        Area of the holes over the area of the surface.
    """

    vertices_mm: Points
    triangles: Ints
    low_mm: Vector
    high_mm: Vector
    area_mm2: float
    volume_mm3: float
    hole_widths_mm: tuple[float, ...]
    open_fraction: float

    @property
    def extent_mm(self) -> float:
        """Longest side of the box round it, mm."""
        return float((self.high_mm - self.low_mm).max())

    @property
    def diagonal_mm(self) -> float:
        """Diagonal of the box round it, mm."""
        return float(np.linalg.norm(self.high_mm - self.low_mm))

    @property
    def is_closed(self) -> bool:
        """Whether every edge is shared."""
        return not self.hole_widths_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class _Holes:
    """Widths, widest first; area of all; what covering them adds to the volume."""

    widths_mm: tuple[float, ...]
    area_mm2: float
    covered_mm3: float


def measure_piece(vertices_mm: Points, triangles: Ints, *, edges: EdgeTable | None = None) -> Piece:
    """
    Measure a connected surface.

    Parameters
    ----------
    vertices_mm, triangles
        (n, 3) mm and (m, 3), consistent winding, m at least 1.
    edges
        Of the surface, where they are at hand.

    Returns
    -------
    Piece
        With volume by the divergence theorem.
    """
    middle = vertices_mm.mean(axis=0)
    corners = (vertices_mm - middle)[triangles]
    area_vectors = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    area_mm2 = 0.5 * float(np.sqrt(np.einsum("ij,ij->i", area_vectors, area_vectors)).sum())
    volume_mm3 = float(np.einsum("ij,ij->", corners[:, 0], area_vectors)) / 6.0
    if edges is None:
        edges = find_edges(triangles, n_vertices=len(vertices_mm))
    holes = _measure_holes(vertices_mm - middle, edges.open_edges())
    low_mm, high_mm = bounding_box(vertices_mm)
    return Piece(
        vertices_mm=vertices_mm,
        triangles=triangles,
        low_mm=low_mm,
        high_mm=high_mm,
        area_mm2=area_mm2,
        volume_mm3=volume_mm3 + holes.covered_mm3,
        hole_widths_mm=holes.widths_mm,
        open_fraction=holes.area_mm2 / area_mm2 if area_mm2 > 0 else 0.0,
    )


def turn_piece(piece: Piece) -> Piece:
    """The same surface inside out."""
    return Piece(
        vertices_mm=piece.vertices_mm,
        triangles=piece.triangles[:, ::-1],
        low_mm=piece.low_mm,
        high_mm=piece.high_mm,
        area_mm2=piece.area_mm2,
        volume_mm3=-piece.volume_mm3,
        hole_widths_mm=piece.hole_widths_mm,
        open_fraction=piece.open_fraction,
    )


def winding_number(point_mm: Vector, piece: Piece) -> float:
    """
    How often a surface goes round a point.

    Parameters
    ----------
    point_mm
        (3,).
    piece
        The surface, closed or nearly so.

    Returns
    -------
    float
        ±1 inside, 0 outside, between where the surface is open.

    Notes
    -----
    Sum of the solid angles of the triangles over 4 π, each by the half-angle tangent.
    Source: The solid angle of a plane triangle, IEEE Trans Biomed Eng, 1983,
    doi:10.1109/TBME.1983.325207.
    """
    a, b, c = np.moveaxis((piece.vertices_mm - point_mm)[piece.triangles], 1, 0)
    length_a, length_b, length_c = (np.sqrt(np.einsum("ij,ij->i", v, v)) for v in (a, b, c))
    determinant = np.einsum("ij,ij->i", a, np.cross(b, c))
    below = (
        length_a * length_b * length_c
        + np.einsum("ij,ij->i", a, b) * length_c
        + np.einsum("ij,ij->i", b, c) * length_a
        + np.einsum("ij,ij->i", c, a) * length_b
    )
    return float(np.arctan2(determinant, below).sum() / (2 * np.pi))


def _measure_holes(vertices_mm: Points, open_edges: Ints) -> _Holes:
    """Holes of a surface, each covered by a fan to the middle of its corners."""
    if not len(open_edges):
        return _Holes(widths_mm=(), area_mm2=0.0, covered_mm3=0.0)
    used, ends = np.unique(open_edges, return_inverse=True)
    ends = ends.reshape(-1, 2)
    graph = coo_matrix(
        (np.ones(len(ends), dtype=np.int8), (ends[:, 0], ends[:, 1])), shape=(len(used),) * 2
    )
    n_holes, label = connected_components(graph, directed=False)
    places = vertices_mm[used]
    order = np.argsort(label, kind="stable")
    starts = np.searchsorted(label[order], np.arange(n_holes))
    low = np.minimum.reduceat(places[order], starts, axis=0)
    high = np.maximum.reduceat(places[order], starts, axis=0)
    hole = label[ends[:, 0]]
    start, end = places[ends[:, 0]], places[ends[:, 1]]
    n_edges = np.bincount(hole, minlength=n_holes)
    middles = [np.bincount(hole, start[:, axis], n_holes) / n_edges for axis in range(3)]
    middle = np.column_stack(middles)[hole]  # in the plane of a flat hole, so exact there
    # a covering triangle runs against the edge of the surface: end, start, middle
    cover = np.cross(start - middle, end - middle)
    area = np.column_stack([np.bincount(hole, cover[:, axis], n_holes) for axis in range(3)])
    return _Holes(
        widths_mm=tuple(np.sort((high - low).max(axis=1))[::-1].tolist()),
        area_mm2=0.5 * float(np.sqrt((area**2).sum(axis=1)).sum()),
        covered_mm3=float(np.einsum("ij,ij->", end, np.cross(start, middle))) / 6.0,
    )
