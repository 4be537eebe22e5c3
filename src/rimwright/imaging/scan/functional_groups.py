"""What a DICOM file of many frames says of each of them."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Floats
from rimwright.imaging.scan.damage import Unfit
from rimwright.imaging.scan.elements import Elements

_UNIT_TOLERANCE = 1e-2
"""How far a stated direction may be from length one, and two from a right angle: text rounds."""


class FunctionalGroups:
    """What a file says of one frame: of it alone, else of all frames."""

    def __init__(self, own: Elements, shared: Elements | None) -> None:
        self._own = own
        self._shared = shared

    def find(self, name: str) -> Elements | None:
        """A group of the frame; None where there is none."""
        for holder in (self._own, self._shared):
            if holder is not None and (items := holder.items(name)):
                return items[0]
        return None

    def needed(self, name: str) -> Elements:
        """A group without which the frame has no place."""
        group = self.find(name)
        if group is None:
            raise Unfit(f"{name} is missing")
        return group

    def position(self) -> tuple[float, float, float]:
        """Middle of the first pixel, mm."""
        found = self.needed("PlanePositionSequence").decimals("ImagePositionPatient", 3)
        if found is None:
            raise Unfit("ImagePositionPatient is missing")
        return found[0], found[1], found[2]

    def directions(self) -> tuple[Floats, Floats]:
        """Along a row and along a column."""
        group = self.needed("PlaneOrientationSequence")
        found = group.decimals("ImageOrientationPatient", 6)
        if found is None:
            raise Unfit("ImageOrientationPatient is missing")
        return direction_pair(found)


def direction_pair(numbers: tuple[float, ...]) -> tuple[Floats, Floats]:
    """
    Two unit directions at right angles from the six numbers of an orientation.

    Parameters
    ----------
    numbers
        Along a row, then along a column.

    Returns
    -------
    tuple[Floats, Floats]
        (3,) each; made exactly unit and square.

    Raises
    ------
    Unfit
        Not unit or not at right angles.
    """
    row, column = np.array(numbers[:3]), np.array(numbers[3:])
    lengths = np.linalg.norm(row), np.linalg.norm(column)
    is_unit = max(abs(lengths[0] - 1), abs(lengths[1] - 1)) < _UNIT_TOLERANCE
    if not is_unit or abs(row @ column) > _UNIT_TOLERANCE:
        raise Unfit("ImageOrientationPatient is not two unit directions at right angles")
    row = row / lengths[0]
    column = column - (column @ row) * row
    return row, column / np.linalg.norm(column)
