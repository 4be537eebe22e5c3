"""The grid of a made scan: where its voxels lie."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import TriangleMesh
from rimwright.anatomy.arrays import Floats, Points, Vector, frozen_floats

LEAST_ORTHOGONAL = 1e-9
"""How far directions may miss being orthonormal: rounding."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CtGrid:
    """
    Voxels on an orthogonal grid of any orientation.

    Parameters
    ----------
    shape
        Voxels along i, j and k.
    spacing_mm
        (3,), distance of neighbours along i, j and k, mm.
    origin_mm
        (3,), middle of voxel (0, 0, 0), mm, image frame.
    directions
        (3, 3), columns: unit directions of i, j and k in the image frame, at right angles to each
        other; left-handed ones are allowed.
    """

    shape: tuple[int, int, int]
    spacing_mm: Vector
    origin_mm: Vector
    directions: Floats

    def __post_init__(self) -> None:
        for name, shape in (("spacing_mm", (3,)), ("origin_mm", (3,)), ("directions", (3, 3))):
            object.__setattr__(
                self, name, frozen_floats(getattr(self, name), shape=shape, name=name)
            )
        if min(self.shape) < 1:
            raise ValueError(f"shape: got {self.shape}, need three counts of 1 or more")
        if not (self.spacing_mm > 0.0).all():
            raise ValueError(f"spacing_mm: got {self.spacing_mm}, need more than 0")
        if np.abs(self.directions.T @ self.directions - np.eye(3)).max() > LEAST_ORTHOGONAL:
            raise ValueError("directions: must be unit and at right angles to each other")

    @property
    def affine(self) -> Floats:
        """(4, 4), voxel index to mm, image frame."""
        matrix = np.eye(4)
        matrix[:3, :3] = self.directions * self.spacing_mm
        matrix[:3, 3] = self.origin_mm
        return matrix

    def to_index(self, points_mm: Points) -> Points:
        """Points, (n, 3) mm, image frame, to fractional voxel indices."""
        return (np.asarray(points_mm) - self.origin_mm) @ self.directions / self.spacing_mm


def grid_round(
    points_mm: Points,
    *,
    spacing_mm: Sequence[float] | Vector,
    margin_mm: float,
    directions: Floats | None = None,
) -> CtGrid:
    """
    Lay the smallest grid that holds points with a margin.

    Parameters
    ----------
    points_mm
        (n, 3), mm, image frame.
    spacing_mm
        Along i, j and k, mm.
    margin_mm
        Kept on each side, mm; negative cuts into the points.
    directions
        As of `CtGrid`; None for i, j, k along the image axes.

    Returns
    -------
    CtGrid
        Its middle is that of the points' box.
    """
    axes = np.eye(3) if directions is None else np.asarray(directions, dtype=np.float64)
    spacing = np.asarray(spacing_mm, dtype=np.float64)
    along = np.asarray(points_mm) @ axes
    low, high = along.min(axis=0) - margin_mm, along.max(axis=0) + margin_mm
    counts = np.maximum(np.ceil((high - low) / spacing).astype(int) + 1, 1)
    first = (low + high) / 2.0 - spacing * (counts - 1) / 2.0
    return CtGrid(
        shape=(int(counts[0]), int(counts[1]), int(counts[2])),
        spacing_mm=spacing,
        origin_mm=axes @ first,
        directions=axes,
    )


def points_of(bones: Sequence[TriangleMesh]) -> Points:
    """Vertices of all bones, (n, 3) mm."""
    return np.concatenate([bone.vertices_mm for bone in bones])
