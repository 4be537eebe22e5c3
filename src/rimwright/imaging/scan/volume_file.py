"""What the readers of scans return: a volume or label map, and plain facts about a series."""

from __future__ import annotations

from dataclasses import dataclass

from rimwright.anatomy import LabelMap, Modality, Volume


@dataclass(frozen=True, slots=True, kw_only=True)
class SeriesFacts:
    """
    A series in a few numbers; nothing in it says whose it is.

    Parameters
    ----------
    number
        From 1, in the order listed.
    series_key
        Short name of the series, the same in every copy of it; worked out from its identifier,
        which it does not give away.
    modality
        CT, MR or other.
    description
        As the scanner's operator wrote it; '' where nothing is written.
    n_slices
        Images in it.
    size
        Voxels along i, j and k; 0 where not known.
    spacing_mm
        Distance of neighbouring voxels along i, j and k, mm; 0 where not known.
    slice_thickness_mm
        As the file states it, mm; 0 where it does not.
    coverage_mm
        What the voxels cover along i, j and k, mm.
    gantry_tilt_deg
        Angle between the way from slice to slice and the normal of the slices, degrees.
    usable
        Whether a volume can be made of it.
    reason
        Why not; '' where it can.
    notes
        What else is worth knowing.
    """

    number: int
    series_key: str
    modality: Modality
    description: str
    n_slices: int
    size: tuple[int, int, int]
    spacing_mm: tuple[float, float, float]
    slice_thickness_mm: float
    coverage_mm: tuple[float, float, float]
    gantry_tilt_deg: float
    usable: bool
    reason: str
    notes: tuple[str, ...]

    def __str__(self) -> str:
        """One line for a list."""
        what = f"{self.number} [{self.series_key}] {self.modality.value}"
        if self.description:
            what += f" '{self.description}'"
        what += f", {self.n_slices} slice{'s' if self.n_slices != 1 else ''}"
        if all(self.size):
            what += f" {self.size[0]}×{self.size[1]}"
        if all(self.spacing_mm):
            what += ", " + "×".join(f"{step:.2f}" for step in self.spacing_mm) + " mm"
        return what if self.usable else f"{what}: not usable, {self.reason}"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class VolumeFile:
    """
    What `read_volume` returns.

    Parameters
    ----------
    volume
        Voxels in the image frame.
    facts
        Of the series they come from.
    digest
        SHA-256, hex: of the file, or of the sorted SHA-256 of all files of the series, so that
        names and order of files do not count.
    warnings
        What was chosen, left out, converted or doubted, in words.
    axes
        Convention the coordinates of the file were converted from.
    axes_assumed
        True where neither the caller nor the file named the axes.
    kind
        Kind of file in words.
    """

    volume: Volume
    facts: SeriesFacts
    digest: str
    warnings: tuple[str, ...]
    axes: str
    axes_assumed: bool
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LabelFile:
    """
    What `read_labels` returns.

    Parameters
    ----------
    labels
        Label map in the image frame.
    digest
        As of `VolumeFile`.
    warnings
        What was left out, converted or doubted, in words.
    axes
        Convention the coordinates of the file were converted from.
    axes_assumed
        True where neither the caller nor the file named the axes.
    kind
        Kind of file in words.
    """

    labels: LabelMap
    digest: str
    warnings: tuple[str, ...]
    axes: str
    axes_assumed: bool
    kind: str
