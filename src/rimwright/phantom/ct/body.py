"""The body round the bones: soft tissue, fat under the skin, air."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from numba import njit

from rimwright.anatomy import TriangleMesh
from rimwright.anatomy.arrays import Floats, Vector, frozen_floats
from rimwright.phantom.ct.grid import points_of

FLESH_MM = 25.0
"""Soft tissue between the bones' box and the fat, unless a body is given, mm."""
FAT_MM = 15.0
"""Fat under the skin, unless a body is given, mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BodySection:
    """
    A trunk of one cross section all along the third image axis: a rectangle with round corners.

    Parameters
    ----------
    centre_mm, half_mm
        (2,), along the first and second image axis, mm: of the soft tissue.
    corner_mm
        Radius of its corners, mm; not above either half.
    fat_mm
        Thickness of the fat round it, mm; air lies outside.
    """

    centre_mm: Vector
    half_mm: Vector
    corner_mm: float
    fat_mm: float = FAT_MM

    def __post_init__(self) -> None:
        for name in ("centre_mm", "half_mm"):
            object.__setattr__(
                self, name, frozen_floats(getattr(self, name), shape=(2,), name=name)
            )
        if not (0.0 < self.corner_mm <= self.half_mm.min() and self.fat_mm >= 0.0):
            raise ValueError("body: corner_mm must be above 0 and at most the smaller half")

    def numbers(self) -> Floats:
        """Centre, halves, corner and fat in one row, for compiled code."""
        return np.array([*self.centre_mm, *self.half_mm, self.corner_mm, self.fat_mm])


def body_round(bones: Sequence[TriangleMesh]) -> BodySection:
    """Lay a body round bones, `FLESH_MM` beyond their box."""
    points = points_of(bones)[:, :2]
    low, high = points.min(axis=0), points.max(axis=0)
    half = (high - low) / 2.0 + FLESH_MM
    return BodySection(
        centre_mm=(low + high) / 2.0, half_mm=half, corner_mm=0.6 * float(half.min())
    )


@njit(cache=True, nogil=True, inline="always")
def depth_outside(x: float, y: float, body: Floats) -> float:
    """Signed distance from the soft tissue's edge, mm, + outside it."""
    over_x = abs(x - body[0]) - (body[2] - body[4])
    over_y = abs(y - body[1]) - (body[3] - body[4])
    outside = math.hypot(max(over_x, 0.0), max(over_y, 0.0))
    return outside + min(max(over_x, over_y), 0.0) - body[4]


@njit(cache=True, nogil=True)
def write_slice(
    bone: npt.NDArray[np.float32],
    noise: npt.NDArray[np.float32],
    affine: Floats,
    k: int,
    body: Floats,
    spread: Floats,
    tissue_hu: Floats,
    out: npt.NDArray[np.int16],
) -> None:
    """
    Add body, bones and noise of one slice and round.

    Parameters
    ----------
    bone
        (ni, nj), what bone and metal add to the body, HU.
    noise
        (ni, nj), HU.
    affine
        (4, 4), voxel index to mm.
    k
        Which slice.
    body
        `BodySection.numbers`.
    spread
        (3, 3), covariance of blur and voxel together, image frame, mm²: the skin is laid as a
        plane with a Gaussian edge, exact in width.
    tissue_hu
        (5,): soft tissue, fat, air, least and most.
    out
        (ni, nj), written.
    """
    most_spread = 6.0 * math.sqrt(spread[0, 0] + spread[1, 1])
    for i in range(out.shape[0]):
        for j in range(out.shape[1]):
            x = affine[0, 0] * i + affine[0, 1] * j + affine[0, 2] * k + affine[0, 3]
            y = affine[1, 0] * i + affine[1, 1] * j + affine[1, 2] * k + affine[1, 3]
            away = depth_outside(x, y, body)
            value = tissue_hu[0]
            if away > -most_spread:
                step = 1e-3
                gx = (depth_outside(x + step, y, body) - away) / step
                gy = (depth_outside(x, y + step, body) - away) / step
                square = (
                    gx * gx * spread[0, 0] + 2 * gx * gy * spread[0, 1] + gy * gy * spread[1, 1]
                )
                sigma = math.sqrt(2.0 * max(square, 1e-12))
                past_soft = 0.5 * (1.0 + math.erf(away / sigma))
                past_fat = 0.5 * (1.0 + math.erf((away - body[5]) / sigma))
                value += past_soft * (tissue_hu[1] - tissue_hu[0])
                value += past_fat * (tissue_hu[2] - tissue_hu[1])
            value += bone[i, j] + noise[i, j]
            out[i, j] = math.floor(min(max(value, tissue_hu[3]), tissue_hu[4]) + 0.5)
