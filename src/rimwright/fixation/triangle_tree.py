"""A tree of boxes over triangles: nearest surface, rays, and discs of surface for shading.

The boxes halve the triangles at the median of their longest side, so a query costs
O(log n) whatever the mesh. Beside the boxes the tree holds *patches*: groups of neighbouring
triangles within `PATCH_RADIUS_MM` of a point of the surface (a single triangle where it is
larger). A patch answers for all its triangles where its point and radius already decide.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numba import njit

from rimwright.anatomy import Floats, Ints, Points, TriangleMesh, Vector
from rimwright.fixation.triangle_distance import (
    point_triangle_mm2,
    ray_triangle_mm,
    segment_triangle_mm2,
)

LEAF_TRIANGLES = 4
"""Triangles a box is not split below: fewer cost memory, more cost distance tests (measured)."""
PATCH_RADIUS_MM = 1.0
"""Largest radius of a patch of several triangles, mm: smaller means more patches to look at,
larger means more of them that do not decide (the optimum is flat from 0.8 to 1.5)."""
STACK = 64
"""Depth of the walk: a median tree of 2**60 triangles would be needed to fill it."""

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
    order, box, span, right = _split(corners)
    corners = corners[order]
    first, point, radius, patch_span = _patches(corners, span, right)
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


@njit(cache=True, nogil=True)
def _split(corners):  # type: ignore[no-untyped-def]
    """Median splits until a leaf is small; boxes in preorder."""
    m = len(corners)
    centre = np.empty((m, 3))
    for i in range(m):
        for axis in range(3):
            centre[i, axis] = (corners[i, axis] + corners[i, 3 + axis] + corners[i, 6 + axis]) / 3.0
    order = np.arange(m)
    box = np.empty((2 * m, 6))
    span = np.empty((2 * m, 2), dtype=np.int64)
    right = np.full(2 * m, -1, dtype=np.int64)
    waiting = np.empty((STACK, 3), dtype=np.int64)  # first, past, parent whose right child it is
    waiting[0, 0], waiting[0, 1], waiting[0, 2] = 0, m, -1
    n_waiting = 1
    n = 0
    while n_waiting:
        n_waiting -= 1
        first, past, parent = (
            waiting[n_waiting, 0],
            waiting[n_waiting, 1],
            waiting[n_waiting, 2],
        )
        if parent >= 0:
            right[parent] = n
        span[n, 0], span[n, 1] = first, past
        low = np.full(3, np.inf)
        high = np.full(3, -np.inf)
        inner_low = np.full(3, np.inf)
        inner_high = np.full(3, -np.inf)
        for place in range(first, past):
            i = order[place]
            for axis in range(3):
                a, b, c = corners[i, axis], corners[i, 3 + axis], corners[i, 6 + axis]
                low[axis] = min(low[axis], a, b, c)
                high[axis] = max(high[axis], a, b, c)
                inner_low[axis] = min(inner_low[axis], centre[i, axis])
                inner_high[axis] = max(inner_high[axis], centre[i, axis])
        for axis in range(3):
            box[n, axis], box[n, 3 + axis] = low[axis], high[axis]
        if past - first > LEAF_TRIANGLES:
            axis = 0
            if inner_high[1] - inner_low[1] > inner_high[axis] - inner_low[axis]:
                axis = 1
            if inner_high[2] - inner_low[2] > inner_high[axis] - inner_low[axis]:
                axis = 2
            middle = (first + past) // 2
            _select(order, centre, axis, first, past - 1, middle)
            waiting[n_waiting, 0], waiting[n_waiting, 1], waiting[n_waiting, 2] = middle, past, n
            waiting[n_waiting + 1, 0] = first
            waiting[n_waiting + 1, 1] = middle
            waiting[n_waiting + 1, 2] = -1
            n_waiting += 2
        n += 1
    return order, box[:n].copy(), span[:n].copy(), right[:n].copy()


@njit(cache=True, nogil=True)
def _select(order, centre, axis, low, high, k):  # type: ignore[no-untyped-def]
    """Part order[low..high] so that place k holds the k-th centre along an axis."""
    while low < high:
        pivot = centre[order[(low + high) // 2], axis]
        i, j = low, high
        while i <= j:
            while centre[order[i], axis] < pivot:
                i += 1
            while centre[order[j], axis] > pivot:
                j -= 1
            if i <= j:
                order[i], order[j] = order[j], order[i]
                i += 1
                j -= 1
        if k <= j:
            high = j
        elif k >= i:
            low = i
        else:
            return


@njit(cache=True, nogil=True)
def _patch_of(corners, first, past):  # type: ignore[no-untyped-def]
    """The triangle centre nearest the mean of all, and the radius about it that holds all."""
    mean = np.zeros(3)
    for i in range(first, past):
        for axis in range(3):
            mean[axis] += corners[i, axis] + corners[i, 3 + axis] + corners[i, 6 + axis]
    mean /= 3.0 * (past - first)
    best = np.inf
    point = np.zeros(3)
    here = np.zeros(3)
    for i in range(first, past):
        off = 0.0
        for axis in range(3):
            here[axis] = (corners[i, axis] + corners[i, 3 + axis] + corners[i, 6 + axis]) / 3.0
            off += (here[axis] - mean[axis]) ** 2
        if off < best:
            best = off
            point[:] = here
    radius = 0.0
    for i in range(first, past):
        for corner in range(3):
            off = 0.0
            for axis in range(3):
                off += (corners[i, 3 * corner + axis] - point[axis]) ** 2
            radius = max(radius, off)
    return point, np.sqrt(radius)


@njit(cache=True, nogil=True)
def _patches(corners, span, right):  # type: ignore[no-untyped-def]
    """Patches in tree order; `first` tells at which boxes a walk may stop."""
    n_boxes = len(span)
    m = len(corners)
    first = np.full((n_boxes, 2), -1, dtype=np.int64)
    points = np.empty((m, 3))
    radii = np.empty(m)
    spans = np.empty((m, 2), dtype=np.int64)
    n = 0
    covered = 0  # triangles before this one already lie in a patch (preorder = tree order)
    for box in range(n_boxes):
        start, past = span[box, 0], span[box, 1]
        if start < covered:
            continue
        # A box of more triangles than this cannot lie within the radius on any bone mesh worth
        # the test; without the limit the radii of all big boxes would be worked out for nothing.
        if past - start > 256 and right[box] >= 0:
            continue
        point, radius = _patch_of(corners, start, past)
        if radius <= PATCH_RADIUS_MM:
            first[box, 0], first[box, 1] = n, n + 1
            points[n] = point
            radii[n] = radius
            spans[n, 0], spans[n, 1] = start, past
            n += 1
            covered = past
        elif right[box] < 0:
            first[box, 0] = n
            for i in range(start, past):
                point, radius = _patch_of(corners, i, i + 1)
                points[n] = point
                radii[n] = radius
                spans[n, 0], spans[n, 1] = i, i + 1
                n += 1
            first[box, 1] = n
            covered = past
    return first, points[:n].copy(), radii[:n].copy(), spans[:n].copy()


@njit(cache=True, nogil=True, inline="always")
def box_point_mm2(box, b, px, py, pz):  # type: ignore[no-untyped-def]
    """Squared distance of a point from box b, 0 inside."""
    x = max(max(box[b, 0] - px, px - box[b, 3]), 0.0)
    y = max(max(box[b, 1] - py, py - box[b, 4]), 0.0)
    z = max(max(box[b, 2] - pz, pz - box[b, 5]), 0.0)
    return x * x + y * y + z * z


@njit(cache=True, nogil=True)
def nearest_distances(points, corners, box, span, right):  # type: ignore[no-untyped-def]
    """Distance of each point to its nearest triangle, nearer child first."""
    out = np.empty(len(points))
    stack = np.empty(STACK, dtype=np.int64)
    bounds = np.empty(STACK)
    for k in range(len(points)):
        px, py, pz = points[k, 0], points[k, 1], points[k, 2]
        best = np.inf
        n = 0
        if len(span):
            stack[0] = 0
            bounds[0] = box_point_mm2(box, 0, px, py, pz)
            n = 1
        while n:
            n -= 1
            if bounds[n] >= best:
                continue
            b = stack[n]
            if right[b] < 0:
                for i in range(span[b, 0], span[b, 1]):
                    c = corners[i]
                    d = point_triangle_mm2(
                        px, py, pz, c[0], c[1], c[2], c[3], c[4], c[5], c[6], c[7], c[8]
                    )
                    best = min(best, d)
                continue
            left_bound = box_point_mm2(box, b + 1, px, py, pz)
            right_bound = box_point_mm2(box, right[b], px, py, pz)
            if left_bound < right_bound:
                stack[n], bounds[n] = right[b], right_bound
                stack[n + 1], bounds[n + 1] = b + 1, left_bound
            else:
                stack[n], bounds[n] = b + 1, left_bound
                stack[n + 1], bounds[n + 1] = right[b], right_bound
            n += 2
        out[k] = np.sqrt(best)
    return out


@njit(cache=True, nogil=True)
def ray_meets_box(box, b, start, direction, reach):  # type: ignore[no-untyped-def]
    """Whether the ray passes box b before `reach`."""
    near, far = 0.0, reach
    for axis in range(3):
        if abs(direction[axis]) < 1e-300:
            if start[axis] < box[b, axis] or start[axis] > box[b, 3 + axis]:
                return False
        else:
            t0 = (box[b, axis] - start[axis]) / direction[axis]
            t1 = (box[b, 3 + axis] - start[axis]) / direction[axis]
            near = max(near, min(t0, t1))
            far = min(far, max(t0, t1))
    return near <= far + 1e-9


@njit(cache=True, nogil=True)
def first_hit(start, direction, from_mm, corners, box, span, right):  # type: ignore[no-untyped-def]
    """Distance to the first triangle hit past `from_mm`, inf for none."""
    best = np.inf
    stack = np.empty(STACK, dtype=np.int64)
    n = 0
    if len(span):
        stack[0] = 0
        n = 1
    while n:
        n -= 1
        b = stack[n]
        if not ray_meets_box(box, b, start, direction, best):
            continue
        if right[b] < 0:
            for i in range(span[b, 0], span[b, 1]):
                c = corners[i]
                t = ray_triangle_mm(
                    start[0],
                    start[1],
                    start[2],
                    direction[0],
                    direction[1],
                    direction[2],
                    c[0],
                    c[1],
                    c[2],
                    c[3],
                    c[4],
                    c[5],
                    c[6],
                    c[7],
                    c[8],
                )
                if from_mm < t < best:
                    best = t
        else:
            stack[n], stack[n + 1] = right[b], b + 1
            n += 2
    return best


@njit(cache=True, nogil=True)
def count_hits(start, direction, corners, box, span, right):  # type: ignore[no-untyped-def]
    """How many triangles the ray passes through."""
    count = 0
    stack = np.empty(STACK, dtype=np.int64)
    n = 0
    if len(span):
        stack[0] = 0
        n = 1
    while n:
        n -= 1
        b = stack[n]
        if not ray_meets_box(box, b, start, direction, np.inf):
            continue
        if right[b] < 0:
            for i in range(span[b, 0], span[b, 1]):
                c = corners[i]
                t = ray_triangle_mm(
                    start[0],
                    start[1],
                    start[2],
                    direction[0],
                    direction[1],
                    direction[2],
                    c[0],
                    c[1],
                    c[2],
                    c[3],
                    c[4],
                    c[5],
                    c[6],
                    c[7],
                    c[8],
                )
                if t > 0.0:
                    count += 1
        else:
            stack[n], stack[n + 1] = right[b], b + 1
            n += 2
    return count


@njit(cache=True, nogil=True)
def segment_distance(start, direction, length, corners, box, span, right):  # type: ignore[no-untyped-def]
    """Least distance of the segment from any triangle, inf for none."""
    best = np.inf
    stack = np.empty(STACK, dtype=np.int64)
    n = 0
    if len(span):
        stack[0] = 0
        n = 1
    half = 0.5 * length
    mx = start[0] + half * direction[0]
    my = start[1] + half * direction[1]
    mz = start[2] + half * direction[2]
    while n:
        n -= 1
        b = stack[n]
        # The whole segment lies within half its length of its middle.
        if np.sqrt(box_point_mm2(box, b, mx, my, mz)) - half >= best:
            continue
        if right[b] < 0:
            for i in range(span[b, 0], span[b, 1]):
                c = corners[i]
                d = segment_triangle_mm2(
                    start[0],
                    start[1],
                    start[2],
                    direction[0],
                    direction[1],
                    direction[2],
                    length,
                    c[0],
                    c[1],
                    c[2],
                    c[3],
                    c[4],
                    c[5],
                    c[6],
                    c[7],
                    c[8],
                )
                best = min(best, np.sqrt(d))
        else:
            left, other = b + 1, right[b]
            if box_point_mm2(box, left, mx, my, mz) < box_point_mm2(box, other, mx, my, mz):
                stack[n], stack[n + 1] = other, left
            else:
                stack[n], stack[n + 1] = left, other
            n += 2
    return best
