"""A grid fine about the joint and coarse elsewhere: means over boxes of whole voxels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit, prange

from rimwright.anatomy import Floats, Ints, Points, Vector
from rimwright.morphology.scan.oriented import OrientedGrid

THINNED, BRIGHT_HU, MARGIN_MM = 4, 200, 12.0
"""Every so manieth voxel is asked whether it is bone, HU, and how far round bone boxes are laid."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GradedGrid:
    """
    Means of a scan over boxes of whole voxels.

    Parameters
    ----------
    values
        (nz, ny, nx) float32, HU.
    lines
        Three arrays: index, in the scan, of the middle of each box along z, y and x.
    scan
        What it was made from.
    """

    values: Floats
    lines: tuple[Floats, Floats, Floats]
    scan: OrientedGrid

    def to_mm(self, index: Points) -> Points:
        """Fractional indices of this grid, (..., 3), to mm."""
        index = np.asarray(index, dtype=np.float64)
        in_scan = np.stack(
            [
                np.interp(index[..., axis], np.arange(len(line)), line)
                for axis, line in enumerate(self.lines)
            ],
            axis=-1,
        )
        return self.scan.to_mm(in_scan)

    def nearest(self, points_mm: Points) -> Ints:
        """Indices of the boxes nearest to points, (..., 3); beyond the edge the edge's."""
        at = self.scan.to_index(points_mm)
        out = np.empty(at.shape, np.int64)
        for axis, line in enumerate(self.lines):
            edges = 0.5 * (line[1:] + line[:-1])
            out[..., axis] = np.searchsorted(edges, at[..., axis])
        return out


def _edges(span: tuple[int, int], middle: float, reach: float, fine: int, coarse: int) -> Ints:
    """Edges of the boxes along one axis: fine ones about the middle, coarse ones beyond."""
    first, last = span
    low = int(np.clip(np.floor(middle - reach), first, last))
    high = int(np.clip(np.ceil(middle + reach), low, last))
    inner = np.arange(low, high + 1, fine)
    before = np.arange(low, first - 1, -coarse)[::-1]
    after = np.arange(inner[-1], last + 1, coarse)
    edges = np.unique(np.concatenate([before, inner, after]))
    if len(edges) < 2:
        edges = np.array([first, last])
    return edges.astype(np.int64)


def _bony_spans(scan: OrientedGrid, needed: list[tuple[float, float]]) -> list[tuple[int, int]]:
    """Along z the whole scan, along y and x the part with bone: air and fat need no boxes."""
    spans = [(0, scan.values.shape[0])]
    thinned = scan.values[::THINNED, ::THINNED, ::THINNED] > BRIGHT_HU
    for axis in (1, 2):
        others = tuple(a for a in range(3) if a != axis)
        hit = np.flatnonzero(thinned.any(axis=others)) * THINNED
        margin = MARGIN_MM / float(scan.spacing_mm[axis]) + THINNED
        low, high = needed[axis]
        if len(hit):
            low, high = min(low, hit[0] - margin), max(high, hit[-1] + margin)
        n = scan.values.shape[axis]
        spans.append((int(np.clip(low, 0, n - 1)), int(np.clip(np.ceil(high), 1, n))))
    return spans


@njit(cache=True, nogil=True, parallel=True)
def _box_means(values, ez, ey, ex):  # type: ignore[no-untyped-def]
    """Mean of every box."""
    nz, ny, nx = len(ez) - 1, len(ey) - 1, len(ex) - 1
    out = np.empty((nz, ny, nx), np.float32)
    for k in prange(nz):
        row = np.empty(nx, np.float64)
        for j in range(ny):
            row[:] = 0.0
            count = (ez[k + 1] - ez[k]) * (ey[j + 1] - ey[j])
            for z in range(ez[k], ez[k + 1]):
                for y in range(ey[j], ey[j + 1]):
                    line = values[z, y]
                    for i in range(nx):
                        total = 0.0
                        for x in range(ex[i], ex[i + 1]):
                            total += line[x]
                        row[i] += total
            for i in range(nx):
                out[k, j, i] = row[i] / (count * (ex[i + 1] - ex[i]))
    return out


def grade(
    scan: OrientedGrid, *, centre_mm: Vector, reach_mm: float, fine_mm: float, coarse_mm: float
) -> GradedGrid:
    """
    Average a scan over boxes, small ones about a point.

    Parameters
    ----------
    scan
        The scan.
    centre_mm, reach_mm
        Where boxes are to be small.
    fine_mm, coarse_mm
        Edge lengths wanted, mm; whole voxels are taken.

    Returns
    -------
    GradedGrid
        Of some millions of boxes, over the part of the scan that holds bone.
    """
    middle = scan.to_index(centre_mm)
    edges = []
    reaches = reach_mm / scan.spacing_mm
    needed = [(float(m - r), float(m + r)) for m, r in zip(middle, reaches, strict=True)]
    spans = _bony_spans(scan, needed)
    for axis, spacing in enumerate(scan.spacing_mm):
        edges.append(
            _edges(
                spans[axis],
                float(middle[axis]),
                reach_mm / spacing,
                max(1, round(fine_mm / spacing)),
                max(1, round(coarse_mm / spacing)),
            )
        )
    lines = [(edge[1:] + edge[:-1] - 1).astype(np.float64) / 2.0 for edge in edges]
    return GradedGrid(
        values=_box_means(scan.values, *edges),
        lines=(lines[0], lines[1], lines[2]),
        scan=scan,
    )
