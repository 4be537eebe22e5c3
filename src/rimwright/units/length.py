"""Length units a file may be in, and their size in millimetres."""

from __future__ import annotations

from enum import StrEnum


class LengthUnit(StrEnum):
    """Unit of the coordinates in a file; never guessed from their size."""

    MM = "mm"
    M = "m"


def millimetres_per(unit: LengthUnit) -> float:
    """Millimetres in one unit of length."""
    return 1000.0 if unit is LengthUnit.M else 1.0
