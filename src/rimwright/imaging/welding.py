"""One vertex for each place: equal vertices merged exactly, near ones within a tolerance."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from rimwright.anatomy import Floats, Ints, Points
from rimwright.imaging.box import bounding_box
from rimwright.imaging.edges import Bools

NEAR_FRACTION = 1e-6
"""Vertices nearer than this fraction of the size of the shell are one: float32 text and
transforms leave gaps of about 1e-7, real edges are a thousand times longer."""
MAX_WINDOW = 64
"""Neighbours along the search line that are compared before a grid takes over."""
# any direction that no plane of a voxel grid is square to
_SEARCH_LINE = np.array([0.5257311121, 0.3249196962, 0.7861513778])
_MIX = (np.uint64(0x9E3779B97F4A7C15), np.uint64(0xBF58476D1CE4E5B9), np.uint64(0x94D049BB133111EB))


def drop_unused(vertices: Points, triangles: Ints) -> tuple[Points, Ints]:
    """
    Leave out vertices that no triangle names.

    Parameters
    ----------
    vertices, triangles
        (n, 3) and (m, 3).

    Returns
    -------
    tuple[Points, Ints]
        The vertices in use, in their order, and the triangles renumbered.
    """
    used = np.zeros(len(vertices), dtype=bool)
    used[triangles.ravel()] = True
    if used.all():
        return vertices, triangles
    renumber = np.cumsum(used) - 1
    return vertices[used], renumber[triangles]


def weld_vertices(vertices: Points, triangles: Ints) -> tuple[Points, Ints]:
    """
    Merge vertices that are one place.

    Parameters
    ----------
    vertices
        (n, 3), n at least 1, finite, any unit.
    triangles
        (m, 3), indices of vertices.

    Returns
    -------
    tuple[Points, Ints]
        Each place once, in the order of the file, and triangles that name them; m stays, so
        triangles may have become degenerate.

    Notes
    -----
    Equal coordinates are found by sorting a 64-bit mix of their bits, checked value by value;
    near ones by sorting along one line. O(n log n).
    """
    first, label = _merge_equal(vertices)
    vertices, triangles = vertices[first], label[triangles]
    low, high = bounding_box(vertices)
    pairs = _near_pairs(vertices, NEAR_FRACTION * float(np.linalg.norm(high - low)))
    if len(pairs):
        graph = coo_matrix((np.ones(len(pairs), dtype=bool), pairs.T), shape=(len(vertices),) * 2)
        n_labels, label = connected_components(graph, directed=False)
        first = np.full(n_labels, len(vertices), dtype=np.int64)
        np.minimum.at(first, label, np.arange(len(vertices)))
        order = np.argsort(first)
        rank = np.empty(n_labels, dtype=np.int64)
        rank[order] = np.arange(n_labels)
        vertices, triangles = vertices[first[order]], rank[label][triangles]
    return vertices, triangles


def _merge_equal(vertices: Points) -> tuple[Ints, Ints]:
    """First vertex at each place, (k,) in file order, and the place of each vertex, (n,)."""
    n_vertices = len(vertices)
    plain = np.ascontiguousarray(vertices + 0.0)  # −0.0 and 0.0 are one place
    bits = plain.view(np.uint64)
    key = bits[:, 0] * _MIX[0]
    for column in (1, 2):
        key ^= key >> np.uint64(31)
        key += bits[:, column]
        key *= _MIX[column]
    key ^= key >> np.uint64(29)
    order = np.argsort(key)
    is_new = _is_new(key[order])
    places = plain[order]
    if (_differs(places) & ~is_new[1:]).any():  # two places share a key: sort by the values
        order = np.lexsort(plain.T)
        is_new[1:] = _differs(plain[order])
    starts = np.flatnonzero(is_new)
    first = np.minimum.reduceat(order, starts)
    by_file = np.argsort(first)
    rank = np.empty(len(starts), dtype=np.int64)
    rank[by_file] = np.arange(len(starts))
    label = np.empty(n_vertices, dtype=np.int64)
    label[order] = np.repeat(rank, np.diff(starts, append=n_vertices))
    return first[by_file], label


def _is_new(ordered: NDArray[np.uint64]) -> Bools:
    """Where a sorted list takes a new value, (n,)."""
    is_new = np.empty(len(ordered), dtype=bool)
    is_new[:1] = True
    np.not_equal(ordered[1:], ordered[:-1], out=is_new[1:])
    return is_new


def _differs(places: Points) -> Bools:
    """Whether each place differs from the one before, (n − 1,); by columns, as rows are slow."""
    differs = places[1:, 0] != places[:-1, 0]
    for column in (1, 2):
        differs |= places[1:, column] != places[:-1, column]
    return differs


def _near_pairs(vertices: Points, tolerance: float) -> Ints:
    """Pairs of vertices no further apart than the tolerance, (k, 2)."""
    along = vertices @ _SEARCH_LINE
    order = np.argsort(along)
    along, places = along[order], vertices[order]
    low = np.flatnonzero(np.diff(along) <= tolerance)
    found: list[Floats] = []
    step = 1
    while len(low):
        if step > MAX_WINDOW:
            return _pairs_of_grid(vertices, tolerance)
        gap = places[low + step] - places[low]
        is_near = np.einsum("ij,ij->i", gap, gap) <= tolerance**2
        if is_near.any():
            found.append(np.column_stack([order[low[is_near]], order[low[is_near] + step]]))
        step += 1
        low = low[low + step < len(along)]
        low = low[along[low + step] - along[low] <= tolerance]
    return np.concatenate(found) if found else np.zeros((0, 2), dtype=np.int64)


def _pairs_of_grid(vertices: Points, tolerance: float) -> Ints:
    """
    Pairs of vertices in one cell of a grid as fine as the tolerance, (k, 2).

    Linear where the search line is crowded (a plane square to it, or a hostile file, for which
    listing every near pair would take memory without end); misses pairs across a cell wall.
    """
    cells = np.floor((vertices - vertices.min(axis=0)) / tolerance)
    order = np.lexsort(cells.T)
    same = (cells[order[1:]] == cells[order[:-1]]).all(axis=1)
    return np.column_stack([order[:-1][same], order[1:][same]])
