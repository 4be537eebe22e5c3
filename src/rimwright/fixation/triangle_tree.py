"""A tree of boxes over triangles: nearest surface, rays, and discs of surface for shading.

The boxes halve the triangles at the median of their longest side, so a query costs
O(log n) whatever the mesh. Beside the boxes the tree holds *patches*: groups of neighbouring
triangles within `tree_building.PATCH_RADIUS_MM` of a point of the surface (a single triangle
where it is larger). A patch answers for all its triangles where its point and radius already
decide.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, Ints, Points, TriangleMesh, Vector
from rimwright.fixation.tree_building import find_patches, split_boxes
from rimwright.fixation.tree_queries import first_hit, nearest_distances, segment_distance

ARRAY_NAMES = (
    "corners_mm",
    "order",
    "box_mm",
    "span",
    "right",
    "patch_first",
    "patch_mm",
    "patch_radius_mm",
    "patch_span",
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TriangleTree:
    """
    Triangles in tree order, their boxes and patches.

    Parameters
    ----------
    corners_mm
        (m, 9), the three corners of each triangle in tree order, mm.
    order
        (m,) index of each in the mesh it came from.
    box_mm
        (k, 6), low and high corner of each box, parents before children.
    span
        (k, 2), first triangle of each box and one past its last.
    right
        (k,) index of the second child, −1 for a leaf; the first child follows its parent.
    patch_first
        (k, 2), first patch of a box and one past its last where the walk may stop, else −1.
    patch_mm, patch_radius_mm, patch_span
        (p, 3) a point of the surface, (p,) the radius about it that holds the whole patch,
        (p, 2) its triangles.
    """

    corners_mm: Floats
    order: Ints
    box_mm: Floats
    span: Ints
    right: Ints
    patch_first: Ints
    patch_mm: Points
    patch_radius_mm: Floats
    patch_span: Ints

    @property
    def n_triangles(self) -> int:
        """Number of triangles."""
        return len(self.order)

    def nearest_mm(self, points_mm: Points) -> Floats:
        """Distance of (n, 3) points to the nearest triangle, (n,) mm; infinite for no triangle."""
        points = np.ascontiguousarray(points_mm, dtype=np.float64)
        return nearest_distances(points, self.corners_mm, self.box_mm, self.span, self.right)

    def first_hit_mm(self, start_mm: Vector, direction: Vector, *, from_mm: float = 0.0) -> float:
        """Distance along a unit direction to the first triangle past `from_mm`; inf for none."""
        return float(
            first_hit(
                np.ascontiguousarray(start_mm, dtype=np.float64),
                np.ascontiguousarray(direction, dtype=np.float64),
                from_mm,
                self.corners_mm,
                self.box_mm,
                self.span,
                self.right,
            )
        )

    def segment_distance_mm(self, start_mm: Vector, direction: Vector, length_mm: float) -> float:
        """Least distance of a segment from the triangles, mm; infinite for no triangle."""
        return float(
            segment_distance(
                np.ascontiguousarray(start_mm, dtype=np.float64),
                np.ascontiguousarray(direction, dtype=np.float64),
                length_mm,
                self.corners_mm,
                self.box_mm,
                self.span,
                self.right,
            )
        )

    def to_arrays(self, prefix: str) -> dict[str, np.ndarray]:
        """Every array under its name after a prefix, for saving."""
        return {f"{prefix}{name}": getattr(self, name) for name in ARRAY_NAMES}

    @classmethod
    def from_arrays(cls, arrays: Mapping[str, np.ndarray], prefix: str) -> TriangleTree:
        """The tree that `to_arrays` took apart."""
        return cls(**{name: np.ascontiguousarray(arrays[prefix + name]) for name in ARRAY_NAMES})


def build_triangle_tree(mesh: TriangleMesh, chosen: Ints) -> TriangleTree:
    """
    Build the tree of some triangles of a mesh.

    Parameters
    ----------
    mesh
        The surface.
    chosen
        (m,) indices of the triangles to hold; may be empty.

    Returns
    -------
    TriangleTree
        Same triangles, exact corners. O(m log m).
    """
    chosen = np.ascontiguousarray(chosen, dtype=np.int64)
    corners = mesh.vertices_mm[mesh.triangles[chosen]].reshape(-1, 9)
    if not len(chosen):
        return TriangleTree(
            corners_mm=corners,
            order=chosen,
            box_mm=np.zeros((0, 6)),
            span=np.zeros((0, 2), dtype=np.int64),
            right=np.zeros(0, dtype=np.int64),
            patch_first=np.zeros((0, 2), dtype=np.int64),
            patch_mm=np.zeros((0, 3)),
            patch_radius_mm=np.zeros(0),
            patch_span=np.zeros((0, 2), dtype=np.int64),
        )
    order, box, span, right = split_boxes(corners)
    corners = corners[order]
    first, point, radius, patch_span = find_patches(corners, span, right)
    return TriangleTree(
        corners_mm=corners,
        order=chosen[order],
        box_mm=box,
        span=span,
        right=right,
        patch_first=first,
        patch_mm=point,
        patch_radius_mm=radius,
        patch_span=patch_span,
    )
