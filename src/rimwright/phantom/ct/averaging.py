"""From fine cells to voxels: the scanner's blur and the voxel's own average, in one matrix."""

from __future__ import annotations

import math

import numpy as np
from scipy.special import ndtr

from rimwright.anatomy.arrays import Floats

BLUR_REACH = 4.0
"""The blur is followed to this many standard deviations: beyond lies less than 1e-4 of it."""


def blur_reach(*, spacing_mm: float, blur_mm: float) -> int:
    """How many voxels beyond its own a voxel is fed from."""
    return int(np.ceil(BLUR_REACH * blur_mm / spacing_mm - 1e-9))


def averaging_weights(*, spacing_mm: float, blur_mm: float, n_fine: int, n_voxels: int) -> Floats:
    """
    Weights with which fine cells feed voxels along one axis.

    A voxel is the mean over its own length of the field blurred by a Gaussian. The kernel, a box
    folded with a Gaussian, is integrated in closed form over each fine cell. A fine cell holds
    the mean of the field over itself, which by itself spreads an edge by h²/6 on average over
    the edge's place in the cell of length h; the Gaussian is made narrower by as much where it
    can be.

    Parameters
    ----------
    spacing_mm
        Of voxels, mm.
    blur_mm
        Standard deviation, mm.
    n_fine
        Fine cells in a voxel.
    n_voxels
        Voxels of the block of fine cells.

    Returns
    -------
    Floats
        (n_voxels + 2 reach, n_voxels · n_fine); a row's weights over a long enough block sum
        to 1.
    """
    reach = blur_reach(spacing_mm=spacing_mm, blur_mm=blur_mm)
    cell = spacing_mm / n_fine
    sigma = math.sqrt(max(blur_mm**2 - cell**2 / 6.0, 0.0))
    # Cells of one voxel's neighbourhood, from `reach` voxels before it to `reach` after.
    cells = np.arange((2 * reach + 1) * n_fine + 1, dtype=np.float64)
    edges = (cells - (reach + 0.5) * n_fine) * cell
    cumulative = _ramp(edges + spacing_mm / 2, sigma) - _ramp(edges - spacing_mm / 2, sigma)
    kernel = np.diff(cumulative)
    kernel /= kernel.sum()
    weights = np.zeros((n_voxels + 2 * reach, (n_voxels + 4 * reach) * n_fine))
    for row in range(len(weights)):
        weights[row, row * n_fine : row * n_fine + len(kernel)] = kernel
    return np.ascontiguousarray(weights[:, 2 * reach * n_fine : (2 * reach + n_voxels) * n_fine])


def _ramp(offsets_mm: Floats, sigma_mm: float) -> Floats:
    """Integral of the Gaussian's cumulative distribution, mm."""
    if sigma_mm == 0.0:
        return np.maximum(offsets_mm, 0.0)
    scaled = offsets_mm / sigma_mm
    density = np.exp(-0.5 * scaled**2) / np.sqrt(2.0 * np.pi)
    return sigma_mm * (scaled * ndtr(scaled) + density)
