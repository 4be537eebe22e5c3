"""The person of a DICOM study: read for one purpose only, to write derived images of the same one.

Nothing else of the program asks for these tags, and they stand in no document, report or message.
"""

from __future__ import annotations

import io
import warnings
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from rimwright.errors import FileRefusal

if TYPE_CHECKING:
    from pydicom import Dataset

MOST_FILES = 20_000
"""More files than this in a folder or archive are not looked through for one person."""
HEAD_BYTES = 1 << 20
"""The tags of the person stand within this many bytes of the beginning of a file."""

_LAST_TAG = 0x0020_0010
"""Study ID: the last tag asked for; tags run upwards in a file."""
_PREAMBLE = 128
_META_BYTES = 1024
_DEFLATED = b"1.2.840.10008.1.2.1.99"
"""Transfer syntax that would have to be inflated whole, whatever its size, before a tag is seen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """
    Who a DICOM study is of, and which study; '' where the file does not say.

    Its text form shows nothing of it, so that no log or message can.

    Parameters
    ----------
    name
        As DICOM writes it, family^given.
    patient_id, birth_date, sex
        As in the file; dates are YYYYMMDD.
    study_uid, study_date, study_id, accession
        The study that derived images join.
    """

    name: str = field(default="", repr=False)
    patient_id: str = field(default="", repr=False)
    birth_date: str = field(default="", repr=False)
    sex: str = field(default="", repr=False)
    study_uid: str = field(default="", repr=False)
    study_date: str = field(default="", repr=False)
    study_id: str = field(default="", repr=False)
    accession: str = field(default="", repr=False)


def read_person(path: str | Path) -> Person:
    """
    Read whose images a DICOM file, folder or archive holds.

    Parameters
    ----------
    path
        A DICOM file, a folder of them, or a zip archive of them; what is no DICOM is passed over.

    Returns
    -------
    Person
        The one person and study of all of them.

    Raises
    ------
    FileRefusal
        No DICOM is found, or the files are of more than one person or study.

    Notes
    -----
    Every file is asked, by its first tags only: one slice of somebody else among four hundred
    would otherwise carry the wrong name.
    """
    path = Path(path)
    found: dict[Person, None] = {}
    try:
        for head in _heads(path):
            person = _person_of(head)
            if person is not None:
                found.setdefault(person)
    except (OSError, zipfile.BadZipFile) as error:
        raise FileRefusal(
            f"cannot be read ({type(error).__name__})", path.name, "Check the path and the rights"
        ) from None
    if not found:
        raise FileRefusal(
            "holds no DICOM image with a person in it",
            path.name,
            "Give the DICOM file, folder or archive the images came in",
        )
    persons = {(item.name, item.patient_id, item.birth_date) for item in found}
    if len(persons) > 1:
        raise FileRefusal(
            f"holds images of more than one person (got {len(persons)}, need 1)",
            path.name,
            "Give a folder with the images of one person",
        )
    studies = {item.study_uid for item in found}
    if len(studies) > 1:
        raise FileRefusal(
            f"holds more than one study (got {len(studies)}, need 1)",
            path.name,
            "Give a folder with the images of one study",
        )
    return next(iter(found))


def _heads(path: Path) -> Iterator[BinaryIO]:
    """The beginning of each file under a path, one after the other."""
    if path.is_dir():
        for place, item in enumerate(sorted(path.rglob("*"))):
            _count(place, path)
            if item.is_file():
                with item.open("rb") as stream:
                    yield io.BytesIO(stream.read(HEAD_BYTES))
        return
    if not path.is_file():
        raise FileRefusal("does not exist", path.name, "Check the path")
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


def _person_of(stream: BinaryIO) -> Person | None:
    """The person of one file; None where it is no DICOM image or is damaged before its tags."""
    from pydicom.filereader import read_partial

    head = stream.read(_META_BYTES)
    if head[_PREAMBLE : _PREAMBLE + 4] != b"DICM" or _DEFLATED in head:
        return None
    stream.seek(0)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            found = read_partial(stream, stop_when=lambda tag, _vr, _length: tag > _LAST_TAG)
            if found.get("StudyInstanceUID") is None:  # a DICOMDIR, a report without study
                return None
            return _person(found)
        except Exception:  # noqa: BLE001 - a damaged file is one that says nothing of a person
            return None


def _person(found: Dataset) -> Person:
    """The record from the tags."""

    def text(name: str) -> str:
        value: Any = found.get(name)
        return "" if value is None else str(value).strip()

    return Person(
        name=text("PatientName"),
        patient_id=text("PatientID"),
        birth_date=text("PatientBirthDate"),
        sex=text("PatientSex"),
        study_uid=text("StudyInstanceUID"),
        study_date=text("StudyDate"),
        study_id=text("StudyID"),
        accession=text("AccessionNumber"),
    )
