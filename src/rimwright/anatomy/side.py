"""The side of the body, asked wherever left and right differ."""

from __future__ import annotations

from enum import StrEnum


class Side(StrEnum):
    """Left or right; stored everywhere, inferred from nothing but geometry or the user's word."""

    LEFT = "left"
    RIGHT = "right"

    @property
    def lateral_x_lps(self) -> float:
        """Sign of the image x axis (LPS, +x = left) that points lateral on this side."""
        return 1.0 if self is Side.LEFT else -1.0

    @property
    def other(self) -> Side:
        """The opposite side."""
        return Side.RIGHT if self is Side.LEFT else Side.LEFT
