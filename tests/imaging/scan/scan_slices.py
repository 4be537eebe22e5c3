"""Series of slices written by pydicom alone, with marked words in every tag of the person."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path

import gdcm
import numpy as np
from numpy.typing import NDArray
from pydicom import dcmread
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.sequence import Sequence as Items
from pydicom.uid import (
    UID,
    CTImageStorage,
    DeflatedExplicitVRLittleEndian,
    EnhancedCTImageStorage,
    ExplicitVRBigEndian,
    ExplicitVRLittleEndian,
    ImplicitVRLittleEndian,
    JPEG2000Lossless,
    JPEGLossless,
    JPEGLosslessSV1,
    JPEGLSLossless,
    MRImageStorage,
    RLELossless,
)

ROOT = "1.2.826.0.1.3680043.8.498."
SECRET = "Secret"
SYNTAXES = {
    "implicit": ImplicitVRLittleEndian,
    "explicit": ExplicitVRLittleEndian,
    "big-endian": ExplicitVRBigEndian,
    "deflated": DeflatedExplicitVRLittleEndian,
    "RLE": RLELossless,
    "JPEG lossless": JPEGLossless,
    "JPEG lossless SV1": JPEGLosslessSV1,
    "JPEG-LS": JPEGLSLossless,
    "JPEG 2000": JPEG2000Lossless,
}
_ENCODERS = {RLELossless: "pylibjpeg", JPEGLSLossless: "pyjpegls", JPEG2000Lossless: "pylibjpeg"}
_GDCM = {
    JPEGLossless: gdcm.TransferSyntax.JPEGLosslessProcess14,
    JPEGLosslessSV1: gdcm.TransferSyntax.JPEGLosslessProcess14_1,
}
N_SLICES, ROWS, COLUMNS = 8, 41, 37
SPACING = (0.7, 0.8)
"""Along a row and along a column, mm."""


def block(seed: int = 1, *, n: int = N_SLICES, low: int = -1024, high: int = 3000) -> NDArray:
    """Values (nk, nj, ni), HU, with air and bone in them."""
    rng = np.random.default_rng(seed)
    return rng.integers(low, high, (n, ROWS, COLUMNS)).astype(np.int32)


def uid(number: int) -> UID:
    """An identifier of our own."""
    return UID(f"{ROOT}{number}")


def slices(
    values: NDArray,
    *,
    origin: Sequence[float] = (-30.0, -40.0, 100.0),
    row: Sequence[float] = (1.0, 0.0, 0.0),
    column: Sequence[float] = (0.0, 1.0, 0.0),
    step: Sequence[float] = (0.0, 0.0, 1.5),
    series: int = 7,
    storage: UID = CTImageStorage,
    slope: float = 1.0,
    intercept: float = -1024.0,
    signed: bool = False,
    bits: int = 16,
    description: str = "thin hips",
) -> list[Dataset]:
    """One data set for each slice of values (nk, nj, ni); pixels hold (value − intercept)/slope."""
    made = []
    for k, plane in enumerate(values):
        ds = Dataset()
        mark_person(ds)
        ds.SOPClassUID = storage
        ds.SOPInstanceUID = uid(series * 1000 + k)
        ds.SeriesInstanceUID = uid(series)
        ds.FrameOfReferenceUID = uid(99)
        ds.Modality = "MR" if storage == MRImageStorage else "CT"
        ds.SeriesDescription = description
        ds.ImageType = ["ORIGINAL", "PRIMARY", "AXIAL"]
        ds.InstanceNumber = len(values) - k
        ds.SliceThickness = float(np.linalg.norm(step))
        ds.ImagePositionPatient = (np.array(origin) + k * np.array(step)).round(6).tolist()
        ds.ImageOrientationPatient = [*row, *column]
        ds.PixelSpacing = [SPACING[1], SPACING[0]]
        ds.Rows, ds.Columns = plane.shape
        ds.SamplesPerPixel = 1
        ds.PhotometricInterpretation = "MONOCHROME2"
        ds.BitsAllocated, ds.BitsStored, ds.HighBit = 16, bits, bits - 1
        ds.PixelRepresentation = int(signed)
        ds.RescaleSlope, ds.RescaleIntercept = slope, intercept
        set_pixels(ds, np.rint((plane - intercept) / slope))
        made.append(ds)
    return made


def set_pixels(ds: Dataset, stored: NDArray) -> None:
    """Give a data set stored numbers, little-endian."""
    ds.PixelData = stored.astype("<i2" if ds.PixelRepresentation else "<u2").tobytes()


def mark_person(ds: Dataset) -> None:
    """Put a marked word into every tag that says who, where or when."""
    ds.PatientName = f"{SECRET}^Hip"
    for name in (
        "PatientID", "InstitutionName", "ReferringPhysicianName", "OperatorsName", "StationName",
        "AccessionNumber", "StudyID", "OtherPatientNames", "StudyDescription", "PatientComments",
        "InstitutionAddress", "PerformingPhysicianName", "DeviceSerialNumber", "ProtocolName",
        "EthnicGroup", "Occupation", "ImageComments",
    ):  # fmt: skip
        setattr(ds, name, f"{SECRET}{name}"[:16])
    ds.PatientBirthDate, ds.StudyDate, ds.SeriesDate = "19010203", "19020304", "19030405"
    ds.StudyTime = "010203"
    ds.StudyInstanceUID = uid(4242)


def affine_of(
    *,
    origin: Sequence[float] = (-30.0, -40.0, 100.0),
    row: Sequence[float] = (1.0, 0.0, 0.0),
    column: Sequence[float] = (0.0, 1.0, 0.0),
    step: Sequence[float] = (0.0, 0.0, 1.5),
) -> NDArray:
    """The map that `slices` of these arguments has, by the definition of the tags."""
    affine = np.eye(4)
    affine[:3, 0] = np.array(row) * SPACING[0]
    affine[:3, 1] = np.array(column) * SPACING[1]
    affine[:3, 2] = step
    affine[:3, 3] = origin
    return affine


def save(ds: Dataset, path: Path, syntax: UID = ExplicitVRLittleEndian) -> Path:
    """Write one data set in a transfer syntax."""
    ds.file_meta = FileMetaDataset()
    ds.file_meta.MediaStorageSOPClassUID = ds.SOPClassUID
    ds.file_meta.MediaStorageSOPInstanceUID = ds.SOPInstanceUID
    ds.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    ds["PixelData"].VR = "OW"
    if syntax in _ENCODERS:
        ds.compress(syntax, encoding_plugin=_ENCODERS[syntax], generate_instance_uid=False)
    elif syntax == ExplicitVRBigEndian:
        ds.file_meta.TransferSyntaxUID = syntax
        ds.PixelData = np.frombuffer(ds.PixelData, "<u2").astype(">u2").tobytes()
    elif syntax not in _GDCM:
        ds.file_meta.TransferSyntaxUID = syntax
    ds.save_as(path, enforce_file_format=True)
    if syntax in _GDCM:
        _change_syntax(path, _GDCM[syntax])
        assert dcmread(path).file_meta.TransferSyntaxUID == syntax
    return path


def write_series(
    datasets: Sequence[Dataset],
    folder: Path,
    *,
    syntax: UID = ExplicitVRLittleEndian,
    name: Callable[[int], str] = lambda k: f"image{(k * 5) % 97:02d}.dcm",
) -> Path:
    """Write a folder of slices whose names say nothing of their order."""
    folder.mkdir(parents=True, exist_ok=True)
    for k, ds in enumerate(datasets):
        save(ds, folder / name(k), syntax)
    return folder


def enhanced(
    values: NDArray,
    *,
    step: Sequence[float] = (0.0, 0.0, 1.5),
    intercepts: Sequence[float] | None = None,
    order: Sequence[int] | None = None,
    stacks: Sequence[str] | None = None,
) -> Dataset:
    """All slices in one file, each with its functional groups, in a given order of frames."""
    order = range(len(values)) if order is None else order
    plain = slices(values, step=step)
    ds = Dataset()
    mark_person(ds)
    for name in ("SeriesInstanceUID", "FrameOfReferenceUID", "Modality", "Rows", "Columns",
                 "SamplesPerPixel", "PhotometricInterpretation", "BitsAllocated", "BitsStored",
                 "HighBit", "PixelRepresentation", "ImageType"):  # fmt: skip
        setattr(ds, name, plain[0][name].value)
    ds.SOPClassUID, ds.SOPInstanceUID = EnhancedCTImageStorage, uid(31)
    ds.NumberOfFrames = len(values)
    shared = Dataset()
    shared.PixelMeasuresSequence = Items([_item(PixelSpacing=[SPACING[1], SPACING[0]],
                                                SliceThickness=1.5)])  # fmt: skip
    shared.PlaneOrientationSequence = Items([_item(ImageOrientationPatient=[1, 0, 0, 0, 1, 0])])
    ds.SharedFunctionalGroupsSequence = Items([shared])
    frames, pixels = [], []
    for k in order:
        frame = Dataset()
        frame.PlanePositionSequence = Items(
            [_item(ImagePositionPatient=plain[k].ImagePositionPatient)]
        )
        intercept = -1024.0 if intercepts is None else intercepts[k]
        frame.PixelValueTransformationSequence = Items(
            [_item(RescaleIntercept=intercept, RescaleSlope=1, RescaleType="HU")]
        )
        if stacks is not None:
            frame.FrameContentSequence = Items([_item(StackID=stacks[k])])
        frames.append(frame)
        pixels.append((values[k] - intercept).astype("<u2"))
    ds.PerFrameFunctionalGroupsSequence = Items(frames)
    ds.PixelData = np.array(pixels).tobytes()
    return ds


def _item(**tags: object) -> Dataset:
    """A sequence item."""
    item = Dataset()
    for name, value in tags.items():
        setattr(item, name, value)
    return item


def _change_syntax(path: Path, syntax: int) -> None:
    """Pack a file with gdcm: JPEG lossless has no other free encoder."""
    reader = gdcm.ImageReader()
    reader.SetFileName(str(path))
    assert reader.Read()
    change = gdcm.ImageChangeTransferSyntax()
    change.SetTransferSyntax(gdcm.TransferSyntax(syntax))
    change.SetInput(reader.GetImage())
    assert change.Change()
    writer = gdcm.ImageWriter()
    writer.SetFileName(str(path))
    writer.SetFile(reader.GetFile())
    writer.SetImage(change.GetOutput())
    assert writer.Write()
