"""Which pieces lie inside others: a cavity stays with its body, facing into the hollow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Ints
from rimwright.imaging.piece import Piece, winding_number

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


def find_nesting(pieces: Sequence[Piece], *, shell_of: Sequence[int]) -> Nesting:
    """
    Find which pieces lie inside which.

    Parameters
    ----------
    pieces
        p connected surfaces, mm.
    shell_of
        (p,) the group of the file each came from. A piece of another group counts as inside
        only where it faces inward: a group of its own that faces outward is a body of its own.

    Returns
    -------
    Nesting
        Outermost piece and depth of each.

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
    for index, piece in enumerate(pieces):
        in_box = (low <= low[index]).all(axis=1) & (high >= high[index]).all(axis=1)
        around = [
            other
            for other in np.flatnonzero(in_box & (volume > volume[index])).tolist()
            if (shell_of[other] == shell_of[index] or piece.volume_mm3 < 0)
            and _is_inside(piece, pieces[other])
        ]
        depth[index] = len(around)
        if around:
            root[index] = max(around, key=lambda other: volume[other])
    return Nesting(root=root, depth=depth)


def _is_inside(piece: Piece, outer: Piece) -> bool:
    """Whether most probes of a piece lie inside another."""
    rows = np.linspace(0, len(piece.triangles) - 1, N_PROBES).astype(np.int64)
    probes = piece.vertices_mm[piece.triangles[rows]].mean(axis=1)
    votes = sum(abs(winding_number(probe, outer)) > INSIDE for probe in probes)
    return votes > N_PROBES / 2
