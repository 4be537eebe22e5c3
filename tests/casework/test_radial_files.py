"""Radial pictures as files: whole or absent, of the right person, from hips and from points."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pydicom
import pytest

from morphology.reformat.made_scan import scan_of_femur, true_hip
from rimwright.anatomy import Cancelled, Modality, Side, Volume
from rimwright.casework.hand_points import HandPoints, read_points
from rimwright.casework.radial_files import RadialFiles, write_radial_files
from rimwright.casework.radial_subject import Origin, RadialSubject, RadialWish
from rimwright.errors import FileRefusal, LayoutRefusal, Refusal
from rimwright.imaging import Person, SourceImage
from rimwright.morphology.reformat import resample, socket_planes
from rimwright.phantom import HipShape, HipTruth

SHAPE = HipShape()
ORIGIN = Origin(
    person=Person(name="Example^Hip", patient_id="X-1", study_uid="2.25.9"),
    sources=(SourceImage(class_uid="1.2.840.10008.5.1.4.1.1.2", instance_uid="2.25.10"),),
)


@pytest.fixture(scope="module")
def scan() -> Volume:
    """A coarse made scan."""
    return scan_of_femur(SHAPE, spacing_mm=(1.2, 1.2, 1.2), half_mm=48.0)


@pytest.fixture(scope="module")
def subject(scan: Volume) -> RadialSubject:
    """The hip in it, as by construction."""
    return RadialSubject(side=Side.LEFT, volume=scan, hip=true_hip(SHAPE), notes=("an example",))


@pytest.fixture(scope="module")
def mr(scan: Volume) -> Volume:
    """The same grid taken for an MR."""
    return Volume(values=scan.values.astype(np.float32), affine=scan.affine, modality=Modality.MR)


@pytest.fixture(scope="module")
def points() -> HandPoints:
    """Points a person might have given, on the truth."""
    truth = HipTruth(shape=SHAPE)
    return HandPoints(
        head=truth.head_centre_mm,
        socket=truth.socket_centre_mm,
        neck=truth.femoral_axes.neck_centre_mm,
        rim=truth.rim_points_mm(np.array([0.0, 2.0, 4.0, 8.0, 10.0])),
        notch=truth.notch_ends_mm.mean(axis=0),
    )


@pytest.fixture(scope="module")
def files(subject: RadialSubject, tmp_path_factory: pytest.TempPathFactory) -> RadialFiles:
    """All there is of one hip, slabs of 2 mm."""
    folder = tmp_path_factory.mktemp("radial") / "out"
    return write_radial_files([subject], folder, wish=RadialWish(slab_mm=2.0), origin=ORIGIN)


def test_what_is_written_of_a_measured_hip(subject: RadialSubject, files: RadialFiles) -> None:
    """For each kind a sheet, twelve leaves, arrays and a series of the person; alpha from a CT."""
    written = {p.relative_to(files.folder).as_posix() for p in files.folder.rglob("*.*")}
    assert set(files.names) == written
    assert files.missing == ()
    leaves = [f"{h or 12:02d}-{m}" for h in range(6) for m in ("00", "30")]
    expected = {"left/alpha.csv"}
    for kind in ("acetabular", "femoral"):
        expected |= {f"left/{kind}-sheet.png", f"left/{kind}.npz"}
        expected |= {f"left/{kind}/{leaf}.png" for leaf in leaves}
        expected |= {f"left/dicom/{kind}/{n + 1:04d}.dcm" for n in range(13)}
    assert written == expected
    with np.load(files.folder / "left" / "acetabular.npz") as arrays:
        assert str(arrays["schema"]) == "rimwright.radial/1"
        assert (str(arrays["kind"]), str(arrays["side"])) == ("acetabular", "left")
        assert arrays["hours"].tolist() == [0.5 * k for k in range(12)]
        planes = socket_planes(subject.hip)
        np.testing.assert_array_equal(
            arrays["pictures"], resample(subject.volume, planes, slab_mm=2.0)
        )
        np.testing.assert_array_equal(arrays["up"][3], planes[3].up)
    with (files.folder / "left" / "alpha.csv").open() as text:
        rows = list(csv.DictReader(text))
    assert [float(row["femoral_hour"]) for row in rows] == [0.5 * k for k in range(24)]
    assert {row["status"] for row in rows} <= {"ok", "caution", "refused"}
    for row in rows:
        assert bool(row["alpha_deg"]) is (row["status"] != "refused")


def test_captures_are_of_the_person_and_to_scale(files: RadialFiles) -> None:
    """Person, side and hours of each file; a distance of pixels is the distance in the hip."""
    series = set()
    for kind, number in (("acetabular", 9001), ("femoral", 9002)):
        folder = files.folder / "left" / "dicom" / kind
        images = [pydicom.dcmread(path) for path in sorted(folder.iterdir())]
        for image in images:
            assert str(image.PatientName) == "Example^Hip"
            assert (image.PatientID, image.StudyInstanceUID) == ("X-1", "2.25.9")
            assert image.Laterality == "L"
            assert image.SeriesNumber == number
            assert image.BurnedInAnnotation == "YES"
            assert kind in image.SeriesDescription
            assert image.SourceImageSequence[0].ReferencedSOPInstanceUID == "2.25.10"
            assert "Not a medical device" in image.DerivationDescription
        series.add(images[0].SeriesInstanceUID)
        assert "12:00 and 6:00" in images[1].ImageComments
        assert "PixelSpacing" not in images[0]
        # 1000 pixels across the leaf's picture show 328 pixels of 0.35 mm.
        assert float(images[1].PixelSpacing[0]) == pytest.approx(328 * 0.35 / 1000)
        rightward, downward = images[1].PatientOrientation
        assert rightward.startswith("L")
        assert downward.startswith("F")  # the plane of 12: caudal is down
    assert len(series) == 2


def test_points_given_by_hand_on_an_mr(mr: Volume, points: HandPoints, tmp_path: Path) -> None:
    """Both kinds of pictures, no alpha; that they rest on points is said in the arrays."""
    subject = RadialSubject(side=Side.LEFT, volume=mr, points=points)
    files = write_radial_files([subject], tmp_path / "out")
    assert "left/femoral-sheet.png" in files.names
    assert "left/acetabular-sheet.png" in files.names
    assert "left/alpha.csv" not in files.names
    with np.load(files.folder / "left" / "acetabular.npz") as arrays:
        assert "socket and rim are points given by hand" in arrays["notes"].tolist()
        assert str(arrays["modality"]) == "MR"


def test_one_kind_alone(mr: Volume, points: HandPoints, tmp_path: Path) -> None:
    """Points of head and neck alone give femoral pictures; the others are said to be missing."""
    subject = RadialSubject(
        side=Side.LEFT, volume=mr, points=HandPoints(head=points.head, neck=points.neck)
    )
    files = write_radial_files([subject], tmp_path / "out")
    assert not any("acetabular" in name for name in files.names)
    assert files.missing == (
        "left hip, acetabular pictures: nothing is measured in this image, and the points of "
        "socket and rim are not given",
    )


@pytest.mark.fault
def test_neither_kind(mr: Volume, tmp_path: Path) -> None:
    """An image without hip and points is refused with what would do, and nothing is left."""
    with pytest.raises(LayoutRefusal, match="Give the points of socket and rim"):
        write_radial_files([RadialSubject(side=Side.LEFT, volume=mr)], tmp_path / "out")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.fault
def test_points_outside_the_image(mr: Volume, points: HandPoints, tmp_path: Path) -> None:
    """A point in other axes (RAS for LPS) lies outside and is named."""
    turned = replace(points, neck=points.neck * [-1.0, -1.0, 1.0])
    with pytest.raises(LayoutRefusal, match="the point neck lies outside the image") as caught:
        write_radial_files(
            [RadialSubject(side=Side.LEFT, volume=mr, points=turned)], tmp_path / "new" / "out"
        )
    assert "x to the left, y to the back, z upward" in str(caught.value)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.fault
@pytest.mark.parametrize(
    ("stop", "at"),
    [(KeyboardInterrupt, 0.0), (Cancelled, 0.15), (KeyboardInterrupt, 0.47), (Cancelled, 0.97)],
)
def test_broken_off_leaves_nothing(
    subject: RadialSubject, tmp_path: Path, stop: type[BaseException], at: float
) -> None:
    """Stopped at any stage, no file and no folder stays, not even the one made for the pictures."""

    def tell(fraction: float, _stage: str) -> None:
        if fraction >= at:
            raise stop

    with pytest.raises(stop):
        write_radial_files([subject], tmp_path / "new" / "out", origin=ORIGIN, progress=tell)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.fault
def test_nothing_is_overwritten(subject: RadialSubject, tmp_path: Path) -> None:
    """A folder that holds something is refused before work begins."""
    (tmp_path / "kept").write_text("kept")

    def tell(_fraction: float, _stage: str) -> None:
        raise AssertionError("work began")

    with pytest.raises(FileRefusal, match="something stands there already"):
        write_radial_files([subject], tmp_path, progress=tell)
    assert [path.name for path in tmp_path.iterdir()] == ["kept"]


def test_both_sides_stand_beside_each_other(subject: RadialSubject, tmp_path: Path) -> None:
    """A folder for each side."""
    shape = HipShape(side=Side.RIGHT)
    bare = replace(true_hip(shape), femur=None)
    other = RadialSubject(
        side=Side.RIGHT,
        volume=scan_of_femur(shape, spacing_mm=(2.0, 2.0, 2.0), half_mm=48.0),
        hip=bare,
    )
    half = replace(subject, hip=replace(subject.hip, rim=None))
    files = write_radial_files([half, other], tmp_path / "out")
    assert files.missing == (
        "left hip, acetabular pictures: the socket's rim was not measured (no rim was found)",
        "right hip, femoral pictures: head and neck were not measured (not found)",
    )
    assert {name.split("/")[0] for name in files.names} == {"left", "right"}


def test_points_from_words() -> None:
    """NAME=X,Y,Z each; the rim as often as wanted."""
    found = read_points(["head=1,2,-3.5", "rim=1,1,1", " Rim = 2, 2,2"])
    np.testing.assert_array_equal(found.head, [1.0, 2.0, -3.5])
    np.testing.assert_array_equal(found.rim, [[1, 1, 1], [2, 2, 2]])
    assert found.neck is None


@pytest.mark.fault
@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (
            ["hip=1,2,3"],
            "--point: not the name of a point (got 'hip', need head or socket or neck or notch or "
            "rim). Write for example rim=31.5,-20,12.",
        ),
        (
            ["head=1,2"],
            "--point head: not three numbers (got '1,2'). "
            "Write X,Y,Z in mm, for example rim=31.5,-20,12.",
        ),
        (
            ["head=1,nan,3"],
            "--point head: not three numbers (got '1,nan,3'). "
            "Write X,Y,Z in mm, for example rim=31.5,-20,12.",
        ),
        (
            ["head=1,2,3", "head=1,2,3"],
            "--point: too many points called head (got 2, need 1 at most). "
            "Give each but the rim once.",
        ),
    ],
)
def test_words_that_are_no_points(words: list[str], sentence: str) -> None:
    """Unknown names, two numbers, no number, one point twice: one line each."""
    with pytest.raises(Refusal) as caught:
        read_points(words)
    assert str(caught.value) == sentence


@pytest.mark.fault
def test_points_that_lack_their_centre() -> None:
    """Rim without a centre and neck without a head are refused; a head stands in for the socket."""
    rim = np.array([[10.0, 0.0, 24.0], [10.0, -24.0, 0.0], [12.0, 24.0, 0.0]])
    with pytest.raises(LayoutRefusal, match=r"Give socket=X,Y,Z or head=X,Y,Z"):
        HandPoints(rim=rim).socket_clock(Side.LEFT)
    with pytest.raises(LayoutRefusal, match=r"Give head=X,Y,Z"):
        HandPoints(neck=np.zeros(3)).neck_clock(Side.LEFT)
    clock = HandPoints(rim=rim, head=np.zeros(3)).socket_clock(Side.LEFT)
    np.testing.assert_array_equal(clock.centre_mm, np.zeros(3))
