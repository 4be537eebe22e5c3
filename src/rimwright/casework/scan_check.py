"""What a scan holds and what it is good for, before anything is measured in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rimwright.anatomy import Modality, Progress, no_progress
from rimwright.casework.scan_files import ScanFiles
from rimwright.casework.stages import within
from rimwright.casework.upgrades import shown
from rimwright.errors import CaseRefusal, FileRefusal

if TYPE_CHECKING:
    from rimwright.imaging import SeriesFacts, VolumeFile
    from rimwright.morphology.scan import ScanSurvey

READING_SHARE = 0.5
LABELS_SHARE = 0.1
"""Shares of the progress bar that reading image and labels take."""

GOOD_FOR = {
    Modality.CT: "measuring the hip, corridors and density along the drill",
    Modality.MR: "radial reformats that a person reads (labrum, alpha angle); nothing is measured "
    "on bone in an MR",
    Modality.OTHER: "nothing here: not known to be a CT or an MR",
}
"""What each modality is of use for in this program."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScanCheck:
    """
    The series found, and what the CT taken holds.

    Parameters
    ----------
    name
        Of the file or folder.
    series
        Every series found.
    taken
        Number of the CT looked into; None where `reason` says why none was.
    reason
        '' where one was taken.
    survey
        Hips, metal and doubts in it; None where none was taken.
    has_labels
        Whether a label map was used.
    warnings
        What the readers mended or assumed.
    """

    name: str
    series: tuple[SeriesFacts, ...]
    taken: int | None = None
    reason: str = ""
    survey: ScanSurvey | None = None
    has_labels: bool = False
    warnings: tuple[str, ...] = ()


def good_for(facts: SeriesFacts) -> str:
    """
    What a series is of use for here, in words.

    Parameters
    ----------
    facts
        Of one series.

    Returns
    -------
    str
        The reader's reason where the series cannot be used at all.
    """
    if not facts.usable:
        return f"nothing here: {facts.reason}"
    return GOOD_FOR[Modality(facts.modality)]


def check_scan(files: ScanFiles, *, progress: Progress | None = None) -> ScanCheck:
    """
    List the series of a scan and look into its CT.

    Parameters
    ----------
    files
        Image, label map and series; landmarks are not looked at.
    progress
        Told the stages; may raise to cancel.

    Returns
    -------
    ScanCheck
        With a survey where one CT could be taken without guessing.

    Raises
    ------
    Refusal
        Nothing can be read, or there is no series of the number or key given.
    """
    from rimwright.imaging import list_series, read_volume

    tell = progress or no_progress
    tell(0.0, "listing the series")
    series = tuple(list_series(files.image))
    name = files.image.name
    taken, reason = _to_take(series, files.series, where=name)
    if reason:
        return ScanCheck(name=name, series=series, reason=reason)
    asked = None if taken is None else str(taken.number)
    try:
        read = read_volume(
            files.image, series=asked, axes=files.axes, progress=within(tell, 0.0, READING_SHARE)
        )
    except FileRefusal as refusal:
        if asked is not None:
            raise
        return ScanCheck(name=name, series=series, reason=f"{refusal.wrong}; {refusal.remedy}")
    if read.volume.modality is not Modality.CT:
        return ScanCheck(name=name, series=series, reason=_good_for_words(read.facts))
    warnings = [f"{name}: {text}" for text in read.warnings]
    if files.series is None and taken is not None and sum(item.usable for item in series) > 1:
        warnings.append(f"the only CT of several series: measure it with --series {asked}")
    return _looked_into(files, series, read, warnings=warnings, tell=tell)


def _to_take(
    series: Sequence[SeriesFacts], asked: str | None, *, where: str
) -> tuple[SeriesFacts | None, str]:
    """The CT to look into, or why there is none; neither leaves the choice to the reader."""
    if asked is not None:
        words = asked.strip().lower()
        named = [item for item in series if words in (str(item.number), item.series_key.lower())]
        if not named:
            raise CaseRefusal(
                f"no series {shown(asked)} (found {len(series)}, counted from 1)",
                where,
                "Leave --series out to list them",
            )
        facts = named[0]
        is_ct = facts.usable and Modality(facts.modality) is Modality.CT
        return (facts, "") if is_ct else (None, _good_for_words(facts))
    found = [item for item in series if item.usable and Modality(item.modality) is Modality.CT]
    if not found:
        return None, "no CT series that can be used"
    return (found[0] if len(found) == 1 else None), ""


def _good_for_words(facts: SeriesFacts) -> str:
    """Why a series is not looked into for bone."""
    return f"series {facts.number} is good for {good_for(facts)}"


def _looked_into(
    files: ScanFiles,
    series: tuple[SeriesFacts, ...],
    read: VolumeFile,
    *,
    warnings: list[str],
    tell: Progress,
) -> ScanCheck:
    """Survey the CT that was read."""
    from rimwright.imaging import read_labels
    from rimwright.morphology.scan import survey_scan

    labels = None
    start = READING_SHARE
    if files.labels is not None:
        file = read_labels(
            files.labels, axes=files.axes, progress=within(tell, start, LABELS_SHARE)
        )
        start += LABELS_SHARE
        labels = file.labels
        warnings += [f"{files.labels.name}: {text}" for text in file.warnings]
    survey = survey_scan(read.volume, labels=labels, progress=within(tell, start, 1.0 - start))
    tell(1.0, "looked into")
    return ScanCheck(
        name=files.image.name,
        series=series,
        taken=read.facts.number,
        survey=survey,
        has_labels=labels is not None,
        warnings=tuple(dict.fromkeys(warnings)),
    )
