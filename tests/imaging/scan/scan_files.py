"""One sound file or folder of each kind that is read, as name to bytes, for tests of damage."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import nibabel as nib
import numpy as np
import SimpleITK
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence as Items
from pydicom.uid import SegmentationStorage

from imaging.scan.scan_slices import (
    SYNTAXES,
    block,
    enhanced,
    mark_person,
    save,
    slices,
    uid,
    write_series,
)

Files = dict[str, bytes]


def contents(folder: Path) -> Files:
    """Files of a folder."""
    return {p.name: p.read_bytes() for p in sorted(folder.iterdir())}


def sound_files(folder: Path) -> dict[str, Files]:
    """Kind to the files that make it; the first file of each is the one to name."""
    made: dict[str, Files] = {}
    for name, syntax in SYNTAXES.items():
        made[name] = contents(write_series(slices(block(n=6)), folder / name, syntax=syntax))
    save(enhanced(block(n=6)), folder / "enhanced.dcm")
    made["enhanced"] = {"enhanced.dcm": (folder / "enhanced.dcm").read_bytes()}
    save(bits(), folder / "seg.dcm")
    made["segmentation"] = {"seg.dcm": (folder / "seg.dcm").read_bytes()}
    values = block(n=6).astype(np.int16)
    values[:2] = -1000
    image = SimpleITK.GetImageFromArray(values)
    for name in ("a.mha", "p.mha", "a.nrrd", "p.nrrd"):
        SimpleITK.WriteImage(image, str(folder / name), name.startswith("p"))
        made[name] = {name: (folder / name).read_bytes()}
    for name in ("a.nii", "p.nii.gz"):
        nib.save(nib.Nifti1Image(values.T, np.diag([0.7, 0.7, 1.5, 1])), folder / name)
        made[name] = {name: (folder / name).read_bytes()}
    made["zip"] = {"s.zip": zipped(made["explicit"])}
    return made


def zipped(files: Files) -> bytes:
    """The files as an archive."""
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(f"series/{name}", data)
    return packed.getvalue()


def bits() -> Dataset:
    """A binary segmentation of 6 slices with 2 segments, put together by hand."""
    plain = slices(block(n=6))
    ds = Dataset()
    mark_person(ds)
    for name in ("FrameOfReferenceUID", "Rows", "Columns", "SamplesPerPixel",
                 "PhotometricInterpretation"):  # fmt: skip
        setattr(ds, name, plain[0][name].value)
    ds.SOPClassUID, ds.SOPInstanceUID = SegmentationStorage, uid(77)
    ds.SeriesInstanceUID, ds.Modality = uid(78), "SEG"
    ds.SegmentationType, ds.NumberOfFrames = "BINARY", 12
    ds.BitsAllocated, ds.BitsStored, ds.HighBit, ds.PixelRepresentation = 1, 1, 0, 0
    described = [Dataset(), Dataset()]
    for number, item in enumerate(described, start=1):
        item.SegmentNumber, item.SegmentLabel = number, f"bone {number}"
    ds.SegmentSequence = Items(described)
    measures, turned = Dataset(), Dataset()
    measures.PixelSpacing, measures.SpacingBetweenSlices = [0.8, 0.7], 1.5
    turned.ImageOrientationPatient = [1, 0, 0, 0, 1, 0]
    shared = Dataset()
    shared.PixelMeasuresSequence, shared.PlaneOrientationSequence = (
        Items([measures]),
        Items([turned]),
    )
    ds.SharedFunctionalGroupsSequence = Items([shared])
    frames, pixels = [], []
    for number in (1, 2):
        for k in range(6):
            frame, place, segment = Dataset(), Dataset(), Dataset()
            place.ImagePositionPatient = plain[k].ImagePositionPatient
            segment.ReferencedSegmentNumber = number
            frame.PlanePositionSequence = Items([place])
            frame.SegmentIdentificationSequence = Items([segment])
            frames.append(frame)
            mask = np.zeros((ds.Rows, ds.Columns), np.uint8)
            mask[5 + 10 * number : 10 + 10 * number, 3 : 9 + k] = 1
            pixels.append(mask)
    ds.PerFrameFunctionalGroupsSequence = Items(frames)
    ds.PixelData = np.packbits(np.array(pixels).ravel(), bitorder="little").tobytes()
    return ds
