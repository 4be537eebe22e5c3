"""What a hip was measured in: a scan's grid in a few numbers, nothing of the person."""

from __future__ import annotations

from dataclasses import dataclass

from rimwright.anatomy.volume import Modality


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanSource:
    """
    The scan a hip was measured in.

    Parameters
    ----------
    modality
        CT, MR or other.
    spacing_mm
        Distance of neighbouring voxels, mm: within the slice twice, then from slice to slice.
    n_slices
        Slices of the scan.
    slice_thickness_mm
        As the file gives it, mm; None where it does not.
    has_labels
        Whether a label map told the bones apart.
    """

    modality: Modality
    spacing_mm: tuple[float, float, float]
    n_slices: int
    slice_thickness_mm: float | None = None
    has_labels: bool = False

    def __str__(self) -> str:
        """As it is printed: CT, 0.7 × 0.7 × 1.0 mm, 312 slices."""
        spacing = " × ".join(_shown(step) for step in self.spacing_mm)
        slices = "1 slice" if self.n_slices == 1 else f"{self.n_slices} slices"
        return f"{self.modality}, {spacing} mm, {slices}"


def _shown(step_mm: float) -> str:
    """A spacing with one decimal, a second where there is one."""
    text = f"{step_mm:.2f}"
    return text[:-1] if text.endswith("0") else text
