"""A volume read at loose points, with the same interpolation as its pictures."""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

from rimwright.anatomy import Floats, Points, Volume
from rimwright.morphology.reformat.resample import trilinear


def sample_points(volume: Volume, points_mm: Points) -> Floats:
    """
    Values at points.

    Parameters
    ----------
    volume
        Any memory order, any affine map.
    points_mm
        (..., 3), mm, image frame.

    Returns
    -------
    Floats
        (...,), in the volume's unit; NaN outside the field.
    """
    index = volume.to_index(points_mm)
    found = np.empty(index.shape[:-1], dtype=np.float64)
    _read(volume.values, index.reshape(-1, 3), found.reshape(-1))
    return found


@njit(cache=True, nogil=True)
def _read(values: Any, index: Any, found: Any) -> None:
    """Every point in turn."""
    for place in range(len(index)):
        found[place] = trilinear(values, index[place, 0], index[place, 1], index[place, 2])
