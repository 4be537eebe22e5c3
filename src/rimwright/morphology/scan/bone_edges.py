"""Edges of bone in a coarse scan: where they lie and which way they face."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from scipy.ndimage import maximum_filter

from rimwright.anatomy import Floats, Points
from rimwright.morphology.scan.oriented import OrientedGrid

LEAST_SLOPE_HU_PER_MM = 40.0
"""Least slope of an edge: muscle against fat has about 20 at this coarseness."""
LEAST_BONE_HU = 80.0
"""An edge with all its neighbours below this is one of soft tissue or of skin, HU."""

METAL_HU = 2000.0
"""Brighter than cortex, HU."""
METAL_MARGIN_MM = 7.0
"""Edges this near metal face nowhere in particular: streaks and blooming, mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoneEdges:
    """
    Edge voxels of bone.

    Parameters
    ----------
    points_mm
        (n, 3), mm, image frame.
    inward
        (n, 3), unit, towards the brighter side.
    slope
        (n,), HU per mm.
    """

    points_mm: Points
    inward: Points
    slope: Floats


@njit(cache=True, nogil=True)
def _edges(values, matrix, slope_least, bone_least, near_metal, at, normal, slope):  # type: ignore[no-untyped-def]
    """Write every edge voxel's index and gradient; the count."""
    nz, ny, nx = values.shape
    n = 0
    for k in range(1, nz - 1):
        for j in range(1, ny - 1):
            for i in range(1, nx - 1):
                z1, z0 = np.int32(values[k + 1, j, i]), np.int32(values[k - 1, j, i])
                y1, y0 = np.int32(values[k, j + 1, i]), np.int32(values[k, j - 1, i])
                x1, x0 = np.int32(values[k, j, i + 1]), np.int32(values[k, j, i - 1])
                top = max(z1, z0, y1, y0, x1, x0)
                if top < bone_least or near_metal[k, j, i]:
                    continue
                gz, gy, gx = 0.5 * (z1 - z0), 0.5 * (y1 - y0), 0.5 * (x1 - x0)
                size = 0.0
                for m in range(3):
                    part = matrix[0, m] * gz + matrix[1, m] * gy + matrix[2, m] * gx
                    normal[n, m] = part
                    size += part * part
                size = np.sqrt(size)
                if size < slope_least:
                    continue
                for m in range(3):
                    normal[n, m] /= size
                at[n, 0], at[n, 1], at[n, 2] = k, j, i
                slope[n] = size
                n += 1
                if n == len(slope) - 1:
                    return n
    return n


def find_bone_edges(coarse: OrientedGrid) -> BoneEdges:
    """
    Find the voxels where bone begins or ends.

    Parameters
    ----------
    coarse
        The scan at 2 to 3 mm.

    Returns
    -------
    BoneEdges
        In the order of the voxels.
    """
    room = coarse.values.size // 4 + 16
    at = np.empty((room, 3), np.int32)
    normal = np.empty((room, 3), np.float64)
    slope = np.empty(room, np.float64)
    metal = coarse.values > METAL_HU
    if metal.any():
        reach = np.maximum(1, np.round(METAL_MARGIN_MM / coarse.spacing_mm)).astype(int)
        near_metal = maximum_filter(metal, size=tuple(2 * reach + 1))
    else:
        near_metal = metal
    n = _edges(
        coarse.values,
        coarse.to_index_matrix,
        LEAST_SLOPE_HU_PER_MM,
        LEAST_BONE_HU,
        near_metal,
        at,
        normal,
        slope,
    )
    return BoneEdges(
        points_mm=coarse.to_mm(at[:n]), inward=normal[:n].copy(), slope=slope[:n].copy()
    )
