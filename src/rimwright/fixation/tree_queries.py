"""Questions put to a tree of boxes: nearest surface, rays, segments; compiled kernels."""

from __future__ import annotations

import numpy as np
from numba import njit

from rimwright.fixation.triangle_distance import (
    point_triangle_mm2,
    ray_triangle_mm,
    segment_triangle_mm2,
)

STACK = 64
"""Depth of the walk: a median tree of 2**60 triangles would be needed to fill it."""


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
