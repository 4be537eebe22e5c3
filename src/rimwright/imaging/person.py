"""The person of a DICOM study: read for one purpose only, to write derived images of the same one.

Nothing else of the program asks for these tags, and they stand in no document, report or message.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from rimwright.errors import FileRefusal
from rimwright.imaging.dicom_heads import dicom_heads, text_of


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


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceImage:
    """
    An image that pictures were derived from.

    Parameters
    ----------
    class_uid, instance_uid
        Its SOP class and instance.
    """

    class_uid: str
    instance_uid: str


def read_person(path: str | Path, *, series_key: str | None = None) -> Person:
    """
    Read whose images a DICOM file, folder or archive holds.

    Parameters
    ----------
    path
        A DICOM file, a folder of them, or a zip archive of them; what is no DICOM is passed over.
    series_key
        Key of the one series that is asked about, as the readers list it; None for all.

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
    for head in dicom_heads(path, series_key=series_key):
        person = Person(
            name=text_of(head, "PatientName"),
            patient_id=text_of(head, "PatientID"),
            birth_date=text_of(head, "PatientBirthDate"),
            sex=text_of(head, "PatientSex"),
            study_uid=text_of(head, "StudyInstanceUID"),
            study_date=text_of(head, "StudyDate"),
            study_id=text_of(head, "StudyID"),
            accession=text_of(head, "AccessionNumber"),
        )
        found.setdefault(person)
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


def read_source_images(
    path: str | Path, *, series_key: str | None = None
) -> tuple[SourceImage, ...]:
    """
    Read which images a DICOM file, folder or archive holds, to name them as sources.

    Parameters
    ----------
    path, series_key
        As for `read_person`.

    Returns
    -------
    tuple of SourceImage
        In the order of the file names, each once; images without an identifier are left out.

    Raises
    ------
    FileRefusal
        The path cannot be read.
    """
    found = dict.fromkeys(
        SourceImage(
            class_uid=text_of(head, "SOPClassUID"), instance_uid=text_of(head, "SOPInstanceUID")
        )
        for head in dicom_heads(Path(path), series_key=series_key)
    )
    return tuple(image for image in found if image.class_uid and image.instance_uid)
