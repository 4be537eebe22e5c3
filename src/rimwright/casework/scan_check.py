"""What a scan holds and what it is good for, before anything is measured in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from rimwright.anatomy import Modality, Progress, no_progress
from rimwright.casework.scan_files import ScanFiles
from rimwright.casework.stages import within
from rimwright.errors import CaseRefusal

if TYPE_CHECKING:
    from rimwright.imaging import SeriesFacts
    from rimwright.morphology.scan import ScanSurvey

READING_SHARE = 0.6
"""Share of the progress bar that reading takes: a survey is quicker than measuring."""

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
    from rimwright.imaging import list_series

    tell = progress or no_progress
    tell(0.0, "listing the series")
    series = tuple(list_series(files.image))
    taken, reason = _to_take(series, files.series, where=files.image.name)
    if taken is None:
        return ScanCheck(name=files.image.name, series=series, reason=reason)
    return _looked_into(files, series, taken, tell=tell)


def _to_take(
    series: Sequence[SeriesFacts], asked: str | None, *, where: str
) -> tuple[SeriesFacts | None, str]:
    """The CT to look into, or why there is none."""
    if asked is not None:
        named = [item for item in series if asked in (str(item.number), item.series_key)]
        if not named:
            raise CaseRefusal(
                f"no series {asked} (found {len(series)}, counted from 1)",
                where,
                "Leave --series out to list them",
            )
        facts = named[0]
        if facts.usable and Modality(facts.modality) is Modality.CT:
            return facts, ""
        return None, f"series {facts.number} is good for {good_for(facts)}"
    usable = [item for item in series if item.usable and Modality(item.modality) is Modality.CT]
    if len(usable) == 1:
        return usable[0], ""
    if usable:
        numbers = ", ".join(str(item.number) for item in usable)
        return None, f"several CT series could be meant ({numbers}); name one with --series"
    return None, "no CT series that can be used"


def _looked_into(
    files: ScanFiles,
    series: tuple[SeriesFacts, ...],
    taken: SeriesFacts,
    *,
    tell: Progress,
) -> ScanCheck:
    """Read the CT taken and survey it."""
    from rimwright.imaging import read_labels, read_volume
    from rimwright.morphology.scan import survey_scan

    share = READING_SHARE / (1 if files.labels is None else 2)
    read = read_volume(
        files.image,
        series=str(taken.number),
        axes=files.axes,
        progress=within(tell, 0.0, share),
    )
    warnings = [*read.warnings]
    labels = None
    if files.labels is not None:
        file = read_labels(files.labels, axes=files.axes, progress=within(tell, share, share))
        labels = file.labels
        warnings += file.warnings
    survey = survey_scan(
        read.volume, labels=labels, progress=within(tell, READING_SHARE, 1.0 - READING_SHARE)
    )
    tell(1.0, "looked into")
    return ScanCheck(
        name=files.image.name,
        series=series,
        taken=taken.number,
        survey=survey,
        has_labels=labels is not None,
        warnings=tuple(dict.fromkeys(warnings)),
    )
