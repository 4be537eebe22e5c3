"""From a scan to a measured hip: reading it once, measuring each side asked for."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from rimwright.anatomy import (
    LabelMap,
    Modality,
    Progress,
    ScanSource,
    Side,
    Volume,
    no_progress,
)
from rimwright.casework.measured_hip import MeasuredHip
from rimwright.casework.scan_files import ScanFiles, contents_of, digest_of_scan
from rimwright.casework.stages import within
from rimwright.errors import FileRefusal, Refusal

if TYPE_CHECKING:
    from rimwright.imaging import SeriesFacts
    from rimwright.morphology.scan import ScannedHip

READING_SHARE = 0.4
"""Share of the progress bar that reading takes: about what it takes of the time."""
IMAGE_SHARE = 0.9
"""Of reading, what the image takes where a label map is read too."""

_SCAN_WORDS = ("scan", "image", "volume", "CT")
_LABEL_WORDS = ("labels", "label map")
_BONE_WORDS = ("hip bone", "femur")
"""What the measuring code calls the scan, its label map and the bones found in it: it knows no
names of files."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OpenScan:
    """
    A scan that is read, ready for both sides.

    Parameters
    ----------
    name
        Of the file or folder, for messages.
    volume, labels
        What was read; no label map where none is named.
    source
        Its grid in a few numbers.
    contents
        Digests of what was on the disk.
    axes_assumed
        Whether the image axes were taken as the format usually has them.
    notes
        What the readers mended, assumed or doubted, with the file it was said of.
    """

    name: str
    volume: Volume
    labels: LabelMap | None
    source: ScanSource
    contents: tuple[str | None, str | None]
    axes_assumed: bool
    notes: tuple[str, ...]


def open_scan(files: ScanFiles, *, progress: Progress | None = None) -> OpenScan:
    """
    Read a scan and its label map.

    Parameters
    ----------
    files
        Image, and a label map or none.
    progress
        Told the stages; may raise to cancel.

    Returns
    -------
    OpenScan
        Holds the whole volume: let go of it once the hips are measured.

    Raises
    ------
    Refusal
        A file cannot be read, several series could be meant, or it is no CT.
    """
    from rimwright.imaging import read_labels, read_volume

    tell = progress or no_progress
    tell(0.0, "reading the scan")
    contents = contents_of(files)
    share = 1.0 if files.labels is None else IMAGE_SHARE
    read = read_volume(
        files.image,
        series=files.series,
        axes=files.axes,
        progress=within(tell, 0.0, share),
    )
    refuse_unless_ct(read.volume.modality, where=files.image.name)
    notes = [f"{files.image.name}: {text}" for text in read.warnings]
    labels = None
    if files.labels is not None:
        tell(share, "reading the label map")
        file = read_labels(
            files.labels,
            axes=files.axes,
            progress=within(tell, share, 1.0 - share),
        )
        labels = file.labels
        notes += [f"{files.labels.name}: {text}" for text in file.warnings]
    return OpenScan(
        name=files.image.name,
        volume=read.volume,
        labels=labels,
        source=source_of(read.facts, has_labels=labels is not None),
        contents=contents,
        axes_assumed=read.axes_assumed,
        notes=tuple(notes),
    )


def refuse_unless_ct(modality: Modality, *, where: str) -> None:
    """
    Refuse what bone cannot be found in.

    Parameters
    ----------
    modality
        Of the series read.
    where
        Its name, for the refusal.

    Raises
    ------
    FileRefusal
        It is no CT.
    """
    if modality is Modality.CT:
        return
    is_mr = modality is Modality.MR
    raise FileRefusal(
        f"an {modality} series (need a CT)" if is_mr else "not known to be a CT (need a CT)",
        where,
        "Bone, angles and drill paths are measured in a CT; an MR is for radial reformats that a "
        "person reads",
    )


def source_of(facts: SeriesFacts, *, has_labels: bool) -> ScanSource:
    """
    The few numbers of a scan that are kept and printed.

    Parameters
    ----------
    facts
        Of the series read; its description stays behind.
    has_labels
        Whether a label map told the bones apart.

    Returns
    -------
    ScanSource
        Nothing of the person.
    """
    first, second, third = (float(step) for step in facts.spacing_mm)
    thickness = facts.slice_thickness_mm
    return ScanSource(
        modality=Modality(facts.modality),
        spacing_mm=(first, second, third),
        n_slices=int(facts.n_slices),
        slice_thickness_mm=float(thickness) if thickness else None,  # 0 where not stated
        has_labels=has_labels,
    )


def measure_in(
    scan: OpenScan, files: ScanFiles, side: Side, *, progress: Progress | None = None
) -> MeasuredHip:
    """
    Measure one hip in a scan that is read.

    Parameters
    ----------
    scan
        As `open_scan` gave it.
    files
        That it was read from, with the landmarks of this side.
    side
        The hip asked for.
    progress
        Told the stages; may raise to cancel.

    Returns
    -------
    MeasuredHip
        With the density about it and the metal near it.

    Raises
    ------
    Refusal
        This scan does not hold that hip.
    """
    found = _measured(scan, files, side, progress=progress)
    density = found.density
    return MeasuredHip(
        hip=replace(
            found.hip,
            axes_assumed=scan.axes_assumed,
            warnings=tuple(dict.fromkeys((*scan.notes, *found.hip.warnings))),
        ),
        input_digest=digest_of_scan(files, side, contents=scan.contents) or "",
        # A copy: a view would keep the whole scan in memory.
        density=replace(density, values=np.array(density.values, order="K")),
        metal=found.metal,
        source=scan.source,
    )


def measure_scan_sides(
    files: ScanFiles, sides: Sequence[Side], *, progress: Progress | None = None
) -> tuple[MeasuredHip, ...]:
    """
    Read a scan once and measure each side asked for.

    Parameters
    ----------
    files
        Image, and a label map or none.
    sides
        One or two.
    progress
        Told the stages; may raise to cancel.

    Returns
    -------
    tuple of MeasuredHip
        In the order asked for.

    Raises
    ------
    Refusal
        As `open_scan` and `measure_in`; with two sides asked for, either one missing is one.
    """
    tell = progress or no_progress
    scan = open_scan(files, progress=within(tell, 0.0, READING_SHARE))
    share = (1.0 - READING_SHARE) / len(sides)
    found = []
    for number, side in enumerate(sides):
        start = READING_SHARE + share * number
        tell(start, f"finding the {side} hip")
        found.append(measure_in(scan, files, side, progress=within(tell, start, share)))
    tell(1.0, "measured")
    return tuple(found)


def _measured(
    scan: OpenScan, files: ScanFiles, side: Side, *, progress: Progress | None
) -> ScannedHip:
    """Measure one side; a refusal names the file, as the reader knows the scan by it."""
    from rimwright.morphology.scan import measure_scan

    try:
        return measure_scan(
            scan.volume,
            side=side,
            labels=scan.labels,
            landmarks_mm=files.landmarks_mm or None,
            progress=progress,
        )
    except Refusal as refusal:
        where = _named(refusal.where, scan, files)
        raise type(refusal)(refusal.wrong, where, refusal.remedy) from None


def _named(where: str, scan: OpenScan, files: ScanFiles) -> str:
    """The place of a refusal under the name the reader knows it by."""
    if where in _SCAN_WORDS:
        return scan.name
    if where in _LABEL_WORDS and files.labels is not None:
        return files.labels.name
    return f"{scan.name}, {where}" if where in _BONE_WORDS else where
