"""Which measured hip a plan rests on: the one given, the one beside, or a new measurement."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from rimwright.anatomy import Progress
from rimwright.casework.case import Case
from rimwright.casework.hip_inputs import hip_files_of, input_digest
from rimwright.casework.hip_store import StoredHip, code_digest, load_hip
from rimwright.casework.plan_files import HIP_FILE
from rimwright.casework.planning import prepare_hip
from rimwright.errors import CaseRefusal, FileRefusal


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChosenHip:
    """
    The hip to plan on.

    Parameters
    ----------
    stored
        None where the case names neither bones nor an image and no hip was given.
    note
        What was reused, in a sentence; '' where the hip was measured now.
    """

    stored: StoredHip | None
    note: str = ""


def hip_for_case(
    case: Case,
    *,
    given: Path | None = None,
    beside: Path | None = None,
    progress: Progress | None = None,
) -> ChosenHip:
    """
    Load a stored hip where it is the same one, else measure.

    Parameters
    ----------
    case
        Names the bones or the image.
    given
        A stored hip the user names; it is used, or refused where it is of other bones.
    beside
        Folder of an earlier plan; its stored hip is used only where bones or scan, side, units,
        axes, series, landmarks and code are the same.
    progress
        Told the stages of measuring.

    Returns
    -------
    ChosenHip
        With a note on what was reused.

    Raises
    ------
    Refusal
        The hip given cannot be read or is of other bones, or the bones cannot be measured.
    """
    if given is not None:
        return ChosenHip(stored=_given(case, given), note=f"Planned on the hip stored in {given}")
    reused = None if beside is None else hip_beside(case, beside)
    if reused is not None:
        return reused
    return ChosenHip(stored=prepare_hip(case, progress=progress))


def _given(case: Case, path: Path) -> StoredHip:
    """The hip the user names, unless the case's bones are there and are others."""
    stored = load_hip(path)
    if stored.hip.side is not case.side:
        raise CaseRefusal(
            f"of the {stored.hip.side} side (the case is of the {case.side})",
            path.name,
            "Name the hip of this side, or leave --hip out",
        )
    sources = case.sources
    named = (sources.pelvis, sources.femur, sources.image, sources.labels)
    at_hand = [item.exists() for item in named if item is not None]
    if stored.input_digest and at_hand and all(at_hand):
        files = hip_files_of(case)
        digest = None if files is None else input_digest(files, case.side)
        if digest is not None and digest != stored.input_digest:
            raise CaseRefusal(
                f"measured from {_other(case)} or landmarks than the case names",
                path.name,
                "Leave --hip out to measure again",
            )
    return stored


def hip_beside(case: Case, folder: Path) -> ChosenHip | None:
    """
    The hip of an earlier plan, if nothing it rests on has changed.

    Parameters
    ----------
    case
        Names the bones or the image.
    folder
        Of the earlier plan; it need not exist.

    Returns
    -------
    ChosenHip or None
        None where the hip has to be measured, or there is none to measure.

    Raises
    ------
    CaseRefusal
        The case names a file that is not there.
    """
    path = folder / HIP_FILE
    if not path.is_file():
        return None
    files = hip_files_of(case)
    if files is None:
        return None
    with ThreadPoolExecutor(max_workers=1) as beside:  # hashing lets go of the interpreter
        today = beside.submit(input_digest, files, case.side)
        try:
            stored = load_hip(path)
        except FileRefusal:
            return None
        is_same = (
            stored.hip.side is case.side
            and stored.made_by == code_digest()
            and stored.input_digest == today.result()
        )
    if not is_same:
        return None
    what = "Bones" if case.sources.has_bones else "Scan"
    note = f"{what} unchanged: planned on the hip measured before ({path})"
    return ChosenHip(stored=stored, note=note)


def _other(case: Case) -> str:
    """What of the inputs may differ, in words."""
    if case.sources.image is not None:
        return "another scan, label map, series, axes"
    return "other bones, units, axes"
