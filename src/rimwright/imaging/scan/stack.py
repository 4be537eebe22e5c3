"""Slices in order: by their place along the normal, evenly spaced or refused."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats
from rimwright.imaging.scan.damage import Unfit
from rimwright.imaging.scan.limits import MIN_SLICES
from rimwright.imaging.scan.slice_image import SliceImage

EVEN_TOLERANCE_MM = 0.1
"""Most a slice may lie beside its place on the even grid, mm: files round positions to tenths."""
EVEN_TOLERANCE_FRACTION = 0.2
"""The same as a part of the spacing, where slices lie so close that 0.1 mm would hide a gap."""
SAME_PLACE_MM = 0.005
"""Slices closer than this stand at the same place, mm."""
WHOLE_TOLERANCE = 0.1
"""How far a gap may be from a whole number of steps to be told as missing slices, in steps."""
FEW_GAPS_FRACTION = 0.25
"""Above this part of all steps, larger steps are uneven spacing and no longer missing slices."""
TILT_TOLD_DEG = 0.1
"""A tilt smaller than this is the rounding of positions, degrees."""
MAX_TILT_DEG = 45.0
"""No gantry tilts this far; slices that run off so far are not a stack, degrees."""
THICKNESS_TOLD = 0.2
"""Difference of thickness and step that is told, as a part of the step."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stack:
    """
    Slices in order along their normal.

    Parameters
    ----------
    images
        (nk), the slice at each place.
    twins
        For each place other images that stand there too; they must hold the same pixels.
    affine
        (4, 4), voxel index (i, j, k) to mm, image frame; its third column is the true step.
    tilt_deg
        Angle between step and normal, degrees.
    notes
        What is worth knowing.
    """

    images: tuple[SliceImage, ...]
    twins: tuple[tuple[SliceImage, ...], ...]
    affine: Floats
    tilt_deg: float
    notes: tuple[str, ...]

    @property
    def size(self) -> tuple[int, int, int]:
        """Voxels along i, j and k."""
        layout = self.images[0].layout
        return layout.columns, layout.rows, len(self.images)

    @property
    def spacing_mm(self) -> tuple[float, float, float]:
        """Distance of neighbours along i, j and k, mm."""
        i, j, k = np.linalg.norm(self.affine[:3, :3], axis=0).tolist()
        return i, j, k


def stack_slices(images: Sequence[SliceImage]) -> Stack:
    """
    Put slices in order and check that they make a volume.

    Parameters
    ----------
    images
        Of one orientation, size and spacing, in any order.

    Returns
    -------
    Stack
        Sorted by their place along the normal of the slices.

    Raises
    ------
    Unfit
        Too few, slices missing, unevenly spaced, shifted, or tilted beyond reason.
    """
    first = images[0]
    normal = np.cross(first.row_direction, first.column_direction)
    places = np.array([image.position_mm for image in images])
    order = np.argsort(places @ normal, kind="stable")
    kept: list[list[int]] = []
    for index in order.tolist():
        if kept and (places[index] - places[kept[-1][0]]) @ normal < SAME_PLACE_MM:
            if np.abs(places[index] - places[kept[-1][0]]).max() > EVEN_TOLERANCE_MM:
                raise Unfit("two slices at one height are shifted sideways")
            kept[-1].append(index)
        else:
            kept.append([index])
    if len(kept) < MIN_SLICES:
        raise Unfit(f"too few slices for a volume (got {len(kept)}, need at least {MIN_SLICES})")
    positions = places[[indices[0] for indices in kept]]
    origin, step = _even_grid(positions, normal)
    tilt_deg = _tilt(step, normal)
    spacing = first.spacing_mm
    affine = np.eye(4)
    affine[:3, 0] = first.row_direction * spacing[0]
    affine[:3, 1] = first.column_direction * spacing[1]
    affine[:3, 2] = step
    affine[:3, 3] = origin
    return Stack(
        images=tuple(images[indices[0]] for indices in kept),
        twins=tuple(tuple(images[index] for index in indices[1:]) for indices in kept),
        affine=affine,
        tilt_deg=tilt_deg,
        notes=_notes(first, float(np.linalg.norm(step)), tilt_deg),
    )


def _even_grid(positions: Floats, normal: Floats) -> tuple[Floats, Floats]:
    """Origin and step of the even grid through the slices, by least squares."""
    along = positions @ normal
    steps = np.diff(along)
    usual = float(np.median(steps))
    _check_gaps(positions, steps, usual)
    tolerance = min(EVEN_TOLERANCE_MM, EVEN_TOLERANCE_FRACTION * usual)
    index = np.arange(len(positions)) - (len(positions) - 1) / 2
    step = index @ positions / (index @ index)
    origin = positions.mean(axis=0) + step * index[0]
    beside = positions - (origin + np.outer(np.arange(len(positions)), step))
    if np.abs(beside @ normal).max() > tolerance:
        worst = int(np.argmax(np.abs(steps - usual)))
        raise Unfit(
            f"its slices are unevenly spaced (got {steps[worst]:.3f} mm after slice {worst + 1} of "
            f"{len(positions)}, {usual:.3f} mm elsewhere, need the same within {tolerance:.2g} mm)",
            "Reconstruct the series with one spacing",
        )
    sideways = beside - np.outer(beside @ normal, normal)
    if np.abs(sideways).max() > EVEN_TOLERANCE_MM:
        worst = int(np.argmax(np.abs(sideways).max(axis=1)))
        raise Unfit(
            f"its slices are shifted sideways (got {np.abs(sideways).max():.2f} mm at slice "
            f"{worst + 1} of {len(positions)}, need at most {EVEN_TOLERANCE_MM} mm)"
        )
    return origin, step


def _check_gaps(positions: Floats, steps: Floats, usual: float) -> None:
    """Refuse missing slices: nothing is put in their place."""
    ratio = steps / usual
    is_whole = np.abs(ratio - np.round(ratio)) < WHOLE_TOLERANCE
    gaps = np.flatnonzero((ratio > 1.5) & is_whole)
    if not 0 < len(gaps) <= max(1, FEW_GAPS_FRACTION * len(steps)):
        return
    n_missing = int(np.round(ratio[gaps]).sum()) - len(gaps)
    at = int(gaps[0])
    low, high = positions[at], positions[at + 1]
    axis = int(np.argmax(np.abs(high - low)))
    more = f", and at {len(gaps) - 1} more places" if len(gaps) > 1 else ""
    raise Unfit(
        f"{n_missing} slice{'s are' if n_missing > 1 else ' is'} missing (got a step of "
        f"{steps[at]:.2f} mm after slice {at + 1} of {len(positions)}, between {'xyz'[axis]} = "
        f"{low[axis]:.1f} and {high[axis]:.1f} mm{more}, need {usual:.2f} mm)",
        "Send the series again, complete",
    )


def _tilt(step: Floats, normal: Floats) -> float:
    """Angle between step and normal, degrees."""
    across = np.linalg.norm(step - (step @ normal) * normal)
    tilt_deg = float(np.degrees(np.arctan2(across, step @ normal)))
    if tilt_deg > MAX_TILT_DEG:
        raise Unfit(
            f"its slices run off sideways (got {tilt_deg:.0f}°, need at most {MAX_TILT_DEG:.0f}°)"
        )
    return tilt_deg


def _notes(first: SliceImage, step_mm: float, tilt_deg: float) -> tuple[str, ...]:
    """What is worth knowing of tilt and thickness."""
    notes = []
    if tilt_deg > TILT_TOLD_DEG:
        notes.append(
            f"the gantry was tilted by {tilt_deg:.1f}°: the grid is oblique, nothing is resampled"
        )
    thickness = first.thickness_mm
    if thickness > step_mm * (1 + THICKNESS_TOLD):
        notes.append(f"slices of {thickness:.2f} mm overlap: they lie {step_mm:.2f} mm apart")
    elif 0 < thickness < step_mm * (1 - THICKNESS_TOLD):
        notes.append(f"slices of {thickness:.2f} mm lie {step_mm:.2f} mm apart, with gaps between")
    return tuple(notes)
