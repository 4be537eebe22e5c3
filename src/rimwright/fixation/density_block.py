"""The part of a CT that goes with a bone: Hounsfield units between its voxels, and nowhere else."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from rimwright.anatomy import Floats, Modality, Points, Volume

ROUNDING_VOXELS = 1e-6
"""A point this little outside the outermost voxels, in voxels, lies on them: rounding of the
affine map, far below any spacing."""

_VALUES = "density_values"
_AFFINE = "density_affine"


def density_at(block: Volume | None, points_mm: Points) -> Floats:
    """
    Density at points, trilinear between the middles of the voxels.

    Parameters
    ----------
    block
        A CT; None knows no density anywhere.
    points_mm
        (n, 3), mm, image frame.

    Returns
    -------
    Floats
        (n,) Hounsfield units; NaN outside the block, where nothing is guessed.
    """
    points = np.asarray(points_mm, dtype=np.float64).reshape(-1, 3)
    found = np.full(len(points), np.nan)
    if block is None or not len(points):
        return found
    last = np.array(block.values.shape) - 1
    index = block.to_index(points)
    within = ((index >= -ROUNDING_VOXELS) & (index <= last + ROUNDING_VOXELS)).all(axis=1)
    inside = np.clip(index[within], 0, last)
    low = np.minimum(np.floor(inside).astype(np.intp), np.maximum(last - 1, 0))
    share = inside - low
    total = np.zeros(len(inside))
    for corner in np.ndindex(2, 2, 2):
        step = np.array(corner)
        weight = np.where(step, share, 1.0 - share).prod(axis=1)
        i, j, k = np.minimum(low + step, last).T
        total += weight * block.values[i, j, k]
    found[within] = total
    return found


def density_arrays(block: Volume | None) -> dict[str, np.ndarray]:
    """The block as arrays under their names, for saving; none where there is no block."""
    if block is None:
        return {}
    return {_VALUES: np.asarray(block.values), _AFFINE: np.array(block.affine)}


def density_of_arrays(arrays: Mapping[str, np.ndarray]) -> Volume | None:
    """
    The block that `density_arrays` took apart.

    Parameters
    ----------
    arrays
        By name; may hold others.

    Returns
    -------
    Volume or None
        None where none was saved.

    Raises
    ------
    KeyError, ValueError
        A part is missing or misshapen.
    """
    if _VALUES not in arrays:
        return None
    return Volume(values=arrays[_VALUES], affine=arrays[_AFFINE], modality=Modality.CT)
