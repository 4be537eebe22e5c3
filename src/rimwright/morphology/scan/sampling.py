"""Values between voxels: the trilinear kernel that every profile is read with."""

from __future__ import annotations

import numpy as np
from numba import njit, prange

from rimwright.anatomy import Floats, Points
from rimwright.morphology.scan.oriented import OrientedGrid


@njit(cache=True, nogil=True, inline="always")
def trilinear(values, z, y, x):  # type: ignore[no-untyped-def]
    """The value at a fractional index; the edge voxel's beyond the edge."""
    nz, ny, nx = values.shape
    z = min(max(z, 0.0), nz - 1.0)
    y = min(max(y, 0.0), ny - 1.0)
    x = min(max(x, 0.0), nx - 1.0)
    k, j, i = min(int(z), nz - 2), min(int(y), ny - 2), min(int(x), nx - 2)
    k, j, i = max(k, 0), max(j, 0), max(i, 0)
    k1, j1, i1 = min(k + 1, nz - 1), min(j + 1, ny - 1), min(i + 1, nx - 1)
    c, b, a = z - k, y - j, x - i
    low = (1 - b) * ((1 - a) * values[k, j, i] + a * values[k, j, i1]) + b * (
        (1 - a) * values[k, j1, i] + a * values[k, j1, i1]
    )
    high = (1 - b) * ((1 - a) * values[k1, j, i] + a * values[k1, j, i1]) + b * (
        (1 - a) * values[k1, j1, i] + a * values[k1, j1, i1]
    )
    return (1 - c) * low + c * high


@njit(cache=True, nogil=True, parallel=True)
def _profiles(values, matrix, origins, directions, start, step, n):  # type: ignore[no-untyped-def]
    """Values along rays."""
    out = np.empty((len(origins), n), np.float32)
    for ray in prange(len(origins)):
        p, d = origins[ray], directions[ray]
        at = matrix @ p
        along = matrix @ d
        for s in range(n):
            r = start[ray] + s * step
            out[ray, s] = trilinear(
                values, at[0] + r * along[0], at[1] + r * along[1], at[2] + r * along[2]
            )
    return out


def read_profiles(
    grid: OrientedGrid,
    origins_mm: Points,
    directions: Points,
    *,
    start_mm: Floats | float,
    step_mm: float,
    n_samples: int,
) -> Floats:
    """
    Read values along rays.

    Parameters
    ----------
    grid
        The scan.
    origins_mm, directions
        (n, 3), mm and unit, image frame.
    start_mm
        Where on its ray each profile begins, mm from the origin; one number or (n,).
    step_mm, n_samples
        Distance of the samples and how many.

    Returns
    -------
    (n, n_samples) float32
        Beyond the scan's edge the edge voxel's value.
    """
    origins = np.ascontiguousarray(
        np.asarray(origins_mm, dtype=np.float64).reshape(-1, 3) - grid.origin_mm
    )
    return _profiles(
        grid.values,
        grid.to_index_matrix,
        origins,
        np.ascontiguousarray(directions, dtype=np.float64),
        np.ascontiguousarray(np.broadcast_to(np.asarray(start_mm, np.float64), len(origins))),
        float(step_mm),
        int(n_samples),
    )
