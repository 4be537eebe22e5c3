"""Two cases as the two hips of one person, and both hips out of one scan."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from rimwright.anatomy import Person, Progress, Side, no_progress
from rimwright.casework.case import Case
from rimwright.casework.hip_inputs import hip_files_of
from rimwright.casework.planning import stored_hip
from rimwright.casework.reuse import ChosenHip, hip_beside, hip_for_case
from rimwright.casework.scan_files import ScanFiles
from rimwright.casework.scans import READING_SHARE, measure_in, open_scan
from rimwright.casework.stages import within
from rimwright.errors import CaseRefusal


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TwoHips:
    """
    Both cases of one person.

    Parameters
    ----------
    person
        With the clinic's record of each hip.
    left, right
        The cases.
    """

    person: Person
    left: Case
    right: Case

    @property
    def cases(self) -> tuple[Case, Case]:
        """Left, then right."""
        return self.left, self.right


def two_hips(first: Case, second: Case) -> TwoHips:
    """
    Put two cases together, whichever is given first.

    Parameters
    ----------
    first, second
        One of each side, both naming the same person.

    Returns
    -------
    TwoHips
        Left and right.

    Raises
    ------
    CaseRefusal
        A case does not say whose hip it is, they name different persons, or one side twice.
    """
    for case in (first, second):
        if not case.person:
            raise CaseRefusal(
                "missing (need the same word in both cases)",
                f"{case.where}, person",
                "Say whose hip it is before two are set side by side",
            )
    if first.person != second.person:
        raise CaseRefusal(
            f"not the word that stands in {first.where} (need the same person in both)",
            f"{second.where}, person",
            "Give two cases of one person",
        )
    if first.side is second.side:
        raise CaseRefusal(
            f"the same side twice (got {second.side} in both)",
            f"{second.where}, side",
            "Give one case of each side",
        )
    left, right = sorted((first, second), key=lambda case: case.side is Side.RIGHT)
    person = Person(id=first.person, left=left.clinic, right=right.clinic)
    return TwoHips(person=person, left=left, right=right)


def hips_for_both(
    pair: TwoHips, *, beside: Path, progress: Progress | None = None
) -> tuple[ChosenHip, ChosenHip]:
    """
    The hips to plan on; a scan that both cases name is read once.

    Parameters
    ----------
    pair
        Both cases.
    beside
        Folder whose folders `left` and `right` may hold hips of earlier plans.
    progress
        Told the stages of measuring; may raise to cancel.

    Returns
    -------
    tuple of ChosenHip
        Left and right.

    Raises
    ------
    Refusal
        A file cannot be read, or does not hold a hip asked for.
    """
    tell = progress or no_progress
    kept = [hip_beside(case, beside / str(case.side)) for case in pair.cases]
    left, right = (hip_files_of(case) for case in pair.cases)
    one_scan = (
        kept == [None, None]
        and isinstance(left, ScanFiles)
        and isinstance(right, ScanFiles)
        and left.same_scan(right)
    )
    if one_scan:
        assert isinstance(left, ScanFiles)
        assert isinstance(right, ScanFiles)
        return _from_one_scan(left, right, tell=tell)
    first, second = (
        found or hip_for_case(case, progress=within(tell, 0.5 * number, 0.5))
        for number, (case, found) in enumerate(zip(pair.cases, kept, strict=True))
    )
    return first, second


def _from_one_scan(
    left: ScanFiles, right: ScanFiles, *, tell: Progress
) -> tuple[ChosenHip, ChosenHip]:
    """Both hips of one scan, each with the landmarks of its own case."""
    scan = open_scan(left, progress=within(tell, 0.0, READING_SHARE))
    share = (1.0 - READING_SHARE) / 2
    hips = []
    for number, (files, side) in enumerate(((left, Side.LEFT), (right, Side.RIGHT))):
        part = within(tell, READING_SHARE + number * share, share)
        hips.append(ChosenHip(stored=stored_hip(measure_in(scan, files, side, progress=part))))
    return hips[0], hips[1]
