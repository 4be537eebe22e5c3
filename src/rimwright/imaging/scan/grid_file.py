"""What a NIfTI, NRRD or MetaImage file holds, as it stands in the file, and its conversion."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from rimwright.anatomy import Floats, LabelMap, Modality, Volume
from rimwright.imaging.axis_convention import lps_from
from rimwright.imaging.scan.damage import Unfit
from rimwright.imaging.scan.limits import (
    MAX_CONVERSION_BYTES,
    MAX_LABEL,
    MAX_SIDE,
    MAX_SURPLUS_BYTES,
    MAX_VOLUME_BYTES,
    MIN_SLICES,
)

INT16 = np.iinfo(np.int16)
AIR_BELOW_HU, AIR_ABOVE_HU = -900, -1100
"""Values between which the air round and in a body lies in a CT, HU."""
AIR_FRACTION = 0.005
"""Least part of a CT that is air of the room, lung or bowel; a scan cut to the skin has 1 %."""
BONE_ABOVE_HU = 200
"""Values above this stand for bone in a CT, HU."""
LOWEST_CT_HU = -4096
"""Lower values are of no CT: some scanners pad with -3024, HU."""
_PART_VOXELS = 2 * 1024**2
"""Voxels converted at once, so that wide copies stay small."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class GridFile:
    """
    A file of voxels on one grid.

    Parameters
    ----------
    values
        (ni, nj, nk), numbers as stored.
    slope, intercept
        From stored number to value.
    affine
        (4, 4), voxel index to mm in the coordinates of the file.
    axes
        Convention of those coordinates: as stated, else as is usual for the kind of file.
    axes_stated
        Whether the file states it.
    notes
        What was passed over or doubted.
    digest
        SHA-256 of the file, and of the file of numbers beside it.
    kind
        Kind of file in words.
    """

    values: npt.NDArray[Any]
    slope: float
    intercept: float
    affine: Floats
    axes: str
    axes_stated: bool
    notes: tuple[str, ...]
    digest: str
    kind: str


def check_grid(size: tuple[int, ...], *, item_bytes: int, n_bytes: int | None) -> None:
    """
    Check a declared size before memory is set aside.

    Parameters
    ----------
    size
        Voxels along each axis.
    item_bytes
        Bytes of a number in the file.
    n_bytes
        Bytes that the file holds for them; None where it is packed.

    Raises
    ------
    Unfit
        Not three axes, out of range, or more than the file holds.
    """
    if len(size) != 3 or not all(0 < n <= MAX_SIDE for n in size):
        raise Unfit(
            f"its size is out of range (got {'×'.join(str(n) for n in size) or 'none'}, need three "
            f"axes of 1 to {MAX_SIDE})"
        )
    declared = size[0] * size[1] * size[2] * item_bytes
    # 16-bit numbers may stay as they are, all others are converted to 16 bits at least
    n_copied = 0 if item_bytes == 2 else 2 * declared // item_bytes
    if declared > MAX_VOLUME_BYTES or declared + n_copied > MAX_CONVERSION_BYTES:
        raise Unfit(
            f"too large (got {declared + n_copied:,} bytes to hold, need at most "
            f"{MAX_VOLUME_BYTES:,})",
            "Cut out the region of the hips",
        )
    if n_bytes is not None and declared > n_bytes:
        raise Unfit(f"cut short (its header declares {declared:,} bytes, it holds {n_bytes:,})")
    if n_bytes is not None and declared + MAX_SURPLUS_BYTES < n_bytes:
        raise Unfit(
            f"holds more numbers than its header declares (got {n_bytes:,} bytes, need "
            f"{declared:,})"
        )


def check_affine(affine: Floats) -> Floats:
    """
    Check that a grid can lie in a room.

    Parameters
    ----------
    affine
        (4, 4).

    Returns
    -------
    Floats
        The same.

    Raises
    ------
    Unfit
        Not finite, of impossible spacing, or flat.
    """
    if not np.isfinite(affine).all() or np.abs(affine[:3, 3]).max() > 1e6:
        raise Unfit("its place or spacing is not finite or out of range")
    spacing = np.linalg.norm(affine[:3, :3], axis=0)
    if spacing.min() < 1e-3 or spacing.max() > 100:
        shown = " × ".join(f"{step:.3g}" for step in spacing)
        raise Unfit(f"its spacing is out of range (got {shown} mm)")
    if abs(np.linalg.det(affine[:3, :3] / spacing)) < 0.1:
        raise Unfit("its axes lie in one plane")
    return affine


def make_volume(grid: GridFile, *, axes: str) -> tuple[Volume, tuple[str, ...]]:
    """
    Convert to a volume in the image frame.

    Parameters
    ----------
    grid
        As read.
    axes
        Convention of its coordinates.

    Returns
    -------
    tuple[Volume, tuple[str, ...]]
        CT where its values look like Hounsfield units, else other; and notes, that among them.

    Raises
    ------
    Unfit
        Values that are not finite, or too few slices.
    """
    if min(grid.values.shape) < MIN_SLICES:
        shape = "×".join(str(n) for n in grid.values.shape)
        raise Unfit(f"too few voxels for a volume (got {shape}, need {MIN_SLICES} along each axis)")
    affine = _image_frame(grid.affine, axes)
    low, high, air = _survey(grid)
    notes = []
    if _looks_like_ct(low, high, air):
        notes.append("its values look like Hounsfield units (air, bone): taken for a CT")
        values, changed = _to_int16(grid)
        notes += changed
        return Volume(values=values, affine=affine, modality=Modality.CT), tuple(notes)
    notes.append("its values do not look like Hounsfield units: not taken for a CT")
    _check_room(grid.values, 4)
    stored = grid.values.astype(np.float32, order="K")
    if grid.slope != 1:
        stored *= np.float32(grid.slope)
    if grid.intercept:
        stored += np.float32(grid.intercept)
    if not np.isfinite(stored).all():
        raise Unfit("holds values out of the range of single precision")
    return Volume(values=stored, affine=affine, modality=Modality.OTHER), tuple(notes)


def make_labels(grid: GridFile, *, axes: str) -> LabelMap:
    """
    Convert to a label map in the image frame.

    Parameters
    ----------
    grid
        As read.
    axes
        Convention of its coordinates.

    Returns
    -------
    LabelMap
        Without names: these kinds of file have none.

    Raises
    ------
    Unfit
        Values that are not whole numbers from 0 to 65535, or no label at all.
    """
    _check_room(grid.values, 2)
    labels = np.empty_like(grid.values, dtype=np.uint16)
    for part in _parts(grid.values):
        values = grid.values[part]
        if (grid.slope, grid.intercept) != (1, 0) or values.dtype.kind == "f":
            values = values.astype(np.float64) * grid.slope + grid.intercept
            if not np.isfinite(values).all() or (values != np.rint(values)).any():
                raise Unfit(
                    "its values are not whole numbers: not a label map",
                    "Give the segmentation, not the image",
                )
        low, high = values.min(), values.max()
        if low < 0 or high > MAX_LABEL:
            raise Unfit(
                f"its values are out of range for labels (got {low:g} to {high:g}, need 0 to "
                f"{MAX_LABEL})",
                "Give the segmentation, not the image",
            )
        labels[part] = values
    if not labels.any():
        raise Unfit("holds no label: every voxel is 0", "Give a segmentation with labels in it")
    return LabelMap(values=labels, affine=_image_frame(grid.affine, axes))


def _check_room(stored: npt.NDArray[Any], item_bytes: int) -> None:
    """Refuse what would not fit into memory twice, as stored and as converted."""
    needed = stored.nbytes + stored.size * item_bytes
    if needed > MAX_CONVERSION_BYTES:
        raise Unfit(
            f"too large (got {needed:,} bytes to convert, need at most {MAX_CONVERSION_BYTES:,})",
            "Cut out the region of the hips",
        )


def _image_frame(affine: Floats, axes: str) -> Floats:
    """The affine map to LPS."""
    turn = np.eye(4)
    turn[:3, :3] = lps_from(axes)
    return turn @ affine


def _parts(values: npt.NDArray[Any]) -> list[tuple[slice, ...]]:
    """Slabs along the axis that lies farthest apart in memory."""
    axis = int(np.argmax(np.abs(values.strides)))
    n = values.shape[axis]
    thick = max(1, _PART_VOXELS * n // max(1, values.size))
    whole = slice(None)
    return [
        tuple(slice(at, at + thick) if a == axis else whole for a in range(3))
        for at in range(0, n, thick)
    ]


def _survey(grid: GridFile) -> tuple[float, float, float]:
    """Lowest and highest value and the part that is air; Unfit where a value is not finite."""
    low, high, n_air = np.inf, -np.inf, 0
    below, above = sorted((end - grid.intercept) / grid.slope
                          for end in (AIR_ABOVE_HU, AIR_BELOW_HU))  # fmt: skip
    for part in _parts(grid.values):
        values = grid.values[part]
        ends = float(values.min()), float(values.max())
        if not np.isfinite(ends).all():
            raise Unfit(
                "holds values that are not numbers (NaN or infinite)", "Write the volume again"
            )
        scaled = [end * grid.slope + grid.intercept for end in ends]
        low, high = min(low, *scaled), max(high, *scaled)
        n_air += int(np.count_nonzero((values >= below) & (values <= above)))
    return low, high, n_air / grid.values.size


def _looks_like_ct(low: float, high: float, air: float) -> bool:
    """Whether values have the air and the bone of a CT."""
    return low >= LOWEST_CT_HU and high > BONE_ABOVE_HU and air > AIR_FRACTION


def _to_int16(grid: GridFile) -> tuple[npt.NDArray[np.int16], list[str]]:
    """Values as int16; in the file's own memory where they are that already."""
    stored = grid.values
    if stored.dtype == np.int16 and (grid.slope, grid.intercept) == (1, 0):
        return stored, []
    _check_room(stored, 2)
    out = np.empty_like(stored, dtype=np.int16)
    n_cut, is_rounded = 0, False
    for part in _parts(stored):
        values = stored[part].astype(np.float64)
        values *= grid.slope
        values += grid.intercept
        whole = np.rint(values)
        is_rounded = is_rounded or bool((whole != values).any())
        cut = np.clip(whole, INT16.min, INT16.max)
        n_cut += int(np.count_nonzero(cut != whole))
        out[part] = cut
    notes = ["rounded to whole Hounsfield units"] if is_rounded else []
    if n_cut:
        notes.append(f"{n_cut:,} voxels past the range of 16 bits were cut to it")
    return out, notes
