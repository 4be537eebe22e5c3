"""A coarse copy of a scan: means of blocks of voxels."""

from __future__ import annotations

import numpy as np
from numba import njit, prange

from rimwright.morphology.scan.oriented import OrientedGrid


@njit(cache=True, nogil=True, parallel=True)
def _means(values, fz, fy, fx):  # type: ignore[no-untyped-def]
    """Mean of each whole block, as int16."""
    nz, ny, nx = values.shape[0] // fz, values.shape[1] // fy, values.shape[2] // fx
    out = np.empty((nz, ny, nx), np.int16)
    count = fz * fy * fx
    for k in prange(nz):
        row = np.empty(nx, np.int64)
        for j in range(ny):
            row[:] = 0
            for dz in range(fz):
                for dy in range(fy):
                    line = values[k * fz + dz, j * fy + dy]
                    for i in range(nx):
                        total = 0
                        for dx in range(fx):
                            total += line[i * fx + dx]
                        row[i] += total
            for i in range(nx):
                out[k, j, i] = row[i] // count
    return out


def coarsen(grid: OrientedGrid, *, wanted_mm: float) -> OrientedGrid:
    """
    Average blocks of voxels until their edges come near a wanted length.

    Parameters
    ----------
    grid
        The scan, int16.
    wanted_mm
        Edge length wanted, mm; an axis whose voxels are that long already is left as it is.

    Returns
    -------
    OrientedGrid
        Whole blocks only: up to one block at the far end of each axis is left out.
    """
    factors = np.maximum(1, np.round(wanted_mm / grid.spacing_mm)).astype(int)
    factors = np.minimum(factors, grid.values.shape)
    if (factors == 1).all():
        return grid
    return OrientedGrid(
        values=_means(grid.values, *(int(factor) for factor in factors)),
        step=grid.step * factors,
        origin_mm=grid.to_mm((factors - 1) / 2.0),
    )
