"""A triangle surface in the image frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy.arrays import Floats, Ints, Points, frozen_floats, frozen_ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TriangleMesh:
    """
    One body: vertices and triangles, outward normals, image frame (LPS, mm).

    Parameters
    ----------
    vertices_mm
        (n, 3), mm.
    triangles
        (m, 3), indices of vertices, counter-clockwise seen from outside.
    """

    vertices_mm: Points
    triangles: Ints

    def __post_init__(self) -> None:
        object.__setattr__(
            self,
            "vertices_mm",
            frozen_floats(self.vertices_mm, shape=(None, 3), name="vertices_mm"),
        )
        object.__setattr__(
            self, "triangles", frozen_ints(self.triangles, shape=(None, 3), name="triangles")
        )
        if len(self.triangles) and (
            self.triangles.min() < 0 or self.triangles.max() >= len(self.vertices_mm)
        ):
            raise ValueError("triangles: an index has no vertex")

    @property
    def n_triangles(self) -> int:
        """Number of triangles."""
        return len(self.triangles)

    def corners_mm(self) -> Floats:
        """Corners of every triangle, (m, 3, 3) mm."""
        return self.vertices_mm[self.triangles]

    def area_vectors_mm2(self) -> Floats:
        """Normal of every triangle times its area, (m, 3) mm²."""
        a, b, c = (self.vertices_mm[self.triangles[:, corner]] for corner in range(3))
        first, second = b - a, c - a
        vectors = np.empty_like(first)
        for axis in range(3):
            one, two = (axis + 1) % 3, (axis + 2) % 3
            vectors[:, axis] = first[:, one] * second[:, two] - first[:, two] * second[:, one]
        vectors *= 0.5
        return vectors

    def normals(self) -> Floats:
        """Unit outward normal of every triangle, (m, 3); zero for a degenerate one."""
        vectors = self.area_vectors_mm2()
        lengths = np.linalg.norm(vectors, axis=1, keepdims=True)
        return np.divide(vectors, lengths, out=np.zeros_like(vectors), where=lengths > 0)

    def centroids_mm(self) -> Points:
        """Centroid of every triangle, (m, 3) mm."""
        a, b, c = (self.vertices_mm[self.triangles[:, corner]] for corner in range(3))
        centroids: Points = (a + b + c) / 3.0
        return centroids

    def vertex_normals(self) -> Floats:
        """Area-weighted unit outward normal at every vertex, (n, 3)."""
        vectors = self.area_vectors_mm2()
        sums = np.zeros_like(self.vertices_mm)
        for corner in range(3):
            for axis in range(3):
                sums[:, axis] += np.bincount(
                    self.triangles[:, corner],
                    weights=vectors[:, axis],
                    minlength=len(self.vertices_mm),
                )
        lengths = np.linalg.norm(sums, axis=1, keepdims=True)
        return np.divide(sums, lengths, out=np.zeros_like(sums), where=lengths > 0)
