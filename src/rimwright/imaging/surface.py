"""From a raw shell to connected pieces: welded, without double triangles, wound alike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, Ints, Points
from rimwright.errors import BoneRefusal
from rimwright.imaging.edges import EdgeTable, find_edges, find_winding, label_pieces
from rimwright.imaging.limits import MAX_BODIES
from rimwright.imaging.piece import Piece, measure_piece
from rimwright.imaging.welding import drop_unused, weld_vertices

DUST_EXTENT_MM = 5.0
"""A piece smaller than this is dust: less than a drill and its margins, and no cyst to avoid."""
DUST_TRIANGLES = 20
"""A piece of fewer triangles is dust beside a larger one: it is no anatomical shape."""
LEAST_CLOSED = 4
"""Fewer triangles close nothing."""
DUST_FRACTION = 0.05
"""... beside one that has at least twenty times as many."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SplitShell:
    """
    The pieces of one shell and what was mended on the way.

    Parameters
    ----------
    pieces
        Most triangles first.
    notes
        What was mended or left out, in words.
    """

    pieces: tuple[Piece, ...]
    notes: tuple[str, ...]


def split_shell(vertices_mm: Points, triangles: Ints, *, where: str) -> SplitShell:
    """
    Weld a shell, mend its winding, and split it into connected pieces.

    Parameters
    ----------
    vertices_mm, triangles
        (n, 3) mm, LPS, finite, and (m, 3).
    where
        The file and body, for the refusal.

    Returns
    -------
    SplitShell
        Dust left out, said in the notes.

    Raises
    ------
    BoneRefusal
        No triangle has an area, nothing but dust is there, or a piece is one-sided.
    """
    notes: list[str] = []
    vertices, triangles = weld_vertices(*drop_unused(vertices_mm, triangles))
    triangles = _drop_degenerate(triangles, notes, where=where)
    edges = find_edges(triangles, n_vertices=len(vertices))
    if edges.n_crowded:
        triangles = _drop_doubles(triangles, notes, where=where)
        edges = find_edges(triangles, n_vertices=len(vertices))
        if edges.n_crowded:
            notes.append(f"{_count(edges.n_crowded, 'edge')} shared by more than two triangles")
    n_triangles = len(triangles)
    label = label_pieces(edges, n_triangles=n_triangles)
    winding = find_winding(edges, n_triangles=n_triangles)
    n_turned = int(winding.is_turned.sum())
    if n_turned:
        triangles = np.where(winding.is_turned[:, None], triangles[:, ::-1], triangles)
        notes.append(f"{_count(n_turned, 'triangle')} wound against the rest, turned over")
    one_sided = np.zeros(int(label.max()) + 1, dtype=bool)
    one_sided[label[winding.is_one_sided]] = True
    kept = _pieces_to_keep(vertices, triangles, label=label, notes=notes, where=where)
    if one_sided[kept].any():
        raise BoneRefusal(
            "the surface is one-sided (like a twisted band), so it has no inside",
            where,
            "Close the surface where it was segmented and export it again",
        )
    pieces = []
    for index in kept:
        if len(one_sided) == 1:
            fresh: EdgeTable | None = None if n_turned else edges
            pieces.append(measure_piece(*drop_unused(vertices, triangles), edges=fresh))
        else:
            pieces.append(measure_piece(*drop_unused(vertices, triangles[label == index])))
    return SplitShell(pieces=tuple(pieces), notes=tuple(notes))


def _drop_degenerate(triangles: Ints, notes: list[str], *, where: str) -> Ints:
    """Triangles with three corners of their own."""
    a, b, c = triangles.T
    is_whole = (a != b) & (b != c) & (c != a)
    n_dropped = int((~is_whole).sum())
    if n_dropped == len(triangles):
        raise BoneRefusal(
            "no triangle has an area (need a surface)", where, "Export the surface again"
        )
    if not n_dropped:
        return triangles
    notes.append(f"{_count(n_dropped, 'triangle')} without area left out")
    return triangles[is_whole]


def _drop_doubles(triangles: Ints, notes: list[str], *, where: str) -> Ints:
    """Triangles that stand once; of equal ones the first, of opposite ones none."""
    ordered = np.sort(triangles, axis=1)
    order = np.lexsort(ordered.T)
    same = (ordered[order[1:]] == ordered[order[:-1]]).all(axis=1)
    if not same.any():
        return triangles
    group = np.empty(len(triangles), dtype=np.int64)
    group[order] = np.concatenate([[0], np.cumsum(~same)])
    # parity of the winding: whether the smallest corner is followed by the middle one
    smallest = np.argmin(triangles, axis=1)
    following = np.take_along_axis(triangles, ((smallest + 1) % 3)[:, None], axis=1)[:, 0]
    sense = np.where(following == ordered[:, 1], 1, -1)
    net = np.bincount(group, weights=sense).astype(np.int64)
    # the first triangle of each group that winds as the group does on balance
    wanted = np.flatnonzero(sense == np.sign(net)[group])
    _, first = np.unique(group[wanted], return_index=True)
    kept = np.sort(wanted[first])
    notes.append(f"{_count(len(triangles) - len(kept), 'triangle')} standing twice left out")
    if not len(kept):
        raise BoneRefusal(
            "every triangle stands twice, back to back (need a closed surface)",
            where,
            "Export the surface of the bone, not a sheet",
        )
    return triangles[kept]


def _pieces_to_keep(
    vertices: Points, triangles: Ints, *, label: Ints, notes: list[str], where: str
) -> list[int]:
    """Labels of the pieces that are no dust, most triangles first."""
    n_pieces = int(label.max()) + 1
    sizes = np.bincount(label, minlength=n_pieces)
    if n_pieces == 1:
        return [0]
    extents_mm = _extents(vertices, triangles, label=label, n_pieces=n_pieces)
    is_dust = (extents_mm < DUST_EXTENT_MM) | (sizes < LEAST_CLOSED)
    is_dust |= (sizes < DUST_TRIANGLES) & (sizes < DUST_FRACTION * sizes.max())
    ranked = np.argsort(-sizes, kind="stable")
    kept = [int(index) for index in ranked if not is_dust[index]]
    if not kept:
        raise BoneRefusal(
            f"falls into {n_pieces:,} separate crumbs, the largest of {sizes.max()} triangles and "
            f"{extents_mm.max():.1f} mm (need a connected surface)",
            where,
            "Export the surface with shared corners",
        )
    kept = kept[:MAX_BODIES]
    n_dropped = n_pieces - len(kept)
    if n_dropped:
        gone = np.ones(n_pieces, dtype=bool)
        gone[kept] = False
        notes.append(
            f"{_count(n_dropped, 'small separate piece')} left out as dust "
            f"({int(sizes[gone].sum()):,} triangles, largest {extents_mm[gone].max():.1f} mm)"
        )
    return kept


def _extents(vertices: Points, triangles: Ints, *, label: Ints, n_pieces: int) -> Floats:
    """Longest side of the box round each piece, (n_pieces,)."""
    order = np.argsort(label, kind="stable")
    starts = np.searchsorted(label[order], np.arange(n_pieces))
    corners = vertices[triangles[order]]
    low = np.minimum.reduceat(corners.min(axis=1), starts, axis=0)
    high = np.maximum.reduceat(corners.max(axis=1), starts, axis=0)
    return (high - low).max(axis=1)


def _count(n: int, thing: str) -> str:
    """A count with its noun."""
    return f"{n:,} {thing}" if n == 1 else f"{n:,} {thing}s"
