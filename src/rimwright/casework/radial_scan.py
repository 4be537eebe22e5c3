"""Radial pictures of a scan: of hips measured in it, or by points a person gave."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from rimwright.anatomy import Modality, Progress, Side, no_progress
from rimwright.casework.hand_points import HandPoints
from rimwright.casework.measured_hip import MeasuredHip
from rimwright.casework.radial_files import RadialFiles, write_radial_files
from rimwright.casework.radial_subject import Origin, RadialSubject, RadialWish
from rimwright.casework.scan_files import ScanFiles
from rimwright.casework.stages import within
from rimwright.errors import LayoutRefusal

READING_SHARE = 0.6
"""Share of the progress bar that reading the image takes."""


def origin_of(files: ScanFiles) -> Origin:
    """
    The study that secondary captures of a scan join.

    Parameters
    ----------
    files
        The scan.

    Returns
    -------
    Origin
        The person and the images of its series.

    Raises
    ------
    FileRefusal
        It is no DICOM, or holds images of more than one person or study.
    """
    from rimwright.imaging import list_series, read_person, read_source_images

    key = None
    if files.series is not None:
        for facts in list_series(files.image):
            if files.series in (str(facts.number), facts.series_key):
                key = facts.series_key
    return Origin(
        person=read_person(files.image, series_key=key),
        sources=read_source_images(files.image, series_key=key),
    )


def radial_of_measured(
    measured: Sequence[MeasuredHip],
    folder: str | Path,
    *,
    wish: RadialWish | None = None,
    origin: Origin | None = None,
    progress: Progress | None = None,
) -> RadialFiles:
    """
    Radial pictures of hips measured in a CT.

    Parameters
    ----------
    measured
        Of one scan, each side once.
    folder, wish, origin
        As for `write_radial_files`.
    progress
        Told the stages; may raise to cancel.

    Returns
    -------
    RadialFiles
        What was written.

    Raises
    ------
    Refusal
        As `write_radial_files`; or a hip was measured on surfaces.
    """
    subjects = []
    for item in measured:
        if item.density is None:
            raise LayoutRefusal(
                "surfaces of bones have no grey values to show", "--radial", "Give --image"
            )
        subjects.append(RadialSubject(side=item.hip.side, volume=item.density, hip=item.hip))
    return write_radial_files(subjects, folder, wish=wish, origin=origin, progress=progress)


def radial_by_hand(
    files: ScanFiles,
    folder: str | Path,
    *,
    side: Side,
    points: HandPoints,
    wish: RadialWish | None = None,
    origin: Origin | None = None,
    progress: Progress | None = None,
) -> RadialFiles:
    """
    Radial pictures of an image by points a person gave; nothing is measured.

    Parameters
    ----------
    files
        The scan, CT or MR.
    folder
        As for `write_radial_files`.
    side
        Of the hip the points lie in.
    points
        Of socket and rim, of head and neck, or both.
    wish, origin
        As for `write_radial_files`.
    progress
        Told the stages; may raise to cancel.

    Returns
    -------
    RadialFiles
        What was written.

    Raises
    ------
    Refusal
        The image cannot be read, or as `write_radial_files`.
    """
    from rimwright.imaging import read_volume

    tell = progress or no_progress
    read = read_volume(
        files.image,
        series=files.series,
        axes=files.axes,
        progress=within(tell, 0.0, READING_SHARE),
    )
    notes = [f"image: {text}" for text in read.warnings]
    if read.volume.modality is not Modality.CT:
        notes.append("read by eye: nothing is measured in this image")
    subject = RadialSubject(side=side, volume=read.volume, points=points, notes=tuple(notes))
    rest = within(tell, READING_SHARE, 1.0 - READING_SHARE)
    return write_radial_files([subject], folder, wish=wish, origin=origin, progress=rest)
