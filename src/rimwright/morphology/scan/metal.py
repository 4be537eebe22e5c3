"""Metal near a hip: its pieces, how large they are and which bone they lie in."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import find_objects, label

from rimwright.anatomy import Vector
from rimwright.morphology.scan.graded_grid import GradedGrid
from rimwright.morphology.scan.growing import FEMUR, HIP_BONE, Codes
from rimwright.morphology.scan.oriented import OrientedGrid
from rimwright.morphology.scan.scanned_hip import MetalPiece

METAL_HU = 2000
"""Brighter than cortex, whose densest parts reach about 1,900 (from memory), HU."""
SURE_HU = 2400
"""A piece that nowhere reaches this may be dense cortex, HU."""
REACH_MM = 60.0
"""How far from the head's middle metal is looked for, mm."""
LEAST_MM3 = 8.0
"""Less is noise on cortex, mm³."""
MOST_PIECES = 20


def find_metal(
    scan: OrientedGrid,
    centre_mm: Vector,
    *,
    grid: GradedGrid | None = None,
    codes: Codes | None = None,
) -> tuple[MetalPiece, ...]:
    """
    Find the pieces of metal about a hip.

    Parameters
    ----------
    scan
        The scan.
    centre_mm
        Middle of the head, mm.
    grid, codes
        Whose the boxes are, to say in which bone a piece lies.

    Returns
    -------
    tuple of MetalPiece
        The largest first.
    """
    reach = REACH_MM / scan.spacing_mm
    middle = scan.to_index(centre_mm)
    low = np.maximum(np.floor(middle - reach), 0).astype(int)
    high = np.minimum(np.ceil(middle + reach) + 1, scan.values.shape).astype(int)
    if (high <= low).any():
        return ()
    block = scan.values[low[0] : high[0], low[1] : high[1], low[2] : high[2]]
    if int(block.max()) <= METAL_HU:
        return ()
    pieces, _ = label(block > METAL_HU, structure=np.ones((3, 3, 3)))
    voxel = float(abs(np.linalg.det(scan.step)))
    found = []
    for number, box in enumerate(find_objects(pieces), start=1):
        if box is None:
            continue
        mask = pieces[box] == number
        volume = float(mask.sum()) * voxel
        if volume < LEAST_MM3 or int(block[box][mask].max()) < SURE_HU:
            continue
        index = np.argwhere(mask) + [part.start for part in box] + low
        found.append(_piece(scan.to_mm(index), volume, scan, grid, codes))
    found.sort(key=lambda piece: -piece.volume_mm3)
    return tuple(found[:MOST_PIECES])


def _piece(
    points: np.ndarray,
    volume_mm3: float,
    scan: OrientedGrid,
    grid: GradedGrid | None,
    codes: Codes | None,
) -> MetalPiece:
    """Extent and home of one piece."""
    centre = points.mean(axis=0)
    away = points - centre
    _, _, axes = np.linalg.svd(away - away.mean(axis=0), full_matrices=False)
    axis = axes[0] if len(points) > 2 else np.array([0.0, 0.0, 1.0])
    axis = axis * (1.0 if axis[np.argmax(np.abs(axis))] > 0 else -1.0)
    along = away @ axis
    across = np.linalg.norm(away - np.outer(along, axis), axis=1)
    edge = float(scan.spacing_mm.mean())
    lies_in = "elsewhere"
    if grid is not None and codes is not None:
        at = codes[tuple(grid.nearest(points).T)]
        counts = {"hip bone": int((at == HIP_BONE).sum()), "femur": int((at == FEMUR).sum())}
        best = max(counts, key=lambda name: counts[name])
        if counts[best] > 0.2 * len(points):
            lies_in = best
    return MetalPiece(
        centre_mm=centre,
        axis=axis,
        length_mm=float(np.ptp(along)) + edge,
        width_mm=2.0 * float(np.quantile(across, 0.95)) + edge,
        volume_mm3=volume_mm3,
        lies_in=lies_in,
    )
