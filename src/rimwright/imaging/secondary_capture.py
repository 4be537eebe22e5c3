"""Writes pictures as DICOM secondary captures: derived, of the same person and study.

Every file says that it is derived and from what, of which side it is, and that words are burned
into its pixels where they are. Nothing in it claims to be an image of a scanner.
"""

from __future__ import annotations

import hashlib
import secrets
import shutil
import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from rimwright.anatomy import Progress, Side, Vector, frozen_floats, no_progress
from rimwright.errors import FileRefusal
from rimwright.imaging.person import Person, SourceImage

if TYPE_CHECKING:
    from pydicom.dataset import FileDataset

SECONDARY_CAPTURE = "1.2.840.10008.5.1.4.1.1.7"
EXPLICIT_LITTLE_ENDIAN = "1.2.840.10008.1.2.1"
MOST_DESCRIPTION = 1024
"""A derivation description longer than this is no short text of DICOM any more."""
MOST_NAME = 64
"""Longest series description of DICOM, letters."""
LEAST_TOWARDS = 0.3
"""A direction less than this (cosine) along an axis of the body does not name it."""
_BODY = (("L", "R"), ("P", "A"), ("H", "F"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CapturePicture:
    """
    One picture to be written.

    Parameters
    ----------
    pixels
        (h, w) uint8 or uint16 in greys, or (h, w, 3) uint8 in colour.
    comment
        What it shows, in words: kind and hours.
    words_burned_in
        Whether words stand in its pixels.
    pixel_mm
        Side of a pixel, mm, so that lengths can be measured on it; None where it is no one plane.
    right, down
        Unit directions of its rows and columns, image frame (LPS); None as above.
    """

    pixels: npt.NDArray[Any]
    comment: str
    words_burned_in: bool
    pixel_mm: float | None = None
    right: Vector | None = None
    down: Vector | None = None

    def __post_init__(self) -> None:
        grey = self.pixels.ndim == 2 and self.pixels.dtype in (np.uint8, np.uint16)
        colour = (
            self.pixels.ndim == 3 and self.pixels.shape[2] == 3 and self.pixels.dtype == np.uint8
        )
        if not (grey or colour) or min(self.pixels.shape) < 1 or max(self.pixels.shape) > 65535:
            raise ValueError(
                f"pixels: shape {self.pixels.shape}, {self.pixels.dtype}; need (h, w) uint8 or "
                "uint16, or (h, w, 3) uint8"
            )
        for name in ("right", "down"):
            value = getattr(self, name)
            if value is not None:
                object.__setattr__(self, name, frozen_floats(value, shape=(3,), name=name))


def write_secondary_capture(
    pictures: Sequence[CapturePicture],
    *,
    person: Person,
    folder: str | Path,
    side: Side,
    description: str,
    derivation: str,
    series_number: int = 9001,
    sources: Sequence[SourceImage] = (),
    progress: Progress | None = None,
) -> Path:
    """
    Write pictures as one new series in the study of a person, a file for each.

    Parameters
    ----------
    pictures
        At least one.
    person
        Of the images they were derived from, with its study.
    folder
        Made if it does not exist; it must be empty.
    side
        Side of the hip.
    description
        Series description.
    derivation
        How the pictures were made.
    series_number
        Number of the new series in its study.
    sources
        Images they were derived from, where known.
    progress
        Told the files; may raise to cancel, and then nothing is left.

    Returns
    -------
    Path
        The folder, with files 0001.dcm and so on. Identifiers follow from pixels, person and
        words: the same call writes the same files.

    Raises
    ------
    FileRefusal
        The study is not known, the folder is not empty or cannot be written.

    Notes
    -----
    One file for each picture, because every viewer reads such files; a multi-frame capture is
    read by fewer.
    """
    tell = progress or no_progress
    folder = Path(folder).absolute()
    where = str(folder)
    if not pictures:
        raise ValueError("pictures: at least one is needed")
    if not person.study_uid:
        raise FileRefusal(
            "the study the pictures belong to is not known",
            "secondary capture",
            "Give DICOM images: other files name no person to write pictures of",
        )
    series = _Series(
        pictures,
        person=person,
        side=side,
        description=description[:MOST_NAME],
        derivation=derivation[:MOST_DESCRIPTION],
        number=series_number,
        sources=tuple(sources),
    )
    try:
        check_vacant(folder)
        folder.parent.mkdir(parents=True, exist_ok=True)
        partial = folder.parent / f".{folder.name}-{secrets.token_hex(4)}"
        partial.mkdir()
        try:
            for place, picture in enumerate(pictures):
                tell(place / len(pictures), "writing secondary captures")
                _save(series.image(place, picture), partial / f"{place + 1:04d}.dcm")
            check_vacant(folder)
            if folder.exists():
                folder.rmdir()
            partial.rename(folder)
        finally:
            shutil.rmtree(partial, ignore_errors=True)
    except OSError as error:
        raise FileRefusal(
            f"cannot be written ({error.strerror or type(error).__name__})",
            where,
            "Choose a folder that can be written and has room",
        ) from None
    return folder


def check_vacant(folder: Path) -> None:
    """
    Refuse a place where something stands already: nothing is ever overwritten.

    Parameters
    ----------
    folder
        It may be missing or an empty folder.

    Raises
    ------
    FileRefusal
        It is neither.
    """
    if folder.exists() and not (folder.is_dir() and next(folder.iterdir(), None) is None):
        raise FileRefusal(
            "something stands there already (need a new or empty folder)",
            str(folder),
            "Name another folder",
        )


def body_letters(direction: Vector) -> str:
    """
    Where a direction runs, in DICOM's letters.

    Parameters
    ----------
    direction
        Unit, image frame (LPS).

    Returns
    -------
    str
        The nearest first: 'H', 'LA' and the like.
    """
    order = sorted(range(3), key=lambda axis: -abs(direction[axis]))
    return "".join(
        _BODY[axis][0 if direction[axis] > 0.0 else 1]
        for axis in order
        if abs(direction[axis]) >= LEAST_TOWARDS
    )


class _Series:
    """What all pictures of a series share."""

    def __init__(
        self,
        pictures: Sequence[CapturePicture],
        *,
        person: Person,
        side: Side,
        description: str,
        derivation: str,
        number: int,
        sources: tuple[SourceImage, ...],
    ) -> None:
        self.person, self.side, self.number = person, side, number
        self.description, self.derivation, self.sources = description, derivation, sources
        digest = hashlib.sha256()
        for picture in pictures:
            digest.update(f"{picture.pixels.shape} {picture.pixels.dtype}\0".encode())
            digest.update(np.ascontiguousarray(picture.pixels).tobytes())
            digest.update(picture.comment.encode())
        whose = (person.study_uid, person.patient_id, side, description, derivation, str(number))
        digest.update("\0".join(whose).encode())
        self.seed = digest.digest()
        self.series_uid = self._uid("series")

    def _uid(self, part: str) -> str:
        """An identifier under the root of random UUIDs, made from the digest instead of chance."""
        name = hashlib.sha256(self.seed + part.encode()).digest()[:16]
        return f"2.25.{uuid.UUID(bytes=name, version=5).int}"

    def image(self, place: int, picture: CapturePicture) -> FileDataset:
        """One picture with its pixels."""
        from pydicom.dataset import FileDataset, FileMetaDataset
        from pydicom.uid import PYDICOM_IMPLEMENTATION_UID, UID

        meta = FileMetaDataset()
        meta.MediaStorageSOPClassUID = UID(SECONDARY_CAPTURE)
        meta.MediaStorageSOPInstanceUID = UID(self._uid(f"picture {place}"))
        meta.TransferSyntaxUID = UID(EXPLICIT_LITTLE_ENDIAN)
        meta.ImplementationClassUID = PYDICOM_IMPLEMENTATION_UID
        image = FileDataset("", {}, file_meta=meta, preamble=b"\0" * 128)
        image.SpecificCharacterSet = "ISO_IR 192"
        self._set_person(image)
        image.Modality = "OT"
        image.ConversionType = "WSD"
        image.SeriesInstanceUID = self.series_uid
        image.SeriesNumber = self.number
        image.SeriesDescription = self.description
        image.Laterality = "L" if self.side is Side.LEFT else "R"
        image.BodyPartExamined = "HIP"
        image.Manufacturer = ""
        image.SOPClassUID = SECONDARY_CAPTURE
        image.SOPInstanceUID = meta.MediaStorageSOPInstanceUID
        image.InstanceNumber = place + 1
        image.ImageType = ["DERIVED", "SECONDARY"]
        image.DerivationDescription = self.derivation
        image.ImageComments = picture.comment
        image.BurnedInAnnotation = "YES" if picture.words_burned_in else "NO"
        image.PatientOrientation = ""
        if picture.right is not None and picture.down is not None:
            image.PatientOrientation = [body_letters(picture.right), body_letters(picture.down)]
        self._set_sources(image)
        _set_scale(image, picture)
        _set_pixels(image, picture.pixels)
        return image

    def _set_person(self, image: FileDataset) -> None:
        """Person and study, as the source has them."""
        person = self.person
        image.PatientName = person.name
        image.PatientID = person.patient_id
        image.PatientBirthDate = person.birth_date
        image.PatientSex = person.sex
        image.StudyInstanceUID = person.study_uid
        image.StudyDate = person.study_date
        image.StudyTime = ""
        image.StudyID = person.study_id
        image.AccessionNumber = person.accession
        image.ReferringPhysicianName = ""

    def _set_sources(self, image: FileDataset) -> None:
        """The images the pictures were derived from."""
        if not self.sources:
            return
        from pydicom.dataset import Dataset

        items = []
        for source in self.sources:
            item = Dataset()
            item.ReferencedSOPClassUID = source.class_uid
            item.ReferencedSOPInstanceUID = source.instance_uid
            items.append(item)
        image.SourceImageSequence = items


def _set_scale(image: FileDataset, picture: CapturePicture) -> None:
    """Millimetres of a pixel, where the picture is one plane."""
    if picture.pixel_mm is None:
        return
    from pydicom.valuerep import DS

    step = DS(float(picture.pixel_mm), auto_format=True)
    image.PixelSpacing = [step, step]
    image.PixelSpacingCalibrationType = "GEOMETRY"
    image.PixelSpacingCalibrationDescription = "computed plane: one spacing all over"


def _set_pixels(image: FileDataset, pixels: npt.NDArray[Any]) -> None:
    """Size, greys or colours, and the pixels themselves."""
    image.Rows, image.Columns = int(pixels.shape[0]), int(pixels.shape[1])
    bits = 8 * pixels.dtype.itemsize
    is_colour = pixels.ndim == 3
    image.SamplesPerPixel = 3 if is_colour else 1
    image.PhotometricInterpretation = "RGB" if is_colour else "MONOCHROME2"
    if is_colour:
        image.PlanarConfiguration = 0
    image.BitsAllocated = image.BitsStored = bits
    image.HighBit = bits - 1
    image.PixelRepresentation = 0
    data = np.ascontiguousarray(pixels, dtype=pixels.dtype.newbyteorder("<")).tobytes()
    image.PixelData = data + b"\0" * (len(data) % 2)
    image["PixelData"].VR = "OW" if bits == 16 else "OB"


def _save(image: FileDataset, path: Path) -> None:
    """Write one file."""
    from pydicom import dcmwrite

    dcmwrite(path, image, implicit_vr=False, little_endian=True, enforce_file_format=True)
