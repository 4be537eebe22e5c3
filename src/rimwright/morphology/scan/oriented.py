"""A scan turned so that its array runs cranial, posterior, left: one memory order for all."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.optimize import linear_sum_assignment

from rimwright.anatomy import Floats, LabelMap, Points, Volume


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OrientedGrid:
    """
    Voxels in the order (z, y, x), rising towards cranial, posterior and left.

    Parameters
    ----------
    values
        (nz, ny, nx), C order.
    step
        (3, 3), column m is the step in mm, image frame, from one voxel to the next along array
        axis m.
    origin_mm
        (3,), middle of voxel (0, 0, 0), mm, image frame.
    drawn
        How many of these voxels one of the scanner's makes, along each axis: 1 unless thick
        slices were drawn finer.
    """

    values: npt.NDArray[Any]
    step: Floats
    origin_mm: Floats
    drawn: tuple[int, int, int] = (1, 1, 1)

    @property
    def voxel_mm(self) -> Floats:
        """Edges of the scanner's own voxels along z, y and x of the array, (3,) mm."""
        edges: Floats = np.multiply(self.spacing_mm, self.drawn, dtype=np.float64)
        return edges

    @property
    def spacing_mm(self) -> Floats:
        """Distance of neighbouring voxels along z, y and x of the array, (3,) mm."""
        spacing: Floats = np.sqrt(np.sum(self.step**2, axis=0))
        return spacing

    @property
    def to_index_matrix(self) -> Floats:
        """(3, 3), turns mm from the origin into array indices (z, y, x)."""
        matrix: Floats = np.asarray(np.linalg.inv(self.step), dtype=np.float64)
        return matrix

    def to_mm(self, index: npt.ArrayLike) -> Points:
        """Array indices, (..., 3) in the order z, y, x, to mm."""
        return np.asarray(index, dtype=np.float64) @ self.step.T + self.origin_mm

    def to_index(self, points_mm: Points) -> Points:
        """Points, (..., 3) mm, to fractional array indices z, y, x."""
        away = np.asarray(points_mm, dtype=np.float64) - self.origin_mm
        return away @ self.to_index_matrix.T


def orient(volume: Volume | LabelMap) -> OrientedGrid:
    """
    Turn a volume by exchanging and reversing its axes, never by resampling.

    Parameters
    ----------
    volume
        Any memory order and any orientation.

    Returns
    -------
    OrientedGrid
        Shares memory with the volume where its order is that already; a copy otherwise.
    """
    steps = volume.affine[:3, :3]
    cosines = steps / np.linalg.norm(steps, axis=0)
    # row 0 is left, 1 posterior, 2 cranial: the array wants cranial first
    _, axis_of = linear_sum_assignment(-np.abs(cosines))
    order = [int(axis_of[2]), int(axis_of[1]), int(axis_of[0])]
    values = volume.values.transpose(order)
    step = steps[:, order].copy()
    origin = volume.affine[:3, 3].copy()
    for axis, world in enumerate((2, 1, 0)):
        if step[world, axis] < 0:
            values = np.flip(values, axis)
            origin = origin + step[:, axis] * (values.shape[axis] - 1)
            step[:, axis] = -step[:, axis]
    return OrientedGrid(values=np.ascontiguousarray(values), step=step, origin_mm=origin)
