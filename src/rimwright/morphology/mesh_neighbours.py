"""Which triangle lies across each edge of a triangle."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Ints, TriangleMesh


def find_neighbours(mesh: TriangleMesh) -> Ints:
    """
    Triangle across each of the three edges of every triangle.

    Parameters
    ----------
    mesh
        m triangles.

    Returns
    -------
    Ints
        (m, 3); entry k belongs to the edge from corner k to corner k + 1; −1 at a free edge
        or where more than two triangles share an edge.

    Notes
    -----
    One sort of the 3 m edges: O(m log m).
    """
    triangles = mesh.triangles
    n_vertices = len(mesh.vertices_mm)
    first = triangles.ravel()
    second = triangles[:, [1, 2, 0]].ravel()
    keys = np.minimum(first, second) * n_vertices + np.maximum(first, second)
    order = np.argsort(keys, kind="stable")
    ordered = keys[order]
    same = ordered[1:] == ordered[:-1]
    # an edge shared by exactly two triangles: equal to one neighbour in the order, not to both
    starts = np.flatnonzero(
        same & ~np.concatenate([[False], same[:-1]]) & ~np.concatenate([same[1:], [False]])
    )
    neighbours = np.full(len(keys), -1, dtype=np.int64)
    neighbours[order[starts]] = order[starts + 1] // 3
    neighbours[order[starts + 1]] = order[starts] // 3
    return neighbours.reshape(-1, 3)
