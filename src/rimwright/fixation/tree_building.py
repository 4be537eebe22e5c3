"""Builds a tree of boxes: median splits, then patches of surface; compiled kernels."""

from __future__ import annotations

import numpy as np
from numba import njit

from rimwright.fixation.tree_queries import STACK

LEAF_TRIANGLES = 4
"""Triangles a box is not split below: fewer cost memory, more cost distance tests (measured)."""
PATCH_RADIUS_MM = 1.0
"""Largest radius of a patch of several triangles, mm: smaller means more patches to look at,
larger means more of them that do not decide (the optimum is flat from 0.8 to 1.5)."""


@njit(cache=True, nogil=True)
def split_boxes(corners):  # type: ignore[no-untyped-def]
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
def find_patches(corners, span, right):  # type: ignore[no-untyped-def]
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
