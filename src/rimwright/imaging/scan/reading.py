"""Read a volume, a label map or a list of series, whatever kind of file it is in."""

from __future__ import annotations

import importlib
import zlib
from enum import StrEnum
from pathlib import Path
from typing import Any

import numpy as np

from rimwright.anatomy import Progress, no_progress
from rimwright.errors import FileRefusal
from rimwright.imaging.axis_convention import name_axes
from rimwright.imaging.scan.damage import DAMAGE, Unfit
from rimwright.imaging.scan.grid_file import GridFile, make_labels, make_volume
from rimwright.imaging.scan.series_of_grid import facts_of
from rimwright.imaging.scan.sources import cannot_be_read, check_path
from rimwright.imaging.scan.volume_file import LabelFile, SeriesFacts, VolumeFile

_HEAD_BYTES = 4096
_WRITE_AGAIN = "Write the file again"


class _Kind(StrEnum):
    """Kinds of file, told by content."""

    DICOM = "DICOM"
    NIFTI = "NIfTI"
    PACKED_NIFTI = "packed NIfTI"
    NRRD = "NRRD"
    META = "MetaImage"


def list_series(path: str | Path, *, progress: Progress = no_progress) -> tuple[SeriesFacts, ...]:
    """
    List what could be read as a volume.

    Parameters
    ----------
    path
        As of `read_volume`.
    progress
        Told the part done and the stage.

    Returns
    -------
    tuple[SeriesFacts, ...]
        At least one; each says whether it can be a volume and why not.

    Raises
    ------
    FileRefusal
        Missing, unreadable, damaged, or nothing of the kind.
    """
    path = Path(path)
    where = check_path(path)
    if _find_kind(path, where) is not _Kind.DICOM:
        return (read_volume(path, progress=progress).facts,)
    return _dicom(path, "list_dicom_series", where=where, progress=progress)


def read_volume(
    path: str | Path,
    *,
    series: str | None = None,
    axes: str | None = None,
    progress: Progress | None = None,
) -> VolumeFile:
    """
    Read a volume of the scanner.

    Parameters
    ----------
    path
        A DICOM folder, file, DICOMDIR or zip archive, or a NIfTI, NRRD or MetaImage file; told
        by content.
    series
        Number or key of a series of `list_series`; None takes the only one that can be a volume.
    axes
        Three letters for the directions in which the coordinates of the file grow; None means
        what the file states, else what is usual for its kind. Not for DICOM, which states them.
    progress
        Told the part done and the stage; may stop the work by `Cancelled`.

    Returns
    -------
    VolumeFile
        In LPS and mm.

    Raises
    ------
    FileRefusal
        Missing, unreadable, damaged, too large, several series or none, slices missing or
        unevenly spaced.
    CaseRefusal
        `axes` is no convention.
    """
    given = None if axes is None else name_axes(axes)
    progress = no_progress if progress is None else progress
    path = Path(path)
    where = check_path(path)
    kind = _find_kind(path, where)
    if kind is _Kind.DICOM:
        _check_dicom_axes(given, where)
        file: VolumeFile = _dicom(
            path, "read_dicom_volume", where=where, series=series, progress=progress
        )
        return file
    if series is not None and series.strip() != "1":
        raise FileRefusal("holds one volume, not series", where, "Leave the series out")
    progress(0.0, "reading the volume")
    try:
        with np.errstate(all="ignore"):  # what overflows is refused by name
            grid = _parse(path, kind)
            used, notes = _used_axes(grid, given)
            volume, remarks = make_volume(grid, axes=used)
    except Unfit as unfit:
        raise FileRefusal(unfit.reason, where, unfit.remedy or _WRITE_AGAIN) from None
    except DAMAGE as error:
        raise _damaged(kind, error, where) from error
    progress(1.0, "reading the volume")
    return VolumeFile(
        volume=volume,
        facts=facts_of(volume, digest=grid.digest),
        digest=grid.digest,
        warnings=(*notes, *grid.notes, *remarks),
        axes=used,
        axes_assumed=given is None and not grid.axes_stated,
        kind=grid.kind,
    )


def read_labels(
    path: str | Path, *, axes: str | None = None, progress: Progress | None = None
) -> LabelFile:
    """
    Read a label map.

    Parameters
    ----------
    path
        A NIfTI, NRRD or MetaImage file of whole numbers, or a DICOM segmentation.
    axes
        As of `read_volume`.
    progress
        As of `read_volume`.

    Returns
    -------
    LabelFile
        In LPS and mm, on the grid of the file.

    Raises
    ------
    FileRefusal
        Missing, unreadable, damaged, not of labels, or with segments that overlap.
    CaseRefusal
        `axes` is no convention.
    """
    given = None if axes is None else name_axes(axes)
    progress = no_progress if progress is None else progress
    path = Path(path)
    where = check_path(path)
    kind = _find_kind(path, where)
    progress(0.0, "reading labels")
    if kind is _Kind.DICOM:
        _check_dicom_axes(given, where)
        found: LabelFile = _dicom(path, "read_dicom_labels", where=where, progress=progress)
        return found
    try:
        with np.errstate(all="ignore"):  # what overflows is refused by name
            grid = _parse(path, kind)
            used, notes = _used_axes(grid, given)
            labels = make_labels(grid, axes=used)
    except Unfit as unfit:
        raise FileRefusal(unfit.reason, where, unfit.remedy or _WRITE_AGAIN) from None
    except DAMAGE as error:
        raise _damaged(kind, error, where) from error
    progress(1.0, "reading labels")
    return LabelFile(
        labels=labels,
        digest=grid.digest,
        warnings=(*notes, *grid.notes),
        axes=used,
        axes_assumed=given is None and not grid.axes_stated,
        kind=grid.kind,
    )


def _find_kind(path: Path, where: str) -> _Kind:
    """Tell the kind by content; a folder and whatever has no other mark is DICOM's to judge."""
    if path.is_dir():
        return _Kind.DICOM
    try:
        with path.open("rb") as file:
            head = file.read(_HEAD_BYTES)
    except OSError as error:
        raise cannot_be_read(error, where) from None
    if not head:
        raise FileRefusal("empty (0 bytes)", where, _WRITE_AGAIN)
    if head[:2] == b"\x1f\x8b":
        try:
            inside = zlib.decompressobj(31).decompress(head, 1024)
        except zlib.error:
            raise FileRefusal("damaged as a gzip file", where, _WRITE_AGAIN) from None
        if not _is_nifti(inside):
            raise FileRefusal(
                "packed with gzip, and no NIfTI file inside", where, "Unpack it first"
            )
        return _Kind.PACKED_NIFTI
    if _is_nifti(head):
        return _Kind.NIFTI
    if head.startswith(b"NRRD"):
        return _Kind.NRRD
    if head[:1024].lstrip().startswith((b"ObjectType", b"NDims", b"Comment")):
        return _Kind.META
    if head[344:348] == b"ni1\0":
        raise FileRefusal(
            "a NIfTI header whose numbers are in another file", where, "Write it as one .nii file"
        )
    return _Kind.DICOM


def _is_nifti(head: bytes) -> bool:
    """Whether bytes begin a NIfTI file of one piece."""
    return head[344:348] == b"n+1\0" or head[4:8] == b"n+2\0"


def _parse(path: Path, kind: _Kind) -> GridFile:
    """Hand the file to the parser of its kind."""
    module, name = {
        _Kind.NIFTI: ("nifti", "parse_nifti"),
        _Kind.PACKED_NIFTI: ("nifti", "parse_nifti"),
        _Kind.NRRD: ("nrrd_file", "parse_nrrd"),
        _Kind.META: ("metaimage", "parse_metaimage"),
    }[kind]
    parse = getattr(importlib.import_module(f"rimwright.imaging.scan.{module}"), name)
    packed = {"is_packed": kind is _Kind.PACKED_NIFTI} if module == "nifti" else {}
    grid: GridFile = parse(path, **packed)
    return grid


def _dicom(path: Path, name: str, **options: object) -> Any:
    """Hand a DICOM place to its reader; pydicom is only loaded here."""
    module = "segmentation" if name == "read_dicom_labels" else "dicom_volume"
    read = getattr(importlib.import_module(f"rimwright.imaging.scan.{module}"), name)
    try:
        return read(path, **options)
    except DAMAGE as error:
        if isinstance(error, FileRefusal):
            raise
        raise _damaged(_Kind.DICOM, error, str(options["where"])) from error


def _used_axes(grid: GridFile, given: str | None) -> tuple[str, list[str]]:
    """Convention that is used, and what to say of it."""
    if given is None:
        notes = []
        if not grid.axes_stated:
            notes.append(f"it does not state its axes: {grid.axes} was taken, as is usual")
        return grid.axes, notes
    if grid.axes_stated and given != grid.axes:
        return given, [f"its header states {grid.axes}, read as {given} as asked"]
    return given, []


def _check_dicom_axes(given: str | None, where: str) -> None:
    """Refuse other axes for DICOM than those it states."""
    if given not in {None, "LPS"}:
        raise FileRefusal(
            f"DICOM states its axes (got {given}, need LPS)", where, "Leave the axes out"
        )


def _damaged(kind: _Kind, error: Exception, where: str) -> FileRefusal:
    """The refusal of what no check foresaw; a reader never ends in a traceback."""
    return FileRefusal(
        f"cannot be understood as {kind.value} ({type(error).__name__})", where, _WRITE_AGAIN
    )
