"""Which measured hip a plan rests on: the one given, the one beside, or a new measurement."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from rimwright.anatomy import Progress
from rimwright.casework.bone_files import bone_files_of, input_digest
from rimwright.casework.case import Case
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
        None where the case names no bones and no hip was given.
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
        Names the bones.
    given
        A stored hip the user names; it is used, or refused where it is of other bones.
    beside
        Folder of an earlier plan; its stored hip is used only where bones, side, units, axes,
        landmarks and code are the same.
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
    if beside is not None and case.sources.has_bones:
        reused = _beside(case, beside)
        if reused is not None:
            note = f"Bones unchanged: planned on the hip measured before ({beside / HIP_FILE})"
            return ChosenHip(stored=reused, note=note)
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
    named = [item for item in (sources.pelvis, sources.femur) if item is not None]
    if stored.input_digest and named and all(item.is_file() for item in named):
        digest = input_digest(bone_files_of(case), case.side)
        if digest != stored.input_digest:
            raise CaseRefusal(
                "measured from other bones, units, axes or landmarks than the case names",
                path.name,
                "Leave --hip out to measure again",
            )
    return stored


def _beside(case: Case, folder: Path) -> StoredHip | None:
    """The hip of an earlier plan, if nothing it rests on has changed."""
    path = folder / HIP_FILE
    if not path.is_file():
        return None
    try:
        stored = load_hip(path)
    except FileRefusal:
        return None
    is_same = (
        stored.hip.side is case.side
        and stored.made_by == code_digest()
        and stored.input_digest == input_digest(bone_files_of(case), case.side)
    )
    return stored if is_same else None
