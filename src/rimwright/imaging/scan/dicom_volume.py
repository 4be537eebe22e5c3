"""A volume from a DICOM place: the series is chosen, or the choice is laid out."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from rimwright.anatomy import Progress, Volume
from rimwright.errors import FileRefusal
from rimwright.imaging.scan.damage import EXPORT_AGAIN, Unfit
from rimwright.imaging.scan.dicom_pixels import fill_volume
from rimwright.imaging.scan.dicomdir import DICOMDIR_NAME, listed_sources
from rimwright.imaging.scan.series import Series, Study, read_study
from rimwright.imaging.scan.sources import Source, open_sources
from rimwright.imaging.scan.volume_file import SeriesFacts, VolumeFile

HEADERS_PART = 0.15
"""Part of the time that reading the headers takes."""
_MAX_LISTED = 12
"""Series named in a refusal."""


def list_dicom_series(path: Path, *, where: str, progress: Progress) -> tuple[SeriesFacts, ...]:
    """
    List the series of a DICOM place.

    Parameters
    ----------
    path
        A file, folder, DICOMDIR or zip archive.
    where
        What to call it in a refusal.
    progress
        Told the part done.

    Returns
    -------
    tuple[SeriesFacts, ...]
        At least one, usable or not.

    Raises
    ------
    FileRefusal
        No DICOM images there.
    """
    with open_sources(path) as sources:
        study = read_study(_listed(path, sources, where), where=where, progress=progress)
    check_not_empty(study, where)
    return tuple(series.facts for series in study.series)


def read_dicom_volume(
    path: Path, *, where: str, series: str | None, progress: Progress
) -> VolumeFile:
    """
    Read one series of a DICOM place.

    Parameters
    ----------
    path
        A file, folder, DICOMDIR or zip archive.
    where
        What to call it in a refusal.
    series
        Number or key of a series; None takes the one that can be a volume.
    progress
        Told the part done.

    Returns
    -------
    VolumeFile
        In LPS and mm.

    Raises
    ------
    FileRefusal
        No DICOM images, no or several series that can be a volume, or damage.
    """
    with open_sources(path) as sources:
        study = read_study(
            _listed(path, sources, where),
            where=where,
            progress=lambda part, stage: progress(HEADERS_PART * part, stage),
        )
        check_not_empty(study, where)
        chosen, warnings = choose_series(study, series=series, where=where)
        if chosen.stack is None:
            raise FileRefusal(f"{_name(chosen)}: {chosen.facts.reason}", where, chosen.remedy)
        try:
            filled = fill_volume(
                chosen.stack,
                modality=chosen.facts.modality,
                progress=lambda part, stage: progress(
                    HEADERS_PART + (1 - HEADERS_PART) * part, stage
                ),
            )
        except Unfit as unfit:
            raise FileRefusal(
                f"{_name(chosen)}: {unfit.reason}", where, unfit.remedy or EXPORT_AGAIN
            ) from None
    return VolumeFile(
        volume=Volume(
            values=filled.values,
            affine=chosen.stack.affine,
            modality=chosen.facts.modality,
            frame_id=chosen.frame_id,
        ),
        facts=chosen.facts,
        digest=filled.digest,
        warnings=(*warnings, *chosen.facts.notes, *filled.notes),
        axes="LPS",
        axes_assumed=False,
        kind="DICOM",
    )


def choose_series(
    study: Study, *, series: str | None, where: str
) -> tuple[Series, tuple[str, ...]]:
    """
    Take the series asked for, or the only one that can be a volume.

    Parameters
    ----------
    study
        Not empty.
    series
        Number or key; None leaves the choice to the series themselves.
    where
        What to call the place in a refusal.

    Returns
    -------
    tuple[Series, tuple[str, ...]]
        The series, and what was chosen and left out, in words.

    Raises
    ------
    FileRefusal
        There is no such series, none can be a volume, or several can.
    """
    warnings = list(_passed_over(study))
    if series is not None:
        asked = series.strip().lower()
        keys = {s.facts.series_key.lower(): s for s in study.series}
        numbers = {str(s.facts.number): s for s in study.series}
        found = numbers.get(asked) or keys.get(asked)
        if found is None:
            raise FileRefusal(
                f"no series {series.strip()[:20]!r}, there are {_listing(study.series)}",
                where,
                "Name one by its number or key",
            )
        return found, tuple(warnings)
    usable = [s for s in study.series if s.stack is not None]
    if not usable:
        if len(study.series) == 1:
            return study.series[0], ()
        raise FileRefusal(
            f"no series can be a volume: {_listing(study.series)}", where, study.series[0].remedy
        )
    axial = [s for s in usable if _is_axial(s)]
    best = axial if len(axial) == 1 else usable
    if len(best) > 1:
        raise FileRefusal(
            f"{len(best)} series can be the volume: {_listing(best)}",
            where,
            "Name one by its number or key",
        )
    if len(study.series) > 1:
        others = len(study.series) - 1
        why = "can be a volume" if len(usable) == 1 else "is axial"
        warnings.insert(
            0,
            f"series {best[0].facts} was taken: of {others + 1} series only this one {why}",
        )
    return best[0], tuple(warnings)


def check_not_empty(study: Study, where: str) -> None:
    """
    Refuse a place without DICOM images.

    Parameters
    ----------
    study
        As read.
    where
        What to call the place.

    Raises
    ------
    FileRefusal
        It holds no image.
    """
    if study.series:
        return
    if study.damaged:
        place, reason = study.damaged[0]
        which = "" if study.n_files == 1 else f" (file {place} of {study.n_files})"
        raise FileRefusal(f"begins as DICOM, but {reason}{which}", where, EXPORT_AGAIN)
    if study.segmentations:
        raise FileRefusal("a segmentation, not images", where, "Give it as labels")
    raise FileRefusal(
        f"holds no DICOM images (looked at {study.n_files} file{'s' * (study.n_files != 1)})",
        where,
        "Name the folder of a CT or MR series; name a NIfTI, NRRD or MetaImage file itself",
    )


def _listed(path: Path, sources: Sequence[Source], where: str) -> Sequence[Source]:
    """The files themselves, or those that a DICOMDIR lists."""
    if path.is_file() and path.name.upper() == DICOMDIR_NAME:
        return listed_sources(path, where)
    return sources


def _passed_over(study: Study) -> list[str]:
    """What was left out of the place, in words; files are told by place, never by name."""
    warnings = []
    if study.damaged:
        n = len(study.damaged)
        place, reason = study.damaged[0]
        first = f"file {place} of {study.n_files} in the order of names"
        warnings.append(
            f"{n} file{'s begin' if n > 1 else ' begins'} as DICOM and cannot be read, left out: "
            f"{first}, {reason}"
        )
    if study.n_other:
        n = study.n_other
        warnings.append(f"{n} file{'s that are' if n > 1 else ' that is'} not DICOM, left out")
    return warnings


def _is_axial(series: Series) -> bool:
    """Whether slices lie nearer to the axial plane than to another."""
    if series.stack is None:
        return False
    affine = series.stack.affine
    normal = np.cross(affine[:3, 0], affine[:3, 1])
    return int(np.argmax(np.abs(normal))) == 2


def _listing(series: Sequence[Series]) -> str:
    """Series in one line, for a choice."""
    listed = "; ".join(str(s.facts) for s in series[:_MAX_LISTED])
    more = len(series) - _MAX_LISTED
    return f"{listed}; and {more} more" if more > 0 else listed


def _name(series: Series) -> str:
    """What to call a series in a refusal."""
    return f"series {series.facts.number} [{series.facts.series_key}]"
