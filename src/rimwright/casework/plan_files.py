"""Writes a plan's files: made whole in a folder beside, then moved in one by one."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from rimwright.anatomy import Plan, Progress, no_progress
from rimwright.casework.case import LETTER_KINDS
from rimwright.casework.document_of_plan import plan_document
from rimwright.casework.hip_store import StoredHip, save_hip
from rimwright.casework.letters import LetterTemplate
from rimwright.errors import FileRefusal
from rimwright.evidence import EvidenceTable

PLAN_FILE = "plan.json"
HIP_FILE = "hip.npz"
SCENE_FILE = "scene.glb"
FIGURES = "figures"
LETTER_FILES = tuple(
    f"letter-{kind}.{ending}" for kind in LETTER_KINDS for ending in ("html", "pdf")
)
"""Every letter there may be: one of an earlier plan must not stand beside this one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanFiles:
    """
    Where the files of a plan stand.

    Parameters
    ----------
    folder
        The folder asked for.
    names
        Files in it, relative, in alphabetical order.
    """

    folder: Path
    names: tuple[str, ...]

    @property
    def report(self) -> Path:
        """The report to open in a browser."""
        return self.folder / "report.html"


def plan_folder(out_dir: Path) -> Path:
    """
    The folder a plan is to be written to, checked before any work is done.

    Parameters
    ----------
    out_dir
        It need not exist.

    Returns
    -------
    Path
        Absolute.

    Raises
    ------
    FileRefusal
        A file stands in its place, or nothing can be written there.
    """
    folder = Path(out_dir).absolute()
    standing = next(place for place in (folder, *folder.parents) if place.exists())
    if not standing.is_dir():
        raise FileRefusal("not a folder", str(standing), "Name a folder for the plan")
    if not os.access(standing, os.W_OK):
        raise FileRefusal("cannot be written", str(standing), "Choose a folder of your own")
    return folder


def write_plan(
    plan: Plan,
    out_dir: Path,
    *,
    stored: StoredHip | None = None,
    evidence: EvidenceTable | None = None,
    issued_on: str = "",
    letters: Sequence[LetterTemplate] = (),
    progress: Progress | None = None,
) -> PlanFiles:
    """
    Write the plan, its report, the pages for people, the scene and the stored hip.

    The files are plan.json, report, patient and colleague as html and pdf, a letter where a
    template is given, figures/*.svg, scene.glb and hip.npz.

    Parameters
    ----------
    plan
        What to write.
    out_dir
        Made if it does not exist; a plan already in it is replaced once the new one is whole.
    stored
        The measured hip with its field; without it `hip.npz` holds the plan's hip alone.
    evidence
        Rows and settings the plan was made with; the shipped ones where left out.
    issued_on
        Date to print, year-month-day; '' prints none. No clock is read.
    letters
        Templates of letters to write.
    progress
        Told the stages; may raise to cancel, and then the folder is as it was.

    Returns
    -------
    PlanFiles
        What stands in the folder now.

    Raises
    ------
    FileRefusal
        The folder cannot be written or the disk is full; nothing half written is left.
    CaseRefusal
        A template of a letter cannot be used.
    """
    tell = progress or no_progress
    out_dir = plan_folder(out_dir)
    try:
        with _folder_beside(out_dir) as partial:
            with_hip = stored or (StoredHip(hip=plan.hip) if plan.hip is not None else None)
            _write_pages(
                plan,
                partial,
                evidence=evidence,
                issued_on=issued_on,
                letters=letters,
                tell=tell,
            )
            _write_hip(plan, partial, stored=with_hip, tell=tell)
            tell(0.95, "moving the files into place")
            return PlanFiles(folder=out_dir, names=_move_into(partial, out_dir))
    except OSError as error:
        raise FileRefusal(
            f"cannot be written ({error.strerror or type(error).__name__})",
            str(out_dir),
            "Choose a folder that can be written and has room",
        ) from None


def _write_pages(
    plan: Plan,
    folder: Path,
    *,
    evidence: EvidenceTable | None,
    issued_on: str,
    letters: Sequence[LetterTemplate],
    tell: Progress,
) -> None:
    """The plan and every page of it into an empty folder."""
    from rimwright.report import (
        LetterKind,
        write_colleague_page,
        write_letter,
        write_patient_page,
        write_report,
    )

    tell(0.0, "writing the plan")
    text = json.dumps(plan_document(plan), indent=1, ensure_ascii=False, allow_nan=False)
    (folder / PLAN_FILE).write_text(text + "\n", encoding="utf-8")
    for letter in letters:  # first: a template that cannot be used is refused soonest
        tell(0.05, f"writing the letter of {letter.kind}")
        write_letter(
            plan,
            letter.text,
            folder,
            kind=LetterKind(letter.kind),
            issued_on=issued_on,
            evidence=evidence,
            where=letter.where,
        )
    tell(0.1, "writing the report")
    write_report(plan, folder, issued_on=issued_on, evidence=evidence)
    tell(0.5, "writing the page for the patient")
    write_patient_page(plan, folder, issued_on=issued_on, evidence=evidence)
    tell(0.65, "writing the page for colleagues")
    write_colleague_page(plan, folder, issued_on=issued_on, evidence=evidence)


def _write_hip(plan: Plan, folder: Path, *, stored: StoredHip | None, tell: Progress) -> None:
    """The scene on bone and the measured hip, where there is one."""
    from rimwright.report import write_scene

    if stored is None:
        return
    tell(0.8, "writing the scene")
    write_scene(plan, folder / SCENE_FILE)
    tell(0.9, "storing the hip")
    save_hip(stored, folder / HIP_FILE)


@contextmanager
def _folder_beside(out_dir: Path) -> Iterator[Path]:
    """A hidden folder on the same disk, gone when the work is done or broken off."""
    out_dir.parent.mkdir(parents=True, exist_ok=True)
    partial = Path(tempfile.mkdtemp(prefix=f".{out_dir.name}.partial-", dir=out_dir.parent))
    try:
        yield partial
    finally:
        shutil.rmtree(partial, ignore_errors=True)


def _move_into(partial: Path, out_dir: Path) -> tuple[str, ...]:
    """Move every file into place, the plan itself last, then drop figures of an older plan."""
    names = sorted(
        path.relative_to(partial).as_posix() for path in partial.rglob("*") if path.is_file()
    )
    for name in names:
        _sync(partial / name)
    for name in sorted(names, key=lambda name: name == PLAN_FILE):
        target = out_dir / name
        target.parent.mkdir(parents=True, exist_ok=True)
        (partial / name).replace(target)
    figures = out_dir / FIGURES
    if figures.is_dir():
        for path in figures.glob("*.svg"):
            if f"{FIGURES}/{path.name}" not in names:
                path.unlink()
    for name in (SCENE_FILE, HIP_FILE, *LETTER_FILES):
        if name not in names:
            (out_dir / name).unlink(missing_ok=True)
    return tuple(names)


def _sync(path: Path) -> None:
    """Bring a file to the disk before it takes the place of another."""
    with path.open("rb") as file:
        os.fsync(file.fileno())
