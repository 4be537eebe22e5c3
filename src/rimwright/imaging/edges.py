"""Edges of a triangle surface: who meets whom, where it is open, how its winding runs."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from rimwright.anatomy import Ints

Bools = NDArray[np.bool_]
"""Any array of truth values."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EdgeTable:
    """
    Half-edges of m triangles, sorted so that those of one edge stand together.

    Parameters
    ----------
    low, high
        (3 m,) vertex indices of each half-edge, low < high.
    runs_up
        (3 m,) bool, whether the half-edge runs from low to high.
    face
        (3 m,) triangle of each half-edge.
    starts
        (k,) where each edge begins.
    counts
        (k,) half-edges of each edge.
    """

    low: Ints
    high: Ints
    runs_up: Bools
    face: Ints
    starts: Ints
    counts: Ints

    def pairs(self) -> tuple[Ints, Ints]:
        """Half-edges of the edges shared by exactly two triangles: first and second, (p,) each."""
        first = self.starts[self.counts == 2]
        return first, first + 1

    def open_edges(self) -> Ints:
        """(b, 2) vertex pairs of the edges used an odd number of times, as their triangle runs."""
        at = self.starts[self.counts % 2 == 1]
        ends = np.column_stack([self.low[at], self.high[at]])
        runs_down = ~self.runs_up[at]
        ends[runs_down] = ends[runs_down, ::-1]
        return ends

    @property
    def n_crowded(self) -> int:
        """Number of edges shared by more than two triangles."""
        return int((self.counts > 2).sum())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Winding:
    """
    How the triangles of a surface must turn.

    Parameters
    ----------
    is_turned
        (m,) bool, to be turned over.
    is_one_sided
        (m,) bool, part of a one-sided piece (like a twisted band), which has no inside.
    """

    is_turned: Bools
    is_one_sided: Bools


def find_edges(triangles: Ints, *, n_vertices: int) -> EdgeTable:
    """
    Sort the half-edges of a surface.

    Parameters
    ----------
    triangles
        (m, 3), no repeated corner in a triangle.
    n_vertices
        Number of vertices, at most 3e9.

    Returns
    -------
    EdgeTable
        One sort of 3 m keys, O(m log m).
    """
    start = triangles.ravel()
    end = triangles[:, [1, 2, 0]].ravel()
    low, high = np.minimum(start, end), np.maximum(start, end)
    key = low * n_vertices + high
    order = np.argsort(key)
    key = key[order]
    is_new = np.empty(len(key), dtype=bool)
    is_new[:1] = True
    np.not_equal(key[1:], key[:-1], out=is_new[1:])
    starts = np.flatnonzero(is_new)
    counts = np.diff(np.append(starts, len(key)))
    return EdgeTable(
        low=low[order],
        high=high[order],
        runs_up=(start < end)[order],
        face=order // 3,
        starts=starts,
        counts=counts,
    )


def label_pieces(edges: EdgeTable, *, n_triangles: int) -> Ints:
    """
    Connected pieces of a surface, joined across edges shared by exactly two triangles.

    Parameters
    ----------
    edges
        Of the surface.
    n_triangles
        m.

    Returns
    -------
    Ints
        (m,) label of each triangle, 0, 1, …; surfaces that only touch in a point or along an
        edge that four triangles share stay apart.
    """
    first, second = edges.pairs()
    return _components(edges.face[first], edges.face[second], n_nodes=n_triangles)


def find_winding(edges: EdgeTable, *, n_triangles: int) -> Winding:
    """
    Find the triangles to turn over so that the winding of each piece is consistent.

    Parameters
    ----------
    edges
        Of the surface.
    n_triangles
        m.

    Returns
    -------
    Winding
        The smaller set of each piece, and the pieces where no set would do.

    Notes
    -----
    Two copies of every triangle, as wound and turned, are joined across each shared edge such
    that neighbours agree; a piece whose copies hang together is one-sided.
    """
    first, second = edges.pairs()
    one, other = edges.face[first], edges.face[second]
    clash = edges.runs_up[first] == edges.runs_up[second]
    if not clash.any():
        none = np.zeros(n_triangles, dtype=bool)
        return Winding(is_turned=none, is_one_sided=none)
    shift = np.where(clash, n_triangles, 0)
    label = _components(
        np.concatenate([one, one + n_triangles]),
        np.concatenate([other + shift, other + n_triangles - shift]),
        n_nodes=2 * n_triangles,
    )
    as_wound, turned = label[:n_triangles], label[n_triangles:]
    # of the two consistent sets of a piece, the one that leaves more triangles as they are
    n_as_wound = np.bincount(as_wound, minlength=int(label.max()) + 1)
    mine, others = n_as_wound[as_wound], n_as_wound[turned]
    keeps = (mine > others) | ((mine == others) & (as_wound <= turned))
    return Winding(is_turned=~keeps, is_one_sided=as_wound == turned)


def _components(one: Ints, other: Ints, *, n_nodes: int) -> Ints:
    """Label of each node of the graph with the edges one–other, (n_nodes,)."""
    graph = coo_matrix((np.ones(len(one), dtype=np.int8), (one, other)), shape=(n_nodes, n_nodes))
    return connected_components(graph, directed=False)[1].astype(np.int64)
