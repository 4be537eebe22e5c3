"""The first tags of every DICOM file under a path: who, which study and which image, no pixels.

Files are found, opened and unpacked by the readers of scans, whose own eyes are kept off a person.
"""

from __future__ import annotations

import hashlib
import io
import warnings
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rimwright.imaging.scan.damage import DAMAGE, Unfit
from rimwright.imaging.scan.dicom_header import (
    EXPLICIT_BIG,
    IMPLICIT_LITTLE,
    DicomHeader,
    read_header,
)
from rimwright.imaging.scan.dicomdir import DICOMDIR_NAME, listed_sources
from rimwright.imaging.scan.sources import Source, check_path, open_sources

if TYPE_CHECKING:
    from pydicom import Dataset

HEAD_BYTES = 1 << 20
"""The tags asked for stand within this many bytes of the beginning of a file."""

_LAST_TAG = 0x0020_0010
"""Study ID: the last tag asked for; tags run upwards in a file."""


def dicom_heads(path: Path, *, series_key: str | None = None) -> Iterator[Dataset]:
    """
    The first tags of each DICOM image under a path; what is no DICOM is passed over.

    Parameters
    ----------
    path
        A file, a DICOMDIR, a folder, or a zip archive.
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
    where = check_path(path)
    with open_sources(path) as sources:
        listed: Sequence[Source] = sources
        if path.is_file() and path.name.upper() == DICOMDIR_NAME:
            listed = listed_sources(path, where)
        for source in listed:
            head = _head_of(source)
            if head is not None and (wanted is None or _key_begins(head, wanted)):
                yield head


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


def _head_of(source: Source) -> Dataset | None:
    """The first tags of one file; None where it is no DICOM image or is damaged before them."""
    try:
        header = read_header(source)
        found = None if header is None else _read(header)
    except (Unfit, *DAMAGE):  # a damaged file is one that says nothing
        return None
    # A DICOMDIR is of no study.
    return found if found is not None and text_of(found, "StudyInstanceUID") else None


def _read(header: DicomHeader) -> Dataset:
    """The tags up to the study's, decoded while damage can still be caught."""
    from pydicom.filereader import read_dataset

    with header.source.open() as file:
        begin = io.BytesIO(bytes(header.data_set(file).read(HEAD_BYTES)))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = read_dataset(
            begin,
            header.syntax == IMPLICIT_LITTLE,
            header.syntax != EXPLICIT_BIG,
            stop_when=lambda tag, _vr, _length: tag > _LAST_TAG,
        )
        for element in found:
            str(element.value)
    return found
