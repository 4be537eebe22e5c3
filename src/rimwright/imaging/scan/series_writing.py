"""Writes a CT volume as a DICOM series: one file for each slice, whole or not at all."""

from __future__ import annotations

import hashlib
import re
import secrets
import shutil
import uuid
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from rimwright.anatomy import Modality, Progress, Volume, no_progress
from rimwright.errors import FileRefusal
from rimwright.imaging.person import Person

if TYPE_CHECKING:
    from pydicom.dataset import FileDataset

INVENTED = Person(name="Example^Hip", patient_id="EXAMPLE", study_id="1")
"""Whose series it is where nobody is named: nobody's."""
MOST_SKEW = 1e-6
"""Cosine between two axes of a grid that a slice can still hold: rounding."""
SIGNED_16, UNSIGNED_12 = 16, 12
"""Ways to store a voxel, by bits: signed with intercept 0, unsigned with intercept −1024."""
UNSIGNED_INTERCEPT = -1024
LEAST_JPEG_2000 = 32
"""Shortest side of a slice that the encoder's five halvings need, pixels."""

_UID = re.compile(r"(0|[1-9][0-9]*)(\.(0|[1-9][0-9]*))+")
_CT_IMAGE = "1.2.840.10008.5.1.4.1.1.2"
_JPEG_2000 = "1.2.840.10008.1.2.4.90"
_PLAIN = {
    "1.2.840.10008.1.2": "implicit little endian",
    "1.2.840.10008.1.2.1": "explicit little endian",
    "1.2.840.10008.1.2.2": "explicit big endian",
}
_PACKED = {
    "1.2.840.10008.1.2.5": "RLE",
    "1.2.840.10008.1.2.4.80": "JPEG-LS, lossless",
    _JPEG_2000: "JPEG 2000, lossless",
}
TRANSFER_SYNTAXES = _PLAIN | _PACKED
"""What can be written: the UID of each transfer syntax, and its name in words."""
EXPLICIT_LITTLE_ENDIAN = "1.2.840.10008.1.2.1"


def write_ct_series(
    volume: Volume,
    folder: str | Path,
    *,
    person: Person | None = None,
    description: str = "",
    transfer_syntax: str = EXPLICIT_LITTLE_ENDIAN,
    bits_stored: int = SIGNED_16,
    progress: Progress | None = None,
) -> Path:
    """
    Write a CT volume as a series of CT images.

    Parameters
    ----------
    volume
        Modality CT, axes at right angles; the slices are those of constant k, i runs along their
        rows. A left-handed grid is written too: its slices then run against their normal.
    folder
        Made if it does not exist; it must be empty.
    person
        Whose images they are; None writes an invented one.
    description
        Series description.
    transfer_syntax
        A UID of `TRANSFER_SYNTAXES`.
    bits_stored
        16 for signed, 12 for unsigned with intercept −1024.
    progress
        Told the slices; may raise to cancel, and then nothing is left.

    Returns
    -------
    Path
        The folder, with files 0001.dcm, 0002.dcm and so on along k. Identifiers follow from voxels,
        place, person and description: the same call writes the same files.

    Raises
    ------
    FileRefusal
        The volume is no CT, its axes are not at right angles, its values do not fit, the transfer
        syntax cannot be written, or the folder is not empty or cannot be written.
    """
    tell = progress or no_progress
    folder = Path(folder).absolute()
    where = str(folder)
    stored = _stored(volume, bits_stored, where=where)
    _check_axes(volume, where=where)
    _check_syntax(transfer_syntax, min(volume.values.shape[:2]), where=where)
    series = _Series(volume, person or INVENTED, description, bits_stored)
    try:
        _check_empty(folder)
        folder.parent.mkdir(parents=True, exist_ok=True)
        partial = folder.parent / f".{folder.name}-{secrets.token_hex(4)}"
        partial.mkdir()
        try:
            n_slices = stored.shape[2]
            for k in range(n_slices):
                tell(k / n_slices, "writing the slices")
                image = series.image(k, transfer_syntax)
                _set_pixels(image, stored[:, :, k].T, transfer_syntax)
                _save(image, partial / f"{k + 1:04d}.dcm", transfer_syntax)
            _check_empty(folder)
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


def _check_empty(folder: Path) -> None:
    """Refuse a place where something stands already."""
    if folder.exists() and not (folder.is_dir() and next(folder.iterdir(), None) is None):
        raise FileRefusal(
            "something stands there already (need a new or empty folder)",
            str(folder),
            "Name another folder",
        )


def _check_syntax(transfer_syntax: str, least_side: int, *, where: str) -> None:
    """Refuse a transfer syntax that is not known or cannot hold slices so small."""
    if transfer_syntax not in TRANSFER_SYNTAXES:
        raise FileRefusal(
            f"transfer syntax {transfer_syntax} cannot be written",
            where,
            f"Choose one of: {', '.join(sorted(TRANSFER_SYNTAXES))}",
        )
    if transfer_syntax == _JPEG_2000 and least_side < LEAST_JPEG_2000:
        raise FileRefusal(
            f"slices are too small for JPEG 2000 (got {least_side} pixels, need {LEAST_JPEG_2000})",
            where,
            "Choose another transfer syntax",
        )


def _check_axes(volume: Volume, *, where: str) -> None:
    """Refuse axes that are not at right angles: slices cannot say so."""
    axes = volume.affine[:3, :3] / volume.spacing_mm
    skew = np.abs(axes.T @ axes - np.eye(3)).max()
    if skew > MOST_SKEW:
        degrees = np.degrees(np.arcsin(min(float(skew), 1.0)))
        raise FileRefusal(
            f"the axes of the voxels are not at right angles (got {degrees:.3g}° off, need 0)",
            where,
            "Resample the volume on a grid with right angles",
        )


def _stored(volume: Volume, bits_stored: int, *, where: str) -> npt.NDArray[Any]:
    """The numbers that stand in the files, or a refusal."""
    if volume.modality is not Modality.CT:
        raise FileRefusal(
            f"not a CT (got modality {volume.modality.value}, need CT)",
            where,
            "Give a volume of Hounsfield units",
        )
    if bits_stored == SIGNED_16:
        return volume.values
    if bits_stored != UNSIGNED_12:
        raise FileRefusal(
            f"{bits_stored} bits cannot be written (need {SIGNED_16} or {UNSIGNED_12})",
            where,
            f"Choose {SIGNED_16} bits",
        )
    low, high = int(volume.values.min()), int(volume.values.max())
    least, most = UNSIGNED_INTERCEPT, UNSIGNED_INTERCEPT + (1 << UNSIGNED_12) - 1
    if low < least or high > most:
        raise FileRefusal(
            f"values do not fit 12 bits (got {low} to {high} HU, need {least} to {most})",
            where,
            f"Choose {SIGNED_16} bits",
        )
    return (volume.values - np.int16(UNSIGNED_INTERCEPT)).astype(np.uint16)


class _Series:
    """What all slices of a series share."""

    def __init__(self, volume: Volume, person: Person, description: str, bits: int) -> None:
        self.affine = volume.affine
        self.spacing_mm = volume.spacing_mm
        self.size = volume.values.shape
        self.person = person
        self.description = description
        self.bits = bits
        digest = hashlib.sha256(np.asarray(volume.values.T, order="C").data)
        digest.update(volume.affine.tobytes())
        whose = (person.name, person.patient_id, person.study_uid, description, str(bits))
        digest.update("\0".join(whose).encode())
        self.seed = digest.digest()
        is_uid = len(volume.frame_id) <= 64 and _UID.fullmatch(volume.frame_id)
        self.frame_uid = volume.frame_id if is_uid else self._uid(f"frame {volume.frame_id}")
        self.series_uid = self._uid("series")
        self.study_uid = person.study_uid or self._uid("study")

    def _uid(self, part: str) -> str:
        """An identifier under the root of random UUIDs, made from the digest instead of chance."""
        name = hashlib.sha256(self.seed + part.encode()).digest()[:16]
        return f"2.25.{uuid.UUID(bytes=name, version=5).int}"

    def image(self, k: int, transfer_syntax: str) -> FileDataset:
        """Slice k without its pixels."""
        from pydicom.dataset import FileDataset, FileMetaDataset
        from pydicom.uid import PYDICOM_IMPLEMENTATION_UID, UID
        from pydicom.valuerep import DS

        def decimals(numbers: Any) -> list[Any]:
            return [DS(float(number), auto_format=True) for number in numbers]

        meta = FileMetaDataset()
        meta.MediaStorageSOPClassUID = UID(_CT_IMAGE)
        meta.MediaStorageSOPInstanceUID = UID(self._uid(f"slice {k}"))
        meta.TransferSyntaxUID = UID(transfer_syntax)
        meta.ImplementationClassUID = PYDICOM_IMPLEMENTATION_UID
        image = FileDataset("", {}, file_meta=meta, preamble=b"\0" * 128)
        person = self.person
        image.SpecificCharacterSet = "ISO_IR 192"
        image.PatientName = person.name
        image.PatientID = person.patient_id
        image.PatientBirthDate = person.birth_date
        image.PatientSex = person.sex
        image.StudyInstanceUID = self.study_uid
        image.StudyDate = person.study_date
        image.StudyTime = ""
        image.StudyID = person.study_id
        image.AccessionNumber = person.accession
        image.ReferringPhysicianName = ""
        image.Modality = "CT"
        image.SeriesInstanceUID = self.series_uid
        image.SeriesNumber = 1
        image.PatientPosition = ""
        if self.description:
            image.SeriesDescription = self.description
        image.FrameOfReferenceUID = self.frame_uid
        image.PositionReferenceIndicator = ""
        image.Manufacturer = ""
        image.SOPClassUID = _CT_IMAGE
        image.SOPInstanceUID = meta.MediaStorageSOPInstanceUID
        image.InstanceNumber = k + 1
        image.AcquisitionNumber = None
        image.KVP = None
        # Derived, not original: no scanner measured these numbers as they stand.
        image.ImageType = ["DERIVED", "SECONDARY", "AXIAL"]
        axes = self.affine[:3, :3] / self.spacing_mm
        image.ImageOrientationPatient = decimals([*axes[:, 0], *axes[:, 1]])
        image.ImagePositionPatient = decimals(self.affine[:3, 2] * k + self.affine[:3, 3])
        image.PixelSpacing = decimals([self.spacing_mm[1], self.spacing_mm[0]])
        image.SliceThickness = decimals([self.spacing_mm[2]])[0]
        image.Columns, image.Rows = int(self.size[0]), int(self.size[1])
        image.SamplesPerPixel = 1
        image.PhotometricInterpretation = "MONOCHROME2"
        image.BitsAllocated = 16
        image.BitsStored = self.bits
        image.HighBit = self.bits - 1
        image.PixelRepresentation = 1 if self.bits == SIGNED_16 else 0
        image.RescaleSlope = 1
        image.RescaleIntercept = 0 if self.bits == SIGNED_16 else UNSIGNED_INTERCEPT
        image.RescaleType = "HU"
        return image


def _set_pixels(image: FileDataset, rows: npt.NDArray[Any], transfer_syntax: str) -> None:
    """Put the pixels of one slice in, (rows, columns)."""
    rows = np.ascontiguousarray(rows)
    if transfer_syntax in _PACKED:
        image.compress(transfer_syntax, rows, generate_instance_uid=False)
        return
    is_big = _PLAIN[transfer_syntax] == "explicit big endian"
    order = rows.dtype.newbyteorder(">" if is_big else "<")
    image.PixelData = rows.astype(order, copy=False).tobytes()
    image["PixelData"].VR = "OW"


def _save(image: FileDataset, path: Path, transfer_syntax: str) -> None:
    """Write one file."""
    from pydicom import dcmwrite

    name = TRANSFER_SYNTAXES[transfer_syntax]
    dcmwrite(
        path,
        image,
        implicit_vr=name.startswith("implicit"),
        little_endian=name != "explicit big endian",
        enforce_file_format=True,
    )
