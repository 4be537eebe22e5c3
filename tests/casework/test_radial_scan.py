"""Radial pictures from files of a scanner: through the readers, back into the same study."""

from __future__ import annotations

from pathlib import Path

import nibabel
import numpy as np
import pydicom
import pytest

from morphology.reformat.made_scan import scan_of_femur, true_hip
from rimwright.anatomy import Side
from rimwright.casework.hand_points import HandPoints
from rimwright.casework.measured_hip import MeasuredHip
from rimwright.casework.radial_scan import origin_of, radial_by_hand, radial_of_measured
from rimwright.casework.scan_files import ScanFiles
from rimwright.errors import FileRefusal, LayoutRefusal
from rimwright.imaging import Person, list_series, write_ct_series
from rimwright.phantom import HipShape, HipTruth

SHAPE = HipShape()
TRUTH = HipTruth(shape=SHAPE)
NECK = HandPoints(head=TRUTH.head_centre_mm, neck=TRUTH.femoral_axes.neck_centre_mm)
PERSON = Person(name="Example^Hip", patient_id="X-1", study_uid="2.25.77", study_date="20260101")


@pytest.fixture(scope="module")
def series(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A made scan as a DICOM series of an invented person."""
    scan = scan_of_femur(SHAPE, spacing_mm=(1.5, 1.5, 2.0), half_mm=44.0)
    return write_ct_series(scan, tmp_path_factory.mktemp("ct") / "series", person=PERSON)


def test_captures_join_the_study_the_scan_came_from(series: Path, tmp_path: Path) -> None:
    """Read by the readers, written back: same person and study, every slice named as source."""
    files = ScanFiles(image=series)
    written = radial_by_hand(
        files, tmp_path / "out", side=Side.LEFT, points=NECK, origin=origin_of(files)
    )
    slices = {pydicom.dcmread(path).SOPInstanceUID for path in series.iterdir()}
    captures = sorted((written.folder / "left" / "dicom" / "femoral").iterdir())
    assert len(captures) == 13
    image = pydicom.dcmread(captures[0])
    assert (str(image.PatientName), image.PatientID) == ("Example^Hip", "X-1")
    assert (image.StudyInstanceUID, image.StudyDate) == ("2.25.77", "20260101")
    assert image.SeriesInstanceUID != pydicom.dcmread(next(series.iterdir())).SeriesInstanceUID
    named = {item.ReferencedSOPInstanceUID for item in image.SourceImageSequence}
    assert named == slices
    for path in written.folder.rglob("*"):
        if path.is_file() and path.suffix != ".dcm":
            assert b"Example^Hip" not in path.read_bytes()


def test_the_series_asked_for_names_the_person(series: Path, tmp_path: Path) -> None:
    """Beside a series of somebody else, the number or key of the own one is enough."""
    both = tmp_path / "both"
    both.mkdir()
    for path in series.iterdir():
        (both / f"own-{path.name}").write_bytes(path.read_bytes())
    scan = scan_of_femur(HipShape(), spacing_mm=(3.0, 3.0, 3.0), half_mm=30.0)
    other = write_ct_series(
        scan, tmp_path / "other", person=Person(name="Other^Hip", study_uid="2.25.78")
    )
    for path in other.iterdir():
        (both / f"other-{path.name}").write_bytes(path.read_bytes())
    with pytest.raises(FileRefusal, match="more than one person"):
        origin_of(ScanFiles(image=both))
    (own,) = list_series(series)
    numbers = {facts.series_key: facts.number for facts in list_series(both)}
    for choice in (own.series_key, str(numbers[own.series_key])):
        found = origin_of(ScanFiles(image=both, series=choice))
        assert found.person == PERSON
        assert len(found.sources) == len(list(series.iterdir()))


@pytest.mark.fault
def test_a_file_of_nobody_is_no_origin(tmp_path: Path) -> None:
    """A NIfTI file names no person: captures are refused before anything is written."""
    scan = scan_of_femur(SHAPE, spacing_mm=(3.0, 3.0, 3.0), half_mm=30.0)
    affine = np.diag([-1.0, -1.0, 1.0, 1.0]) @ scan.affine
    nibabel.save(nibabel.Nifti1Image(scan.values, affine), tmp_path / "scan.nii")
    with pytest.raises(FileRefusal, match="holds no DICOM image with a person in it"):
        origin_of(ScanFiles(image=tmp_path / "scan.nii"))


def test_pictures_of_a_measured_hip_come_from_what_was_kept_of_its_scan(tmp_path: Path) -> None:
    """The part of the CT kept with the hip is enough; alpha is read on it."""
    scan = scan_of_femur(SHAPE, spacing_mm=(1.2, 1.2, 1.2), half_mm=44.0)
    item = MeasuredHip(hip=true_hip(SHAPE), input_digest="", density=scan)
    written = radial_of_measured([item], tmp_path / "out")
    assert "left/alpha.csv" in written.names
    assert written.missing == ()


@pytest.mark.fault
def test_surfaces_have_no_pictures(tmp_path: Path) -> None:
    """A hip measured on surfaces has no grey values; nothing is made."""
    item = MeasuredHip(hip=true_hip(SHAPE), input_digest="")
    with pytest.raises(LayoutRefusal, match="surfaces of bones have no grey values to show"):
        radial_of_measured([item], tmp_path / "out")
    assert list(tmp_path.iterdir()) == []
