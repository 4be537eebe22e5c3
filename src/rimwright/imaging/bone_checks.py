"""Whether a surface can be a bone in mm at all: finite, of a bone's size, closed well enough."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Points
from rimwright.errors import BoneRefusal, FileRefusal
from rimwright.imaging.piece import Piece
from rimwright.imaging.raw_shell import DAMAGED
from rimwright.units import LengthUnit, millimetres_per

MIN_EXTENT_MM = 20.0
"""Longest side; less than half a femoral head of a child, so no bone that can be measured here."""
MAX_EXTENT_MM = 2000.0
"""Longest side; more than a standing skeleton."""
MAX_COORDINATE_MM = 1e5
"""Distance from the origin: at 100 m the float32 numbers of most files are 0.008 mm apart."""
MAX_OPEN_FRACTION = 0.10
"""Area of all holes over the area of the surface. A shaft cut short and left open has about
0.03, half a sphere 0.5; above this, inside and outside are guesswork."""
MIN_FILL_FRACTION = 1e-4
"""Volume over the cube of the box's diagonal; a hip bone has 0.01 to 0.03, a sheet nothing."""


def check_finite(vertices: Points, *, where: str) -> None:
    """Refuse vertices in use that are NaN or infinite."""
    if not np.isfinite(vertices).all():
        is_finite = np.isfinite(vertices).all(axis=1)
        raise FileRefusal(
            f"{int((~is_finite).sum()):,} of {len(vertices):,} vertices are not finite (NaN or "
            "infinity)",
            where,
            DAMAGED,
        )


def check_not_tiny(extent_mm: float, *, unit: LengthUnit, where: str) -> None:
    """Refuse a file whose largest shell is too small for bone; name metres where they fit."""
    if extent_mm >= MIN_EXTENT_MM:
        return
    remedy = "Check the unit the surface was exported in"
    in_metres_mm = extent_mm / millimetres_per(unit) * millimetres_per(LengthUnit.M)
    if unit is LengthUnit.MM and MIN_EXTENT_MM <= in_metres_mm <= MAX_EXTENT_MM:
        remedy = 'It looks like metres: pass --units m (in a case file: units = "m")'
    raise BoneRefusal(
        f"too small for a bone (longest side {extent_mm:.4g} mm, need at least {MIN_EXTENT_MM:g})",
        where,
        remedy,
    )


def check_not_huge(low_mm: Points, high_mm: Points, *, unit: LengthUnit, where: str) -> None:
    """Refuse a body that is too large for bone, or lies too far from the origin to be exact."""
    with np.errstate(over="ignore"):
        extent_mm = float((high_mm - low_mm).max())
    if extent_mm > MAX_EXTENT_MM:
        remedy = "Check the unit the surface was exported in"
        in_mm = extent_mm / millimetres_per(unit)
        if unit is LengthUnit.M and MIN_EXTENT_MM <= in_mm <= MAX_EXTENT_MM:
            remedy = 'It looks like millimetres: pass --units mm (in a case file: units = "mm")'
        raise BoneRefusal(
            f"too large for a bone (longest side {extent_mm:.4g} mm, need at most "
            f"{MAX_EXTENT_MM:g})",
            where,
            remedy,
        )
    far_mm = float(np.maximum(np.abs(low_mm), np.abs(high_mm)).max())
    if far_mm > MAX_COORDINATE_MM:
        raise BoneRefusal(
            f"too far from the origin to be exact (coordinates up to {far_mm:.4g} mm, need at most "
            f"{MAX_COORDINATE_MM:g})",
            where,
            "Move the surface near the origin when exporting it",
        )


def is_badly_open(piece: Piece) -> bool:
    """Whether the holes of a piece are too large for an inside to be told."""
    return piece.open_fraction > MAX_OPEN_FRACTION


def check_holds_volume(piece: Piece, *, where: str) -> None:
    """Refuse a surface that is badly open or encloses nothing."""
    if is_badly_open(piece):
        raise BoneRefusal(
            f"open: {describe_holes(piece)}, {100 * piece.open_fraction:.0f} % of its surface "
            f"(need at most {100 * MAX_OPEN_FRACTION:.0f} %)",
            where,
            "Close the surface where it was segmented and export it again",
        )
    if abs(piece.volume_mm3) < MIN_FILL_FRACTION * piece.diagonal_mm**3:
        raise BoneRefusal(
            f"encloses no volume (got {abs(piece.volume_mm3):.3g} mm³ in a box of diagonal "
            f"{piece.diagonal_mm:.0f} mm)",
            where,
            "Export the closed surface of the bone, not a sheet or a curve",
        )


def describe_holes(piece: Piece) -> str:
    """The holes of a piece in words."""
    widths = piece.hole_widths_mm
    if len(widths) == 1:
        return f"one hole, {widths[0]:.1f} mm wide"
    return f"{len(widths)} holes, the widest {widths[0]:.1f} mm"
