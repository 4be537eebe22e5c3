"""Where the bytes of a scan come from: a file, a folder, a DICOMDIR or a zip archive."""

from __future__ import annotations

import os
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from rimwright.errors import FileRefusal
from rimwright.imaging.scan.archive import ZIP_MARKS, open_archive
from rimwright.imaging.scan.limits import MAX_FILES, MAX_FOLDER_DEPTH


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Source:
    """
    One file of a scan.

    Parameters
    ----------
    place
        Its place among the files looked at, from 1, in the order of their names. The name itself
        is not kept: scanners put names and numbers of persons into it.
    n_bytes
        Its size; 0 where it cannot be known.
    open
        Opens it from its beginning.
    """

    place: int
    n_bytes: int
    open: Callable[[], BinaryIO]


@contextmanager
def open_sources(path: Path) -> Iterator[tuple[Source, ...]]:
    """
    List the files of a folder or archive, or the one file.

    Parameters
    ----------
    path
        A file, a folder, or a zip archive.

    Yields
    ------
    tuple[Source, ...]
        In the order of their names; an archive stays open meanwhile.

    Raises
    ------
    FileRefusal
        Missing, not to be read, too many files, or an archive with tricks in it.
    """
    where = path.name or str(path)
    try:
        if path.is_dir():
            yield tuple(
                _of_file(file, place) for place, file in enumerate(_walk(path, where), start=1)
            )
            return
        with path.open("rb") as file:
            head = file.read(4)
    except OSError as error:
        raise cannot_be_read(error, where) from None
    if head in ZIP_MARKS:
        with open_archive(path, where) as members:
            yield tuple(
                Source(place=place, n_bytes=n_bytes, open=opener)
                for place, (n_bytes, opener) in enumerate(members, start=1)
            )
        return
    yield (_of_file(path, 1),)


def check_path(path: Path) -> str:
    """
    Check that a path leads to a file or folder.

    Parameters
    ----------
    path
        As given.

    Returns
    -------
    str
        What to call it in a refusal.

    Raises
    ------
    FileRefusal
        Nothing there, a device, or not a path at all.
    """
    where = path.name or str(path)
    where = "".join(letter if letter.isprintable() else "?" for letter in where)
    try:
        mode = path.stat().st_mode
    except FileNotFoundError:
        raise FileRefusal("no such file or folder", where, "Check the path") from None
    except OSError as error:
        raise cannot_be_read(error, where) from None
    except ValueError:
        raise FileRefusal("not a path a file can have", where, "Check the path") from None
    if not (stat.S_ISREG(mode) or stat.S_ISDIR(mode)):
        raise FileRefusal("neither a file nor a folder", where, "Name a file or a folder")
    return where


def cannot_be_read(error: OSError, where: str) -> FileRefusal:
    """The refusal of what the system does not let be read."""
    return FileRefusal(
        f"cannot be read ({error.strerror or type(error).__name__})",
        where,
        "Check the path and its permissions",
    )


def _walk(folder: Path, where: str) -> list[Path]:
    """Regular files under a folder, sorted; links to folders are not followed."""
    found: list[Path] = []
    depth = len(folder.parts)
    for root, folders, names in os.walk(folder):
        if len(Path(root).parts) - depth >= MAX_FOLDER_DEPTH:
            folders.clear()
        folders.sort()
        found += [Path(root) / name for name in names]
        if len(found) > MAX_FILES:
            raise FileRefusal(
                f"holds too many files (got more than {MAX_FILES:,})",
                where,
                "Name the folder of the series",
            )
    return [file for file in sorted(found) if file.is_file()]


def _of_file(file: Path, place: int) -> Source:
    """A file on disk."""
    return Source(place=place, n_bytes=file.stat().st_size, open=lambda: file.open("rb"))
