"""Which pieces lie inside others: a cavity stays with its body, facing into the hollow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Ints
from rimwright.imaging.limits import MAX_NESTING_TESTS
from rimwright.imaging.piece import Piece, winding_number
from rimwright.imaging.raw_shell import check_count

INSIDE = 0.5
"""Winding number beyond which a point is inside."""
N_PROBES = 3
"""Triangles of the inner piece whose middles are asked; the majority counts, as one may touch."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Nesting:
    """
    Where each piece lies.

    Parameters
    ----------
    root
        (p,) index of the outermost piece round each; its own index where it lies free.
    depth
        (p,) number of pieces round each.
    """

    root: Ints
    depth: Ints


def find_nesting(pieces: Sequence[Piece], *, shell_of: Sequence[int], where: str) -> Nesting:
    """
    Find which pieces lie inside which.

    Parameters
    ----------
    pieces
        p connected surfaces, mm.
    shell_of
        (p,) the group of the file each came from. A piece of another group counts as inside
        only where it faces inward: a group of its own that faces outward is a body of its own.
    where
        The file, for the refusal.

    Returns
    -------
    Nesting
        Outermost piece and depth of each.

    Raises
    ------
    FileRefusal
        Too many pieces lie in the boxes of others.

    Notes
    -----
    Boxes first, then winding numbers at three points of the inner piece.
    """
    n_pieces = len(pieces)
    root = np.arange(n_pieces)
    depth = np.zeros(n_pieces, dtype=np.int64)
    if n_pieces < 2:
        return Nesting(root=root, depth=depth)
    low = np.array([piece.low_mm for piece in pieces])
    high = np.array([piece.high_mm for piece in pieces])
    volume = np.array([abs(piece.volume_mm3) for piece in pieces])
    shell = np.array(shell_of)
    n_tests = 0
    for index in np.argsort(-volume, kind="stable").tolist():  # outer before inner
        piece = pieces[index]
        may_hold = (low <= low[index]).all(axis=1) & (high >= high[index]).all(axis=1)
        may_hold &= volume > volume[index]
        if piece.volume_mm3 >= 0:
            may_hold &= shell == shell[index]
        around = np.flatnonzero(may_hold)
        for parent in around[np.argsort(volume[around])].tolist():  # the closest first
            n_tests += 1
            check_count(n_tests, need=MAX_NESTING_TESTS, what="nested pieces", where=where)
            if _is_inside(piece, pieces[parent]):
                root[index] = root[parent]
                depth[index] = depth[parent] + 1
                break
    return Nesting(root=root, depth=depth)


def _is_inside(piece: Piece, outer: Piece) -> bool:
    """Whether most probes of a piece lie inside another."""
    rows = np.linspace(0, len(piece.triangles) - 1, N_PROBES).astype(np.int64)
    probes = piece.vertices_mm[piece.triangles[rows]].mean(axis=1)
    votes = sum(abs(winding_number(probe, outer)) > INSIDE for probe in probes)
    return votes > N_PROBES / 2
