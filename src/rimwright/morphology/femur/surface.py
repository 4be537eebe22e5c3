"""The femur's outer surface in the pelvic frame of its own side, ready to be measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from rimwright.anatomy import Floats, Ints, PelvicFrame, Points, TriangleMesh
from rimwright.errors import BoneRefusal

WHERE = "femur"
"""How a refusal names the bone."""
LEAST_TRIANGLES = 200
"""Fewer triangles cannot show a head and a neck to a millimetre."""
LEAST_EXTENT_MM = 30.0
"""A femoral head alone is wider than this; anything smaller is in the wrong unit."""
WELD_MM = 1e-6
"""Corners nearer than this are one vertex, mm: far below any scan."""

EVEN_OUT_MM = 2.5
"""Distance over which normals are averaged, mm: a coarse CT's voxel, a tenth of a head."""
MOST_ROUNDS = 16
"""Most rounds of averaging with direct neighbours; on finer meshes more would only cost time."""

LATERAL, CRANIAL, ANTERIOR = 0, 1, 2
"""Columns of pelvic coordinates."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FemurSurface:
    """
    One closed or holed outer surface, pelvic frame.

    Parameters
    ----------
    points_mm
        (n, 3) vertices: lateral, cranial, anterior, mm. The same numbers for a femur and its
        mirror image, so that everything computed from them is mirrored too.
    triangles
        (m, 3), counter-clockwise seen from outside in these coordinates.
    normals
        (n, 3), unit, outward, area-weighted and evened out over a few millimetres.
    areas_mm2
        (n,), surface that each vertex stands for (a third of its triangles), mm².
    left_out_fraction
        Share of the given surface that lies in other bodies and was left out.
    """

    points_mm: Points
    triangles: Ints
    normals: Floats
    areas_mm2: Floats
    left_out_fraction: float

    def near(self, centre_mm: Points, *, reach_mm: float) -> Ints:
        """Triangles (k, 3) with a corner within reach of a point."""
        offset = self.points_mm - centre_mm
        close = np.einsum("ij,ij->i", offset, offset) < reach_mm**2
        return self.triangles[close[self.triangles].any(axis=1)]


def prepare_surface(femur: TriangleMesh, *, frame: PelvicFrame) -> FemurSurface:
    """
    Bring the largest body of a mesh into the pelvic frame.

    Parameters
    ----------
    femur
        Image frame, mm, outward.
    frame
        The pelvic frame of the femur's side.

    Returns
    -------
    FemurSurface
        The largest body by area; inner walls and loose pieces are left out.

    Raises
    ------
    BoneRefusal
        Too few triangles, or an extent that no femur in millimetres has.
    """
    triangles = np.asarray(femur.triangles)
    vertices = np.asarray(femur.vertices_mm)
    if len(triangles) < LEAST_TRIANGLES:
        raise BoneRefusal(
            f"too few triangles for a femur (got {len(triangles)}, need {LEAST_TRIANGLES})",
            WHERE,
            "Give the femur's surface at full detail",
        )
    extent_mm = float(np.linalg.norm(np.ptp(vertices[triangles.ravel()], axis=0)))
    if extent_mm < LEAST_EXTENT_MM:
        raise BoneRefusal(
            f"too small for a femur (got {extent_mm:.2g} mm across, "
            f"need at least {LEAST_EXTENT_MM:.0f} mm)",
            WHERE,
            "Give the file's unit (metres?) or the right body",
        )
    if len(vertices) > len(triangles):
        vertices, triangles = _welded(vertices, triangles)
    points = frame.pelvic_from_image.points(vertices)
    if np.linalg.det(frame.pelvic_from_image.axes) < 0:
        triangles = triangles[:, [0, 2, 1]]
    triangles, left_out_fraction = _largest_body(points, triangles)
    used = np.zeros(len(points), dtype=bool)
    used[triangles.ravel()] = True
    renumbered = np.cumsum(used) - 1
    points, triangles = points[used], renumbered[triangles]

    edges = points[triangles]
    vectors = 0.5 * np.cross(edges[:, 1] - edges[:, 0], edges[:, 2] - edges[:, 0])
    areas = np.linalg.norm(vectors, axis=1) / 3.0
    n_points = len(points)
    vertex_areas = np.bincount(
        triangles.ravel(), weights=np.repeat(areas, 3), minlength=n_points
    ).astype(np.float64)
    sums = np.column_stack(
        [
            np.bincount(triangles.ravel(), weights=np.repeat(vectors[:, k], 3), minlength=n_points)
            for k in range(3)
        ]
    )
    normals = _evened_normals(sums.astype(np.float64), points, triangles)
    return FemurSurface(
        points_mm=points,
        triangles=triangles,
        normals=normals,
        areas_mm2=vertex_areas,
        left_out_fraction=left_out_fraction,
    )


def _evened_normals(sums: Floats, points: Points, triangles: Ints) -> Floats:
    """
    Unit normals from area-weighted sums, averaged with their neighbours'.

    Surfaces from voxels are stairs of a voxel's height: their raw normals meet nowhere.
    """
    ends = triangles[:, [0, 1, 2, 1, 2, 0]].reshape(-1, 2, 3).transpose(0, 2, 1).reshape(-1, 2)
    edge_mm = float(np.median(np.linalg.norm(points[ends[:, 0]] - points[ends[:, 1]], axis=1)))
    n_rounds = int(np.clip(np.ceil((EVEN_OUT_MM / max(edge_mm, 1e-3)) ** 2), 1, MOST_ROUNDS))
    graph = coo_matrix(
        (np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(len(points),) * 2
    ).tocsr()
    graph = graph + graph.T
    normals = sums
    for _ in range(n_rounds):
        normals = normals + graph @ normals / np.maximum(graph.sum(axis=1).A1, 1.0)[:, None]
    lengths = np.linalg.norm(normals, axis=1, keepdims=True)
    return np.divide(normals, lengths, out=np.zeros_like(normals), where=lengths > 0)


def _welded(vertices: Points, triangles: Ints) -> tuple[Points, Ints]:
    """Join corners that stand at the same place; drop triangles that lose their area by it."""
    cells = np.round(vertices / WELD_MM).astype(np.int64)
    _, first, place = np.unique(cells, axis=0, return_index=True, return_inverse=True)
    joined = place.reshape(-1)[triangles]
    real = (
        (joined[:, 0] != joined[:, 1])
        & (joined[:, 1] != joined[:, 2])
        & (joined[:, 2] != joined[:, 0])
    )
    return vertices[first], joined[real]


def _largest_body(points: Points, triangles: Ints) -> tuple[Ints, float]:
    """Triangles of the connected body with the largest area, and the share of the others."""
    ends = triangles[:, [0, 1, 1, 2]].reshape(-1, 2)
    graph = coo_matrix(
        (np.ones(len(ends), dtype=np.int8), (ends[:, 0], ends[:, 1])), shape=(len(points),) * 2
    )
    _, label = connected_components(graph, directed=False)
    body = label[triangles[:, 0]]
    corners = points[triangles]
    area = np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    area_of_body = np.bincount(body, weights=area)
    share = float(area_of_body.max() / max(area_of_body.sum(), 1e-300))
    return triangles[body == np.argmax(area_of_body)], 1.0 - share
