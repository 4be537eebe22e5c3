"""Radial pictures of a hip as files: sheets, leaves, arrays, alpha by hour, secondary captures."""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rimwright.anatomy import HipGeometry, Modality, Progress, no_progress
from rimwright.casework.radial_arrays import alpha_table
from rimwright.casework.radial_kind import write_kind
from rimwright.casework.radial_subject import Origin, RadialSubject, RadialWish
from rimwright.casework.stages import within
from rimwright.errors import FileRefusal, LayoutRefusal, Refusal
from rimwright.imaging import check_vacant

if TYPE_CHECKING:
    from rimwright.morphology.reformat import AlphaAtHour


@dataclass(frozen=True, slots=True, kw_only=True)
class RadialFiles:
    """
    What was written.

    Parameters
    ----------
    folder
        The folder asked for.
    names
        Files in it, relative, in alphabetical order.
    missing
        Side and kind that could not be made, with the reason.
    """

    folder: Path
    names: tuple[str, ...]
    missing: tuple[str, ...] = ()


def write_radial_files(
    subjects: Sequence[RadialSubject],
    folder: str | Path,
    *,
    wish: RadialWish | None = None,
    origin: Origin | None = None,
    progress: Progress | None = None,
) -> RadialFiles:
    """
    Make the radial pictures of one or both hips.

    Parameters
    ----------
    subjects
        Hips of one person, each side once.
    folder
        Made if it does not exist; it must be empty. It comes to hold a folder for each side, with
        KIND-sheet.png, KIND.npz and KIND/HOUR.png for each kind, alpha.csv from a CT, and
        dicom/KIND/ where an origin is given.
    wish
        Slab, window, marks; the usual ones where left out.
    origin
        The study the pictures are written back to as secondary captures; None writes none.
    progress
        Told the stages; may raise to cancel, and then nothing is left.

    Returns
    -------
    RadialFiles
        Names, and what could not be made.

    Raises
    ------
    Refusal
        Neither kind can be made of a hip, or the folder holds something or cannot be written.
    """
    tell = progress or no_progress
    wish = wish or RadialWish()
    folder = Path(folder).absolute()
    missing: list[str] = []
    try:
        check_vacant(folder)
        with _folder_beside(folder) as partial:
            share = 1.0 / len(subjects)
            for place, subject in enumerate(subjects):
                missing += _write_hip(
                    subject,
                    partial / subject.side,
                    wish=wish,
                    origin=origin,
                    tell=within(tell, place * share, share),
                )
            names = tuple(
                sorted(p.relative_to(partial).as_posix() for p in partial.rglob("*") if p.is_file())
            )
            check_vacant(folder)
            if folder.exists():
                folder.rmdir()
            partial.rename(folder)
    except OSError as error:
        raise FileRefusal(
            f"cannot be written ({error.strerror or type(error).__name__})",
            str(folder),
            "Choose a folder that can be written and has room",
        ) from None
    tell(1.0, "radial pictures written")
    return RadialFiles(folder=folder, names=names, missing=tuple(missing))


def _write_hip(
    subject: RadialSubject,
    folder: Path,
    *,
    wish: RadialWish,
    origin: Origin | None,
    tell: Progress,
) -> list[str]:
    """Both kinds of one hip; what could not be made, with its reason."""
    from rimwright.morphology.reformat import alpha_on_reformats, neck_planes, socket_planes

    if subject.points is not None:
        subject.points.refuse_outside(subject.volume)
    folder.mkdir()
    refused: dict[str, Refusal] = {}
    tell(0.0, "acetabular pictures")
    try:
        acetabular = socket_planes(_socket_source(subject))
    except LayoutRefusal as refusal:
        refused["acetabular"] = refusal
    else:
        write_kind(acetabular, subject, folder, wish=wish, origin=origin, alpha=(), tell=tell)
    tell(0.5, "femoral pictures")
    try:
        femoral = neck_planes(_neck_source(subject))
    except LayoutRefusal as refusal:
        refused["femoral"] = refusal
    else:
        alpha: tuple[AlphaAtHour, ...] = ()
        if subject.volume.modality is Modality.CT and femoral[0].clock.head is not None:
            alpha = alpha_on_reformats(subject.volume, femoral)
            (folder / "alpha.csv").write_text(alpha_table(alpha), encoding="utf-8")
        later = within(tell, 0.5, 1.0)
        write_kind(femoral, subject, folder, wish=wish, origin=origin, alpha=alpha, tell=later)
    if len(refused) == 2:
        raise refused["acetabular"]
    return [
        f"{subject.side} hip, {kind} pictures: {refusal.wrong}" for kind, refusal in refused.items()
    ]


def _socket_source(subject: RadialSubject) -> Any:
    """The acetabular clock of the points, else the hip."""
    clock = None if subject.points is None else subject.points.socket_clock(subject.side)
    return clock if clock is not None else _hip_of(subject, "the points of socket and rim")


def _neck_source(subject: RadialSubject) -> Any:
    """The femoral clock of the points, else the hip."""
    clock = None if subject.points is None else subject.points.neck_clock(subject.side)
    return clock if clock is not None else _hip_of(subject, "the points of head and neck")


def _hip_of(subject: RadialSubject, points: str) -> HipGeometry:
    """The measured hip, or a refusal that says which points would do."""
    if subject.hip is None:
        raise LayoutRefusal(
            f"nothing is measured in this image, and {points} are not given",
            "radial planes",
            f"Give {points}",
        )
    return subject.hip


@contextmanager
def _folder_beside(folder: Path) -> Iterator[Path]:
    """A hidden folder on the same disk, gone when the work is done or broken off."""
    standing = next(place for place in folder.parents if place.exists())
    if not standing.is_dir() or not os.access(standing, os.W_OK):
        raise FileRefusal("cannot be written", str(standing), "Choose a folder of your own")
    made = [place for place in folder.parents if not place.exists()]
    folder.parent.mkdir(parents=True, exist_ok=True)
    partial = folder.parent / f".{folder.name}-{secrets.token_hex(4)}"
    partial.mkdir()
    done = False
    try:
        yield partial
        done = True
    finally:
        shutil.rmtree(partial, ignore_errors=True)
        if not done:
            for place in made:  # from the inside out: folders that were made for nothing
                place.rmdir()
