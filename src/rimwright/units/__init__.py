"""Units of length at the door; inside, everything is mm and degrees."""

from rimwright.units.length import LengthUnit, millimetres_per

__all__ = ["LengthUnit", "millimetres_per"]
