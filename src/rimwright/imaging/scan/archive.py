"""Zip archives, read without unpacking them to disk; tricks in them are refused."""

from __future__ import annotations

import stat
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import BinaryIO, cast

from rimwright.errors import FileRefusal
from rimwright.imaging.scan.damage import DAMAGE
from rimwright.imaging.scan.limits import (
    MAX_ARCHIVE_BYTES,
    MAX_ARCHIVE_RATIO,
    MAX_FILES,
    MAX_MEMBER_BYTES,
    RATIO_FREE_BYTES,
)

ZIP_MARKS = {b"PK\x03\x04", b"PK\x05\x06", b"PK\x07\x08"}
_PACK_AGAIN = "Pack the folder of the series again, as a plain zip"
_ENCRYPTED = 0x1
_LINK_HOLDER = 3
"""Number of the system whose file modes stand in an entry: Unix."""
_KNOWN_WAYS = {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}
Opener = Callable[[], BinaryIO]


@contextmanager
def open_archive(path: Path, where: str) -> Iterator[list[tuple[int, Opener]]]:
    """
    Open an archive and check all that it says of itself.

    Parameters
    ----------
    path
        A zip archive.
    where
        What to call it.

    Yields
    ------
    list[tuple[int, Opener]]
        Size as unpacked and opener of each member that is a file, in the order of their names.

    Raises
    ------
    FileRefusal
        Damaged, encrypted, with a path that leads out of it, with an archive in it, or unpacking
        out of proportion.
    """
    try:
        archive = zipfile.ZipFile(path)
        members = archive.infolist()
    except DAMAGE:
        raise FileRefusal("damaged or cut short as a zip archive", where, _PACK_AGAIN) from None
    with archive:
        _check_together(members, path.stat().st_size, where)
        for member in members:
            _check(member, where)
        files = sorted((m for m in members if not m.is_dir()), key=lambda m: m.filename)
        for member in files:
            _check_not_nested(archive, member, where)
        yield [(m.file_size, cast("Opener", partial(archive.open, m))) for m in files]


def _check_together(members: list[zipfile.ZipInfo], n_bytes: int, where: str) -> None:
    """Refuse too many members, too much in them, and members that share their bytes."""
    if len(members) > MAX_FILES:
        raise FileRefusal(
            f"holds too many files (got {len(members):,}, need at most {MAX_FILES:,})",
            where,
            "Pack the folder of the series alone",
        )
    unpacked = sum(member.file_size for member in members)
    if unpacked > MAX_ARCHIVE_BYTES:
        raise FileRefusal(
            f"unpacks to too much (got {unpacked:,} bytes, need at most {MAX_ARCHIVE_BYTES:,})",
            where,
            "Pack the folder of the series alone",
        )
    if sum(member.compress_size for member in members) > n_bytes:
        raise FileRefusal("its members overlap: a trick", where, _PACK_AGAIN)


def _check(member: zipfile.ZipInfo, where: str) -> None:
    """Refuse a member that is encrypted, leads out of the archive, or unpacks to too much."""
    name = member.orig_filename
    windows = PureWindowsPath(name)
    is_absolute = PurePosixPath(name).is_absolute() or windows.drive or windows.root
    if is_absolute or ".." in windows.parts or "\0" in name:
        raise FileRefusal("holds a path that leads out of the archive", where, _PACK_AGAIN)
    if member.create_system == _LINK_HOLDER and stat.S_ISLNK(member.external_attr >> 16):
        raise FileRefusal("holds a link", where, _PACK_AGAIN)
    if member.flag_bits & _ENCRYPTED:
        raise FileRefusal("encrypted", where, "Unpack it with its password first")
    if member.compress_type not in _KNOWN_WAYS:
        raise FileRefusal("packed in a way that is not read", where, _PACK_AGAIN)
    allowed = max(RATIO_FREE_BYTES, MAX_ARCHIVE_RATIO * member.compress_size)
    if member.file_size > min(allowed, MAX_MEMBER_BYTES):
        raise FileRefusal(
            f"unpacks out of proportion (got {member.file_size:,} bytes from "
            f"{member.compress_size:,}, need at most {MAX_ARCHIVE_RATIO} for each)",
            where,
            _PACK_AGAIN,
        )


def _check_not_nested(archive: zipfile.ZipFile, member: zipfile.ZipInfo, where: str) -> None:
    """Refuse an archive in the archive."""
    try:
        with archive.open(member) as file:
            head = file.read(4)
    except DAMAGE:
        raise FileRefusal("damaged or cut short as a zip archive", where, _PACK_AGAIN) from None
    if head in ZIP_MARKS or head[:2] == b"\x1f\x8b":
        raise FileRefusal("holds an archive in the archive", where, "Unpack the outer one first")
