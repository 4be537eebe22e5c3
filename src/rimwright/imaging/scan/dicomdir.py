"""The files that a DICOMDIR lists, beside it and nowhere else."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

from rimwright.errors import FileRefusal
from rimwright.imaging.scan.damage import Unfit
from rimwright.imaging.scan.dicom_header import read_header
from rimwright.imaging.scan.limits import MAX_FILES, MAX_FOLDER_DEPTH
from rimwright.imaging.scan.sources import Source

DICOMDIR_NAME = "DICOMDIR"
_MAX_BYTES = 64 * 1024**2
_NAME_FOLDER = "Name the folder it lies in"


def listed_sources(path: Path, where: str) -> tuple[Source, ...]:
    """
    List the image files of a DICOMDIR.

    Parameters
    ----------
    path
        The DICOMDIR.
    where
        What to call it in a refusal.

    Returns
    -------
    tuple[Source, ...]
        Those that are there, in its order.

    Raises
    ------
    FileRefusal
        Damaged, too large, with a path that leads out of its folder, or none of its files there.
    """
    n_bytes = path.stat().st_size
    if n_bytes > _MAX_BYTES:
        raise FileRefusal("too large for a DICOMDIR", where, _NAME_FOLDER)
    try:
        header = read_header(Source(place=1, n_bytes=n_bytes, open=_opener(path)))
        records = header.elements.items("DirectoryRecordSequence") if header else []
    except Unfit:
        raise FileRefusal("damaged or cut short as a DICOMDIR", where, _NAME_FOLDER) from None
    names = [name for record in records if (name := record.text("ReferencedFileID"))]
    listed = [tuple(part.strip() for part in name.split("\\")) for name in names]
    if len(listed) > MAX_FILES:
        raise FileRefusal(
            f"lists too many files (got {len(listed):,}, need at most {MAX_FILES:,})",
            where,
            "Name the folder of the series",
        )
    files = [_find(path.parent, parts, where) for parts in listed]
    there = [file for file in files if file is not None]
    if not there:
        raise FileRefusal(
            f"none of the files it lists is there (it lists {len(listed)})", where, _NAME_FOLDER
        )
    if len(there) < len(files):
        raise FileRefusal(
            f"lists files that are not there (got {len(there)}, need {len(files)})",
            where,
            "Copy the medium again, or name the folder it lies in",
        )
    return tuple(
        Source(place=place, n_bytes=file.stat().st_size, open=_opener(file))
        for place, file in enumerate(there, start=1)
    )


def _opener(file: Path) -> Callable[[], BinaryIO]:
    """Opens one file."""
    return lambda: file.open("rb")


def _find(folder: Path, parts: tuple[str, ...], where: str) -> Path | None:
    """The file, in whichever case the medium was copied; None where it is not there."""
    if any(part in {"", ".", ".."} or set(part) & set("/\\:\0") for part in parts):
        raise FileRefusal("lists a path that leads out of its folder", where, _NAME_FOLDER)
    if not 0 < len(parts) <= MAX_FOLDER_DEPTH:
        raise FileRefusal("lists a path of impossible depth", where, _NAME_FOLDER)
    for change in (str, str.lower, str.upper):
        file = folder.joinpath(*(change(part) for part in parts))
        if file.is_file():
            return file
    return None
