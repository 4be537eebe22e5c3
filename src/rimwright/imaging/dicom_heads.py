"""The first tags of every DICOM file under a path: who, which study and which image, no pixels."""

from __future__ import annotations

import hashlib
import io
import warnings
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from rimwright.errors import FileRefusal

if TYPE_CHECKING:
    from pydicom import Dataset

MOST_FILES = 20_000
"""More files than this in a folder or archive are not looked through."""
HEAD_BYTES = 1 << 20
"""The tags asked for stand within this many bytes of the beginning of a file."""

_LAST_TAG = 0x0020_0010
"""Study ID: the last tag asked for; tags run upwards in a file."""
_PREAMBLE = 128
_META_BYTES = 1024
_DEFLATED = b"1.2.840.10008.1.2.1.99"
"""Transfer syntax that would have to be inflated whole, whatever its size, before a tag is seen."""


def dicom_heads(path: Path, *, series_key: str | None = None) -> Iterator[Dataset]:
    """
    The first tags of each DICOM image under a path; what is no DICOM is passed over.

    Parameters
    ----------
    path
        A file, a folder, or a zip archive.
    series_key
        Key of the one series asked for, as the readers list it; None for all.

    Yields
    ------
    Dataset
        Tags up to the study's, in the order of the file names.

    Raises
    ------
    FileRefusal
        The path cannot be read, or holds too many files.
    """
    wanted = None if series_key is None else series_key.partition("-")[0]
    try:
        for stream in _beginnings(path):
            head = _head_of(stream)
            if head is not None and (wanted is None or _key_begins(head, wanted)):
                yield head
    except (OSError, zipfile.BadZipFile, NotImplementedError) as error:
        raise FileRefusal(
            f"cannot be read ({type(error).__name__})", path.name, "Check the path and the rights"
        ) from None


def text_of(head: Dataset, name: str) -> str:
    """
    A tag as text.

    Parameters
    ----------
    head
        First tags of a file.
    name
        Keyword of the tag.

    Returns
    -------
    str
        '' where the file does not say.
    """
    value: Any = head.get(name)
    return "" if value is None else str(value).strip()


def _key_begins(head: Dataset, wanted: str) -> bool:
    """Whether a file is of the series with this key: the readers' short hash of its identifier."""
    uid = text_of(head, "SeriesInstanceUID")
    return bool(wanted) and hashlib.sha256(uid.encode("utf-8")).hexdigest().startswith(wanted)


def _beginnings(path: Path) -> Iterator[BinaryIO]:
    """The beginning of each file under a path, one after the other."""
    if path.is_dir():
        for place, item in enumerate(sorted(path.rglob("*"))):
            _count(place, path)
            if item.is_file():
                with item.open("rb") as stream:
                    yield io.BytesIO(stream.read(HEAD_BYTES))
        return
    if not path.is_file():
        raise FileRefusal("no such file or folder", path.name, "Check the path")
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as archive:
            for place, member in enumerate(archive.infolist()):
                _count(place, path)
                if member.is_dir() or member.flag_bits & 1:
                    continue
                with archive.open(member) as stream:
                    yield io.BytesIO(stream.read(HEAD_BYTES))
        return
    with path.open("rb") as stream:
        yield io.BytesIO(stream.read(HEAD_BYTES))


def _count(place: int, path: Path) -> None:
    """Refuse to look through more files than any study has."""
    if place >= MOST_FILES:
        raise FileRefusal(
            f"holds too many files (need {MOST_FILES:,} at most)",
            path.name,
            "Give a folder with the images of one study",
        )


def _head_of(stream: BinaryIO) -> Dataset | None:
    """The first tags of one file; None where it is no DICOM image or is damaged before them."""
    from pydicom.filereader import read_partial

    begin = stream.read(_META_BYTES)
    if begin[_PREAMBLE : _PREAMBLE + 4] != b"DICM" or _DEFLATED in begin:
        return None
    stream.seek(0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            found = read_partial(stream, stop_when=lambda tag, _vr, _length: tag > _LAST_TAG)
            names = [element.keyword for element in found]  # decodes what may be damaged
        except Exception:  # noqa: BLE001 - a damaged file is one that says nothing
            return None
    return found if "StudyInstanceUID" in names else None  # a DICOMDIR has none
