"""A volume of the scanner and a label map on a grid, both placed in the image frame."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

import numpy as np
import numpy.typing as npt

from rimwright.anatomy.arrays import Floats, Points, frozen_floats

LEAST_DETERMINANT_MM3 = 1e-6
"""A voxel smaller than this is not one: the affine map cannot be turned round, mm³."""


class Modality(StrEnum):
    """What a volume's numbers are."""

    CT = "CT"
    MR = "MR"
    OTHER = "other"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Volume:
    """
    Voxels and where they lie; nothing of the person.

    Parameters
    ----------
    values
        (ni, nj, nk), any memory order: int16 Hounsfield units for a CT, float32 otherwise.
    affine
        (4, 4), voxel index (i, j, k) at the voxel's middle to mm, image frame (LPS). Its
        columns may be oblique but not coplanar; the spacing is their length.
    modality
        CT, MR or other.
    frame_id
        Equal for volumes that share the scanner's frame of reference; '' where not known. Says
        nothing of the person.
    """

    values: npt.NDArray[Any]
    affine: Floats
    modality: Modality = Modality.CT
    frame_id: str = ""

    def __post_init__(self) -> None:
        if self.values.ndim != 3 or min(self.values.shape) < 1:
            raise ValueError(f"values: three axes are needed, got shape {self.values.shape}")
        wanted = np.int16 if self.modality is Modality.CT else np.float32
        if self.values.dtype != wanted:
            raise ValueError(f"values: {np.dtype(wanted)} is needed, got {self.values.dtype}")
        object.__setattr__(self, "affine", _checked_affine(self.affine))

    @property
    def spacing_mm(self) -> Floats:
        """Distance of neighbouring voxels along i, j and k, (3,) mm."""
        return np.linalg.norm(self.affine[:3, :3], axis=0)

    def to_mm(self, index: Points) -> Points:
        """Voxel indices, (..., 3), to mm, image frame."""
        return np.asarray(index, dtype=np.float64) @ self.affine[:3, :3].T + self.affine[:3, 3]

    def to_index(self, points_mm: Points) -> Points:
        """Points, (..., 3) mm, image frame, to fractional voxel indices."""
        inverse = np.linalg.inv(self.affine[:3, :3])
        return (np.asarray(points_mm, dtype=np.float64) - self.affine[:3, 3]) @ inverse.T


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LabelMap:
    """
    A number for each voxel that says which structure it belongs to; 0 is none.

    Parameters
    ----------
    values
        (ni, nj, nk), uint16, any memory order.
    affine
        (4, 4), as of `Volume`; the grid need not be the volume's.
    names
        Number to name, where the file gives names; no meaning is read into them.
    frame_id
        As of `Volume`.
    """

    values: npt.NDArray[np.uint16]
    affine: Floats
    names: Mapping[int, str] = field(default_factory=dict)
    frame_id: str = ""

    def __post_init__(self) -> None:
        if self.values.ndim != 3 or min(self.values.shape) < 1:
            raise ValueError(f"values: three axes are needed, got shape {self.values.shape}")
        if self.values.dtype != np.uint16:
            raise ValueError(f"values: uint16 is needed, got {self.values.dtype}")
        object.__setattr__(self, "affine", _checked_affine(self.affine))


def _checked_affine(affine: Floats) -> Floats:
    """A frozen affine map that can be turned round, or ValueError."""
    matrix = frozen_floats(affine, shape=(4, 4), name="affine")
    if np.abs(matrix[3] - [0.0, 0.0, 0.0, 1.0]).max() > 0:
        raise ValueError("affine: the last row must be 0 0 0 1")
    if abs(np.linalg.det(matrix[:3, :3])) < LEAST_DETERMINANT_MM3:
        raise ValueError("affine: the axes of the voxels lie in one plane")
    return matrix
