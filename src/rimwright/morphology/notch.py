"""The ends of the notch, read between sections."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.morphology.radial_sections import RadialSections
from rimwright.morphology.rim_trace import RimTrace

LEAST_NOTCH_HOURS = 0.4
"""A narrower gap is a flaw of the surface, not the notch, hours."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Notch:
    """
    The notch on the dial of sections.

    Parameters
    ----------
    first_rad, width_rad
        Azimuth of its first end, and its width in increasing azimuth, rad.
    """

    first_rad: float
    width_rad: float

    @property
    def middle_rad(self) -> float:
        """Azimuth of its middle, [0, 2 pi)."""
        return float((self.first_rad + 0.5 * self.width_rad) % (2 * np.pi))


def find_notch(sections: RadialSections, trace: RimTrace) -> Notch | None:
    """
    Read both ends of the notch to a part of a section.

    Parameters
    ----------
    sections, trace
        Contours and the edge in them.

    Returns
    -------
    Notch or None
        None where no notch is seen.

    Notes
    -----
    The contour leaves the sphere along a slope. Its depth in the first two sections of the notch
    is followed back to nothing, at most to the last section outside; where the depth does not
    grow, the end is taken half-way.
    """
    n = len(sections.angles_rad)
    is_gap = np.asarray(trace.is_gap)
    count = int(is_gap.sum())
    if count in (0, n) or count * 12.0 / n < LEAST_NOTCH_HOURS:
        return None
    first = int(np.flatnonzero(is_gap & ~np.roll(is_gap, 1))[0])
    last = first + count - 1
    depth = np.asarray(trace.beside_mm)
    start = first - _back_to_nothing(depth[first % n], depth[(first + 1) % n])
    end = last + _back_to_nothing(depth[last % n], depth[(last - 1) % n])
    step = 2 * np.pi / n
    return Notch(first_rad=start * step, width_rad=(end - start) * step)


def _back_to_nothing(first_mm: float, second_mm: float) -> float:
    """Sections back from the first one at which a slope through both has no depth, 0 to 1."""
    if not second_mm > first_mm:
        return 0.5
    return float(np.clip(first_mm / (second_mm - first_mm), 0.0, 1.0))
