"""A window of grey values: which numbers of a picture are shown black, and which white."""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite
from typing import Any

import numpy as np
import numpy.typing as npt

from rimwright.anatomy import Modality
from rimwright.errors import LayoutRefusal

CT_CENTRE_HU, CT_WIDTH_HU = 300.0, 1500.0
"""Window for bone where none is asked for, HU (common practice, from memory)."""
LOW_PERCENT, HIGH_PERCENT = 1.0, 99.0
"""An MR has no unit: what is between these shares of its own pictures is shown."""
OUTSIDE_GREY = (38, 58)
"""The two greys of the hatching that marks what lies outside the scan."""
HATCH_PIXELS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class GreyWindow:
    """
    Centre and width of the shown range.

    Parameters
    ----------
    centre, width
        In the picture's unit; the width above 0.
    source
        Where it comes from, in words; '' where it was asked for.
    """

    centre: float
    width: float
    source: str = ""

    def __post_init__(self) -> None:
        if not (isfinite(self.centre) and isfinite(self.width) and self.width > 0.0):
            raise LayoutRefusal(
                f"not a window (got centre {self.centre:g}, width {self.width:g}, "
                "need a width above 0)",
                "window",
                "Write centre and width, for example 300,1500",
            )

    def grey(self, picture: npt.NDArray[np.float32]) -> npt.NDArray[np.uint8]:
        """The picture in 256 greys, (h, w); what is NaN, outside the scan, is hatched."""
        low = self.centre - self.width / 2
        shown = np.clip((picture.astype(np.float64) - low) / self.width, 0.0, 1.0)
        is_outside = np.isnan(shown)
        rows, columns = np.indices(picture.shape)
        hatch = ((rows + columns) // HATCH_PIXELS) % 2
        greys = np.round(255.0 * np.where(is_outside, 0.0, shown)).astype(np.uint8)
        return np.where(is_outside, np.take(np.array(OUTSIDE_GREY, np.uint8), hatch), greys)

    def words(self, modality: Modality) -> str:
        """The window as printed."""
        unit = " HU" if modality is Modality.CT else ""
        text = f"window: centre {self.centre:.0f}, width {self.width:.0f}{unit}"
        return f"{text} ({self.source})" if self.source else text


def usual_window(pictures: npt.NDArray[Any], *, modality: Modality) -> GreyWindow:
    """
    The window where none is asked for: for bone on CT, by their own greys on anything else.

    Parameters
    ----------
    pictures
        (n, h, w), in the volume's unit; NaN outside the scan.
    modality
        What they were made from.

    Returns
    -------
    GreyWindow
        It says where it comes from.
    """
    if modality is Modality.CT:
        return GreyWindow(centre=CT_CENTRE_HU, width=CT_WIDTH_HU, source="for bone")
    seen = pictures[np.isfinite(pictures)]
    if not len(seen):
        return GreyWindow(centre=0.0, width=1.0, source="nothing seen")
    low, high = np.percentile(seen, [LOW_PERCENT, HIGH_PERCENT])
    return GreyWindow(
        centre=float(low + high) / 2,
        width=max(float(high - low), 1e-6),
        source=f"{LOW_PERCENT:.0f}st to {HIGH_PERCENT:.0f}th percentile of these pictures",
    )
