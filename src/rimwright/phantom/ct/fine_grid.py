"""The grid of fine cells from which voxels are averaged, and its blocks."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy.arrays import Floats, Ints, Points, Vector
from rimwright.phantom.ct.averaging import averaging_weights, blur_reach
from rimwright.phantom.ct.grid import CtGrid
from rimwright.phantom.ct.tissue_mix import Shares

BLOCK_VOXELS = 24
"""Voxels along a side of a block: its fine cells then fit a processor's cache."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FineGrid:
    """
    Fine cells over a grid and the margin that the blur reaches into.

    Parameters
    ----------
    grid
        The voxels.
    n_fine
        (3,), fine cells in a voxel along i, j, k.
    reach
        (3,), margin in voxels.
    n_blocks
        (3,), blocks along i, j, k.
    weights
        For each axis: what the fine cells of a block give to the voxels round it.
    """

    grid: CtGrid
    n_fine: Ints
    reach: Ints
    n_blocks: Ints
    weights: tuple[Shares, Shares, Shares]

    @property
    def cell_mm(self) -> Vector:
        """Size of a fine cell, (3,) mm."""
        return self.grid.spacing_mm / self.n_fine

    @property
    def block_cells(self) -> Ints:
        """Fine cells along the sides of a block, (3,)."""
        return BLOCK_VOXELS * self.n_fine

    @property
    def n_cells(self) -> Ints:
        """Fine cells along i, j, k, (3,)."""
        return self.n_blocks * self.block_cells

    @property
    def shift_mm(self) -> Vector:
        """Middle of voxel (0, 0, 0) from that of fine cell (0, 0, 0), along the axes, mm."""
        return self.cell_mm * ((self.n_fine - 1) / 2.0 + self.n_fine * self.reach)

    def along_axes(self, points_mm: Points) -> Points:
        """Points of the image frame to mm along the axes from the middle of fine cell 0."""
        grid = self.grid
        return (np.asarray(points_mm) - grid.origin_mm) @ grid.directions + self.shift_mm

    def to_image(self) -> Floats:
        """(3, 4), mm along the axes from the middle of fine cell 0 to the image frame."""
        grid = self.grid
        origin = grid.origin_mm - grid.directions @ self.shift_mm
        return np.hstack([grid.directions, origin[:, None]])

    def blocks(self) -> Iterator[Ints]:
        """First fine cells of the blocks, (3,) each, in storage order."""
        for index in np.ndindex(*self.n_blocks):
            yield np.array(index) * self.block_cells

    def deposit(self, block_hu: Shares, first: Ints, volume: Shares) -> None:
        """Average a block of fine cells into the voxels that it feeds, added to `volume`."""
        along_i, along_j, along_k = self.weights
        turned = along_j @ (block_hu.T @ along_i.T)  # axes k, j, i
        by_slice = along_k @ turned.reshape(len(turned), -1)
        averaged = by_slice.reshape(-1, *turned.shape[1:]).T
        start = first // self.n_fine - 2 * self.reach
        low = np.maximum(start, 0)
        high = np.minimum(start + averaged.shape, self.grid.shape)
        if (low < high).all():
            to = tuple(slice(a, b) for a, b in zip(low, high, strict=True))
            given = tuple(slice(a, b) for a, b in zip(low - start, high - start, strict=True))
            volume[to] += averaged[given]


def lay_fine_grid(grid: CtGrid, *, blur_mm: float, sample_mm: float) -> FineGrid:
    """Lay fine cells of at most `sample_mm` over a grid and the margin that the blur reaches."""
    n_fine = np.ceil(grid.spacing_mm / sample_mm - 1e-9).astype(np.int64)
    reach = np.array(
        [blur_reach(spacing_mm=float(step), blur_mm=blur_mm) for step in grid.spacing_mm]
    )
    n_blocks = -(-(np.array(grid.shape) + 2 * reach) // BLOCK_VOXELS)
    one, two, three = (
        averaging_weights(
            spacing_mm=float(grid.spacing_mm[axis]),
            blur_mm=blur_mm,
            n_fine=int(n_fine[axis]),
            n_voxels=BLOCK_VOXELS,
        ).astype(np.float32)
        for axis in range(3)
    )
    return FineGrid(
        grid=grid, n_fine=n_fine, reach=reach, n_blocks=n_blocks, weights=(one, two, three)
    )
