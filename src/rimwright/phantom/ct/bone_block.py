"""One bone laid over the fine cells, and the shares it has in a block of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit

from rimwright.anatomy import TriangleMesh
from rimwright.anatomy.arrays import Floats, Ints
from rimwright.phantom.ct.fine_grid import FineGrid
from rimwright.phantom.ct.inserts import BoneGap
from rimwright.phantom.ct.line_crossings import LineCrossings, cross_lines, fill_inside
from rimwright.phantom.ct.look import ZONE_BLEND_MM
from rimwright.phantom.ct.narrow_band import measure_band
from rimwright.phantom.ct.tissue_mix import Shares, add_bone


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlacedBone:
    """
    One bone along the axes of the fine grid.

    Parameters
    ----------
    corners_mm
        (m, 3, 3), mm from the middle of fine cell 0.
    crossings
        Where the lines of the fine grid pass through its surface.
    reach_mm
        (2,), how far inside and outside its surface cells need the distance, mm.
    starts, chosen
        Triangles near each block: those of block b (in storage order) are
        `chosen[starts[b]:starts[b + 1]]`.
    gaps
        (n, 8): point, normal, thickness, radius along the axes.
    """

    corners_mm: Floats
    crossings: LineCrossings
    reach_mm: Floats
    starts: Ints
    chosen: Ints
    gaps: Floats


def place_bone(
    bone: TriangleMesh, *, fine: FineGrid, thickest_mm: float, gaps: Sequence[BoneGap]
) -> PlacedBone:
    """
    Lay a bone over the fine cells.

    Parameters
    ----------
    bone
        Closed, outward, image frame, mm.
    fine
        The cells.
    thickest_mm
        The thickest cortex anywhere, mm.
    gaps
        Those of this bone.

    Returns
    -------
    PlacedBone
        Triangles sorted to the blocks that they come near.
    """
    corners = fine.along_axes(bone.corners_mm())
    # Beyond half its largest side, no cell that the surface passes is other than full or empty.
    half = 0.5 * float(fine.cell_mm.max()) * (1.0 + 1e-9)
    reach = np.array([thickest_mm + half, half])
    is_mirrored = bool(np.linalg.det(fine.grid.directions) < 0)
    crossings = cross_lines(
        corners / fine.cell_mm,
        n_lines=(int(fine.n_cells[1]), int(fine.n_cells[2])),
        is_mirrored=is_mirrored,
    )
    block_mm = fine.block_cells * fine.cell_mm
    low = np.floor((corners.min(axis=1) - reach[0]) / block_mm).astype(np.int64)
    high = np.floor((corners.max(axis=1) + reach[0]) / block_mm).astype(np.int64)
    low, high = np.maximum(low, 0), np.minimum(high, fine.n_blocks - 1)
    counts = np.zeros(int(np.prod(fine.n_blocks)) + 1, dtype=np.int64)
    _sort_to_blocks(low, high, fine.n_blocks, counts, np.zeros(0, dtype=np.int64), False)
    starts = np.cumsum(counts)
    chosen = np.zeros(starts[-1], dtype=np.int64)
    _sort_to_blocks(low, high, fine.n_blocks, starts[:-1].copy(), chosen, True)
    rows = np.zeros((len(gaps), 8))
    for row, gap in zip(rows, gaps, strict=True):
        row[:3] = fine.along_axes(gap.point_mm)
        row[3:6] = gap.normal @ fine.grid.directions
        row[6:] = gap.thickness_mm, gap.radius_mm
    return PlacedBone(
        corners_mm=corners,
        crossings=crossings,
        reach_mm=reach,
        starts=starts,
        chosen=chosen,
        gaps=rows,
    )


@njit(cache=True)
def _sort_to_blocks(
    low: Ints, high: Ints, n_blocks: Ints, at: Ints, chosen: Ints, is_filling: bool
) -> None:
    """Count the triangles of each block one place on, or write them from `at` on."""
    for index in range(len(low)):
        for i in range(low[index, 0], high[index, 0] + 1):
            for j in range(low[index, 1], high[index, 1] + 1):
                for k in range(low[index, 2], high[index, 2] + 1):
                    block = (i * n_blocks[1] + j) * n_blocks[2] + k
                    if is_filling:
                        chosen[at[block]] = index
                        at[block] += 1
                    else:
                        at[block + 1] += 1


def bone_shares(
    bones: Sequence[PlacedBone],
    *,
    fine: FineGrid,
    first: Ints,
    cortex_mm: float,
    zones: Floats,
) -> tuple[Shares, Shares] | None:
    """
    Shares of cortex and of spongy bone in a block, all bones together.

    Parameters
    ----------
    bones
        As placed.
    fine
        The cells.
    first
        (3,), the block's first cell.
    cortex_mm
        Common thickness of the cortex, mm.
    zones
        As of `add_bone`.

    Returns
    -------
    tuple of Shares or None
        Cortex and spongy bone; None where the block holds no bone.
    """
    place = first // fine.block_cells
    block = int((place[0] * fine.n_blocks[1] + place[1]) * fine.n_blocks[2] + place[2])
    shape = tuple(int(n) for n in fine.block_cells)
    shares: tuple[Shares, Shares] | None = None
    for bone in bones:
        chosen = bone.chosen[bone.starts[block] : bone.starts[block + 1]]
        inside = np.zeros(shape, dtype=np.uint8, order="F")
        lines = bone.crossings
        n_inside = fill_inside(
            lines.starts, lines.places, lines.changes, int(fine.n_cells[1]), first, inside
        )
        if not len(chosen) and not n_inside:
            continue
        distance2 = np.full(shape, np.inf, dtype=np.float32, order="F")
        width2 = np.ones(shape, dtype=np.float32, order="F")
        measure_band(
            bone.corners_mm, chosen, fine.cell_mm, first, inside, bone.reach_mm, distance2, width2
        )
        if shares is None:
            shares = (
                np.zeros(shape, dtype=np.float32, order="F"),
                np.zeros(shape, dtype=np.float32, order="F"),
            )
        add_bone(
            inside,
            distance2,
            width2,
            first,
            fine.cell_mm,
            cortex_mm,
            zones,
            ZONE_BLEND_MM,
            bone.gaps,
            *shares,
        )
    return shares
