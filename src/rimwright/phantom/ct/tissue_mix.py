"""How much of a cell is cortex, spongy bone and metal, and the Hounsfield units of the mixture."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from numba import njit

from rimwright.anatomy.arrays import Floats, Ints
from rimwright.phantom.ct.body import depth_outside

Shares = npt.NDArray[np.float32]
"""Share of each cell of a block, 0 to 1."""


@njit(cache=True, nogil=True)
def add_bone(
    inside: npt.NDArray[np.uint8],
    distance2_mm2: Shares,
    width2_mm2: Shares,
    first: Ints,
    cell_mm: Floats,
    cortex_mm: float,
    zones: Floats,
    zone_blend_mm: float,
    gaps: Floats,
    cortex: Shares,
    spongy: Shares,
) -> None:
    """
    Add the shares of one bone to a block.

    A cell that the surface passes is filled by its middle's signed distance over its width along
    the surface's normal: exact where the surface is flat and along an axis, and right in volume
    and in spread where it is flat and oblique.

    Parameters
    ----------
    inside, distance2_mm2, width2_mm2
        Of the block; distance infinite where none was within reach.
    first, cell_mm
        (3,), the block's first cell, and a cell's size, mm.
    cortex_mm
        Thickness of the cortex, mm.
    zones
        (n, 5): middle, radius, thickness; along the axes of the grid, mm.
    zone_blend_mm
        Width of their edge, mm.
    gaps
        (n, 8): point, normal, thickness, radius; along the axes of the grid, mm.
    cortex, spongy
        Of the block, added to.
    """
    p = np.zeros(3)
    for k in range(inside.shape[2]):
        p[2] = (k + first[2]) * cell_mm[2]
        for j in range(inside.shape[1]):
            p[1] = (j + first[1]) * cell_mm[1]
            for i in range(inside.shape[0]):
                is_near = distance2_mm2[i, j, k] < np.inf
                if not (is_near or inside[i, j, k]):
                    continue
                p[0] = (i + first[0]) * cell_mm[0]
                whole, inner = 1.0, 1.0
                if is_near:
                    away = math.sqrt(distance2_mm2[i, j, k])
                    if inside[i, j, k]:
                        away = -away
                    width = math.sqrt(width2_mm2[i, j, k])
                    thickness = cortex_mm
                    for zone in zones:
                        past = _distance(p, zone) - zone[3]
                        blend = min(max(past / zone_blend_mm, 0.0), 1.0)
                        thickness = min(thickness, zone[4] + (cortex_mm - zone[4]) * blend)
                    whole = min(max(0.5 - away / width, 0.0), 1.0)
                    inner = min(max(0.5 - (away + thickness) / width, 0.0), 1.0)
                kept = 1.0
                for gap in gaps:
                    if _distance(p, gap) > gap[7]:
                        continue
                    height = 0.0
                    square = 0.0
                    for axis in range(3):
                        height += (p[axis] - gap[axis]) * gap[3 + axis]
                        square += (cell_mm[axis] * gap[3 + axis]) ** 2
                    width = math.sqrt(square)
                    top = min(max(0.5 + (0.5 * gap[6] - height) / width, 0.0), 1.0)
                    bottom = min(max(0.5 + (-0.5 * gap[6] - height) / width, 0.0), 1.0)
                    kept *= 1.0 - (top - bottom)
                cortex[i, j, k] += kept * (whole - inner)
                spongy[i, j, k] += kept * inner


@njit(cache=True, nogil=True)
def _distance(p: Floats, centre: Floats) -> float:
    """Distance of two points, mm; only the first three numbers of the second count."""
    return math.sqrt((p[0] - centre[0]) ** 2 + (p[1] - centre[1]) ** 2 + (p[2] - centre[2]) ** 2)


@njit(cache=True, nogil=True)
def mix(
    cortex: Shares,
    spongy: Shares,
    first: Ints,
    cell_mm: Floats,
    to_image: Floats,
    body: Floats,
    rods: Floats,
    tissue_hu: Floats,
    added_hu: Shares,
) -> None:
    """
    Write what bone and metal add to the Hounsfield units of the body.

    Parameters
    ----------
    cortex, spongy
        Shares in each cell, all bones together. Where bones overlap and the sum passes 1, both
        are scaled to 1.
    first, cell_mm
        (3,), the block's first cell, and a cell's size, mm.
    to_image
        (3, 4), mm along the axes of the grid to the image frame.
    body
        `BodySection.numbers`.
    rods
        (n, 7): start, end, radius; along the axes of the grid, mm. They displace bone.
    tissue_hu
        (6,): soft tissue, fat, air, cortex, spongy bone, metal.
    added_hu
        Of the block, written.
    """
    mean_cell = (cell_mm[0] * cell_mm[1] * cell_mm[2]) ** (1.0 / 3.0)
    p = np.zeros(3)
    for k in range(cortex.shape[2]):
        p[2] = (k + first[2]) * cell_mm[2]
        for j in range(cortex.shape[1]):
            p[1] = (j + first[1]) * cell_mm[1]
            for i in range(cortex.shape[0]):
                p[0] = (i + first[0]) * cell_mm[0]
                metal = 0.0
                for rod in rods:
                    away = _from_rod(p, rod)
                    metal = max(metal, min(max(0.5 - away / mean_cell, 0.0), 1.0))
                bone = cortex[i, j, k] + spongy[i, j, k]
                if bone <= 0.0 and metal <= 0.0:
                    added_hu[i, j, k] = 0.0
                    continue
                x = to_image[0, 3]
                y = to_image[1, 3]
                for axis in range(3):
                    x += to_image[0, axis] * p[axis]
                    y += to_image[1, axis] * p[axis]
                outside = depth_outside(x, y, body)
                around = tissue_hu[0]
                if outside > body[5]:
                    around = tissue_hu[2]
                elif outside > 0.0:
                    around = tissue_hu[1]
                share = (1.0 - metal) / max(bone, 1.0)
                added_hu[i, j, k] = (
                    share * cortex[i, j, k] * (tissue_hu[3] - around)
                    + share * spongy[i, j, k] * (tissue_hu[4] - around)
                    + metal * (tissue_hu[5] - around)
                )


@njit(cache=True, nogil=True)
def _from_rod(p: Floats, rod: Floats) -> float:
    """Signed distance of a point from a rod with round ends, mm."""
    along = 0.0
    length2 = 0.0
    for axis in range(3):
        side = rod[3 + axis] - rod[axis]
        along += side * (p[axis] - rod[axis])
        length2 += side * side
    part = min(max(along / length2, 0.0), 1.0) if length2 > 0.0 else 0.0
    square = 0.0
    for axis in range(3):
        nearest = rod[axis] + part * (rod[3 + axis] - rod[axis])
        square += (p[axis] - nearest) ** 2
    return math.sqrt(square) - rod[6]
