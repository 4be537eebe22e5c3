"""Pictures of a volume on planes: trilinear, compiled, without a copy of the volume."""

from __future__ import annotations

from collections.abc import Sequence
from enum import StrEnum
from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit, prange

from rimwright.anatomy import Volume
from rimwright.morphology.reformat.plane import RadialPlane

MOST_SLAB_MM = 50.0
"""A slab thicker than this is no section any more, mm."""
WORTH_WAKING = 400_000
"""Samples from which on several cores are quicker than one: about 5 ms of work."""
_EDGE = 1e-6
"""An index this little outside the field went through arithmetic and counts as on its edge."""


class SlabKind(StrEnum):
    """What is shown of the layers of a thick slab."""

    MEAN = "mean"
    MAX = "max"
    MIN = "min"


_CODES = {SlabKind.MEAN: 0, SlabKind.MAX: 1, SlabKind.MIN: 2}


def resample(
    volume: Volume,
    planes: Sequence[RadialPlane],
    *,
    slab_mm: float = 0.0,
    slab: SlabKind | str = SlabKind.MEAN,
) -> npt.NDArray[np.float32]:
    """
    Read a volume on planes.

    Parameters
    ----------
    volume
        Any memory order, any affine map.
    planes
        At least one, all of one shape.
    slab_mm
        Thickness, mm: layers through it at most a voxel apart, the same distance to either side
        of the plane; 0 is the plane alone.
    slab
        Mean, largest or smallest of the layers.

    Returns
    -------
    array
        (n, rows, columns) float32, in the volume's unit; NaN where the plane, or a layer of its
        slab, leaves the field (the middles of the outermost voxels).

    Raises
    ------
    ValueError
        No plane, planes of several shapes, a thickness below 0 or over 50 mm.
    """
    if not planes or len({plane.shape for plane in planes}) != 1:
        raise ValueError("planes: at least one is needed, all of one shape")
    if not 0.0 <= slab_mm <= MOST_SLAB_MM:
        raise ValueError(f"slab_mm: need 0 to {MOST_SLAB_MM:g}, got {slab_mm}")
    rows, columns = planes[0].shape
    corners = np.stack([plane.to_mm(np.zeros(2)) for plane in planes])
    inverse = np.linalg.inv(volume.affine[:3, :3])
    offsets = layer_offsets_mm(slab_mm, voxel_mm=float(volume.spacing_mm.min()))
    pictures = np.empty((len(planes), rows, columns), dtype=np.float32)
    is_small = pictures.size * len(offsets) < WORTH_WAKING
    fill = _fill_alone if is_small else _fill_together
    fill(
        volume.values,
        volume.to_index(corners),
        np.stack([plane.pixel_mm * plane.right for plane in planes]) @ inverse.T,
        np.stack([-plane.pixel_mm * plane.up for plane in planes]) @ inverse.T,
        np.stack([plane.normal for plane in planes]) @ inverse.T,
        offsets,
        _CODES[SlabKind(slab)],
        pictures,
    )
    return pictures


def layer_offsets_mm(slab_mm: float, *, voxel_mm: float) -> npt.NDArray[np.float64]:
    """
    Where the layers of a slab lie: the middles of equal parts of its thickness.

    Parameters
    ----------
    slab_mm
        Thickness, mm; 0 gives the plane alone.
    voxel_mm
        Smallest spacing of the volume: layers are at most this far apart, mm.

    Returns
    -------
    array
        (k,), mm along the normal, symmetric about 0.
    """
    if slab_mm <= 0.0:
        return np.zeros(1)
    n = max(int(np.ceil(slab_mm / voxel_mm)), 2)
    middles = np.arange(n, dtype=np.float64) + 0.5
    return middles * (slab_mm / n) - slab_mm / 2


@njit(cache=True, nogil=True, parallel=True)
def _fill_together(
    values: Any,
    corner: Any,
    step_right: Any,
    step_down: Any,
    step_out: Any,
    offsets: Any,
    code: int,
    pictures: Any,
) -> None:
    """Every row of every picture, on all cores; all steps in voxel indices."""
    n_planes, n_rows, _ = pictures.shape
    for line in prange(n_planes * n_rows):
        plane, row = line // n_rows, line % n_rows
        start = corner[plane] + row * step_down[plane]
        _fill_row(
            values, start, step_right[plane], step_out[plane], offsets, code, pictures[plane, row]
        )


@njit(cache=True, nogil=True)
def _fill_alone(
    values: Any,
    corner: Any,
    step_right: Any,
    step_down: Any,
    step_out: Any,
    offsets: Any,
    code: int,
    pictures: Any,
) -> None:
    """The same on one core: for few pictures, waking the others costs more than they bring."""
    n_planes, n_rows, _ = pictures.shape
    for plane in range(n_planes):
        for row in range(n_rows):
            start = corner[plane] + row * step_down[plane]
            _fill_row(
                values,
                start,
                step_right[plane],
                step_out[plane],
                offsets,
                code,
                pictures[plane, row],
            )


@njit(cache=True, nogil=True)
def _fill_row(
    values: Any, start: Any, step: Any, out: Any, offsets: Any, code: int, line: Any
) -> None:
    """One row: each pixel from its layers."""
    for column in range(len(line)):
        i = start[0] + column * step[0]
        j = start[1] + column * step[1]
        k = start[2] + column * step[2]
        found = trilinear(
            values,
            i + offsets[0] * out[0],
            j + offsets[0] * out[1],
            k + offsets[0] * out[2],
        )
        for layer in range(1, len(offsets)):
            off = offsets[layer]
            value = trilinear(values, i + off * out[0], j + off * out[1], k + off * out[2])
            if np.isnan(value) or np.isnan(found):
                found = np.nan
            elif code == 0:
                found += value
            elif code == 1:
                found = max(found, value)
            else:
                found = min(found, value)
        line[column] = found / len(offsets) if code == 0 else found


@njit(cache=True, nogil=True)
def trilinear(values: Any, i: float, j: float, k: float) -> float:
    """
    The value at a place, as compiled code reads it.

    Parameters
    ----------
    values
        (ni, nj, nk), any memory order.
    i, j, k
        Voxel indices, fractional.

    Returns
    -------
    float
        NaN outside the middles of the outermost voxels.
    """
    ni, nj, nk = values.shape
    inside_i = -_EDGE <= i <= ni - 1 + _EDGE
    inside_j = -_EDGE <= j <= nj - 1 + _EDGE
    inside_k = -_EDGE <= k <= nk - 1 + _EDGE
    if not (inside_i and inside_j and inside_k):
        return np.nan
    i0, j0, k0 = (
        min(max(int(i), 0), max(ni - 2, 0)),
        min(max(int(j), 0), max(nj - 2, 0)),
        min(max(int(k), 0), max(nk - 2, 0)),
    )
    u, v, w = (
        min(max(i - i0, 0.0), 1.0),
        min(max(j - j0, 0.0), 1.0),
        min(max(k - k0, 0.0), 1.0),
    )
    i1, j1, k1 = min(i0 + 1, ni - 1), min(j0 + 1, nj - 1), min(k0 + 1, nk - 1)
    low = (1.0 - v) * ((1.0 - u) * values[i0, j0, k0] + u * values[i1, j0, k0]) + v * (
        (1.0 - u) * values[i0, j1, k0] + u * values[i1, j1, k0]
    )
    high = (1.0 - v) * ((1.0 - u) * values[i0, j0, k1] + u * values[i1, j0, k1]) + v * (
        (1.0 - u) * values[i0, j1, k1] + u * values[i1, j1, k1]
    )
    return (1.0 - w) * low + w * high
