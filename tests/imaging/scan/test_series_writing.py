"""A written CT series is a valid one, gives the volume back, and is whole or not there."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pydicom
import pytest
from scipy.spatial.transform import Rotation

from rimwright.anatomy import Modality, Volume
from rimwright.anatomy.progress import Cancelled
from rimwright.errors import FileRefusal
from rimwright.imaging import Person, write_ct_series
from rimwright.imaging.scan.series_writing import TRANSFER_SYNTAXES

TURN = Rotation.from_euler("xyz", [12, -7, 30], degrees=True).as_matrix()

# Attributes of the CT Image IOD (DICOM PS3.3, table A.3-1 and the modules it names) for an
# uncompressed or losslessly compressed slice: type 1 has a value, type 2 may be empty.
TYPE_1 = """
SOPClassUID SOPInstanceUID StudyInstanceUID SeriesInstanceUID Modality FrameOfReferenceUID
ImageType SamplesPerPixel PhotometricInterpretation Rows Columns BitsAllocated BitsStored
HighBit PixelRepresentation PixelData PixelSpacing ImageOrientationPatient
ImagePositionPatient RescaleIntercept RescaleSlope
"""
TYPE_2 = """
PatientName PatientID PatientBirthDate PatientSex StudyDate StudyTime
ReferringPhysicianName StudyID AccessionNumber SeriesNumber PatientPosition
PositionReferenceIndicator Manufacturer InstanceNumber SliceThickness KVP AcquisitionNumber
"""
SKEW = np.eye(4)
SKEW[1, 2] = np.tan(np.radians(5.0)) * 1.1 / 0.8
"""Leans the third axis by 5° towards the second."""


def made_volume(*, turn=TURN, shape=(37, 33, 5), spacing=(0.7, 0.8, 1.1), frame_id=""):
    """Random voxels over the whole range of 12 bits on an oblique grid."""
    affine = np.eye(4)
    affine[:3, :3] = np.asarray(turn) * spacing
    affine[:3, 3] = [-123.456, 78.9, -1010.1]
    values = np.random.default_rng(3).integers(-1024, 3072, shape).astype(np.int16)
    return Volume(values=values, affine=affine, frame_id=frame_id)


def slices_of(folder):
    """Data sets in the order of the files' names."""
    return [pydicom.dcmread(path) for path in sorted(folder.iterdir())]


@pytest.mark.property
@pytest.mark.parametrize("syntax", sorted(TRANSFER_SYNTAXES))
@pytest.mark.parametrize("bits", [16, 12])
def test_pixels_come_back(tmp_path, syntax, bits):
    """Every way of storing gives the Hounsfield units back, read by pydicom alone."""
    volume = made_volume()
    folder = write_ct_series(volume, tmp_path / "s", transfer_syntax=syntax, bits_stored=bits)
    assert [path.name for path in sorted(folder.iterdir())] == [f"000{n}.dcm" for n in range(1, 6)]
    for k, image in enumerate(slices_of(folder)):
        assert image.file_meta.TransferSyntaxUID == syntax
        units = image.pixel_array * float(image.RescaleSlope) + float(image.RescaleIntercept)
        assert np.array_equal(units.T, volume.values[:, :, k])


@pytest.mark.property
@pytest.mark.parametrize("turn", [np.eye(3), TURN, np.diag([1, -1, -1]), TURN[:, [2, 0, 1]]])
@pytest.mark.parametrize("hand", [1, -1])
def test_places_come_back(tmp_path, turn, hand):
    """Position, orientation and spacing of each slice say where every pixel lies, either hand."""
    volume = made_volume(turn=np.asarray(turn) * [1, 1, hand])
    for k, image in enumerate(slices_of(write_ct_series(volume, tmp_path / "s"))):
        along = np.array(image.ImageOrientationPatient, dtype=float)
        row_step, column_step = map(float, image.PixelSpacing)
        corner = np.array(image.ImagePositionPatient, dtype=float)
        for i, j in ((0, 0), (36, 0), (0, 32), (20, 11)):
            place = corner + along[:3] * column_step * i + along[3:] * row_step * j
            # Decimal strings of 16 characters hold 1e-9 mm here.
            assert place == pytest.approx(volume.to_mm(np.array([i, j, k])), abs=1e-6)
        assert float(image.SliceThickness) == pytest.approx(1.1)
        assert image.InstanceNumber == k + 1


def test_every_required_attribute_stands(tmp_path):
    """Type 1 filled, type 2 present, values of the right kind, identifiers well formed."""
    images = slices_of(write_ct_series(made_volume(), tmp_path / "s", description="a made scan"))
    for image in images:
        assert [name for name in TYPE_1.split() if image.get(name) in (None, "", [])] == []
        assert [name for name in TYPE_2.split() if name not in image] == []
        assert image.SOPClassUID == pydicom.uid.CTImageStorage
        assert image.file_meta.MediaStorageSOPInstanceUID == image.SOPInstanceUID
        assert (image.Modality, image.ImageType[2]) == ("CT", "AXIAL")
        assert (image.BitsAllocated, image.BitsStored, image.HighBit) == (16, 16, 15)
        assert (image.PixelRepresentation, image.SamplesPerPixel) == (1, 1)
        assert image.SeriesDescription == "a made scan"
        for element in image.iterall():
            if element.VR == "UI":
                assert pydicom.uid.UID(element.value).is_valid
                assert len(element.value) <= 64
            if element.VR == "DS" and element.value is not None:
                values = element.value if element.VM > 1 else [element.value]
                assert all(len(str(value)) <= 16 for value in values)
    for name in ("StudyInstanceUID", "SeriesInstanceUID", "FrameOfReferenceUID"):
        assert len({image[name].value for image in images}) == 1
        assert re.fullmatch(r"2\.25\.[1-9][0-9]{1,38}", images[0][name].value)
    assert len({image.SOPInstanceUID for image in images}) == len(images)


def test_the_same_call_writes_the_same_bytes(tmp_path):
    """Identifiers follow from the content: no clock, no chance; other voxels, other series."""
    volume = made_volume()
    one, two = (write_ct_series(volume, tmp_path / name) for name in ("one", "two"))
    for path in one.iterdir():
        assert path.read_bytes() == (two / path.name).read_bytes()
    values = volume.values.copy()
    values[0, 0, 0] += 1
    other = write_ct_series(replace(volume, values=values), tmp_path / "three")
    for name in ("SeriesInstanceUID", "SOPInstanceUID"):
        assert slices_of(one)[3][name].value != slices_of(other)[3][name].value


def test_person_study_and_frame_are_those_given(tmp_path):
    """A person's tags are taken over; a frame that is an identifier stays, another is hashed."""
    person = Person(
        name="Example^Other",
        patient_id="X-2",
        birth_date="19700101",
        sex="F",
        study_uid="1.2.3.4",
        study_date="20260102",
        study_id="7",
        accession="A1",
    )
    image = slices_of(
        write_ct_series(made_volume(frame_id="1.2.840.99.1"), tmp_path / "s", person=person)
    )[0]
    assert str(image.PatientName) == "Example^Other"
    assert (image.PatientID, image.PatientBirthDate, image.PatientSex) == ("X-2", "19700101", "F")
    assert (image.StudyInstanceUID, image.StudyDate, image.StudyID) == ("1.2.3.4", "20260102", "7")
    assert (image.AccessionNumber, image.FrameOfReferenceUID) == ("A1", "1.2.840.99.1")
    named = slices_of(write_ct_series(made_volume(frame_id="room"), tmp_path / "n"))[0]
    assert named.FrameOfReferenceUID.startswith("2.25.")
    assert str(named.PatientName) == "Example^Hip"


@pytest.mark.fault
@pytest.mark.parametrize(
    ("change", "words"),
    [
        (
            lambda v: (replace(v, affine=v.affine @ SKEW), {}),
            "the axes of the voxels are not at right angles (got 5° off, need 0). "
            "Resample the volume on a grid with right angles.",
        ),
        (
            lambda v: (
                Volume(values=v.values.astype(np.float32), affine=v.affine, modality=Modality.MR),
                {},
            ),
            "not a CT (got modality MR, need CT). Give a volume of Hounsfield units.",
        ),
        (
            lambda v: (replace(v, values=v.values - np.int16(1)), {"bits_stored": 12}),
            "values do not fit 12 bits (got -1025 to 3070 HU, need -1024 to 3071). Choose 16 bits.",
        ),
        (lambda v: (v, {"bits_stored": 8}), "8 bits cannot be written (need 16 or 12). "),
        (lambda v: (v, {"transfer_syntax": "1.2.3"}), "transfer syntax 1.2.3 cannot be written. "),
        (
            lambda v: (
                replace(v, values=v.values[:, :20]),
                {"transfer_syntax": "1.2.840.10008.1.2.4.90"},
            ),
            "slices are too small for JPEG 2000 (got 20 pixels, need 32). ",
        ),
    ],
)
def test_what_cannot_be_written_is_refused(tmp_path, change, words):
    """One sentence, and no folder."""
    volume, options = change(made_volume(shape=(40, 40, 40)))
    with pytest.raises(FileRefusal) as refused:
        write_ct_series(volume, tmp_path / "s", **options)
    assert f"{tmp_path / 's'}: {words}" in str(refused.value)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.fault
def test_a_folder_in_use_is_left_alone(tmp_path):
    """Files that stand there stay as they are; an empty folder is taken."""
    taken = tmp_path / "taken"
    taken.mkdir()
    (taken / "note.txt").write_text("mine")
    for place in (taken, taken / "note.txt"):
        with pytest.raises(FileRefusal, match="something stands there already"):
            write_ct_series(made_volume(), place)
    assert [path.name for path in tmp_path.rglob("*")] == ["taken", "note.txt"]
    with pytest.raises(FileRefusal, match="cannot be written"):
        write_ct_series(made_volume(), taken / "note.txt" / "s")
    empty = tmp_path / "empty"
    empty.mkdir()
    assert len(list(write_ct_series(made_volume(), empty).iterdir())) == 5


@pytest.mark.fault
def test_cancelled_leaves_nothing(tmp_path):
    """Stopped at the third slice: no folder, no half of one."""

    def stop(fraction, stage):
        if fraction > 0.3:
            raise Cancelled

    with pytest.raises(Cancelled):
        write_ct_series(made_volume(), tmp_path / "s", progress=stop)
    assert list(tmp_path.iterdir()) == []
