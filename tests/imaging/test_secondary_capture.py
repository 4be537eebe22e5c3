"""Secondary captures: of the right person, marked derived, whole or absent, read by pydicom."""

from __future__ import annotations

import gc
import warnings
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pydicom
import pytest

from rimwright.anatomy import Cancelled, Side
from rimwright.errors import FileRefusal
from rimwright.imaging import (
    CapturePicture,
    Person,
    SourceImage,
    read_person,
    read_source_images,
    write_secondary_capture,
)

PERSON = Person(
    name="Example^Hip",
    patient_id="X-1",
    birth_date="19700101",
    sex="F",
    study_uid="2.25.123456789",
    study_date="20260101",
    study_id="7",
    accession="A1",
)
SOURCES = tuple(
    SourceImage(class_uid="1.2.840.10008.5.1.4.1.1.2", instance_uid=f"2.25.{n}") for n in (11, 12)
)


def pictures() -> list[CapturePicture]:
    """A grey one of odd size, a deep grey one, and one in colour."""
    rng = np.random.default_rng(3)
    place = {"right": [1.0, 0.0, 0.0], "down": [0.0, 0.0, -1.0]}
    return [
        CapturePicture(
            pixels=rng.integers(0, 256, (5, 7), dtype=np.uint8),
            comment="acetabular 12:00 and 6:00",
            words_burned_in=False,
            pixel_mm=0.35,
            **place,
        ),
        CapturePicture(
            pixels=rng.integers(0, 65536, (4, 6), dtype=np.uint16),
            comment="acetabular 12:30 and 6:30",
            words_burned_in=False,
        ),
        CapturePicture(
            pixels=rng.integers(0, 256, (6, 5, 3), dtype=np.uint8),
            comment="acetabular sheet",
            words_burned_in=True,
        ),
    ]


def write(folder: Path, **changes: object) -> Path:
    options = {
        "person": PERSON,
        "folder": folder,
        "side": Side.RIGHT,
        "description": "radial, acetabular",
        "derivation": "trilinear, planes through the opening axis",
        "sources": SOURCES,
    }
    return write_secondary_capture(pictures(), **(options | changes))


@pytest.mark.oracle
def test_plain_pydicom_reads_what_was_written(tmp_path: Path) -> None:
    """Pixels come back bit for bit, with person, study, side, scale and origin."""
    made = pictures()
    files = sorted(write(tmp_path / "out").glob("*.dcm"))
    assert len(files) == len(made)
    for file, picture in zip(files, made, strict=True):
        image = pydicom.dcmread(file)
        np.testing.assert_array_equal(image.pixel_array, picture.pixels)
        assert str(image.PatientName) == PERSON.name
        assert image.PatientID == PERSON.patient_id
        assert image.PatientBirthDate == PERSON.birth_date
        assert image.PatientSex == PERSON.sex
        assert image.StudyInstanceUID == PERSON.study_uid
        assert image.StudyDate == PERSON.study_date
        assert image.StudyID == PERSON.study_id
        assert image.AccessionNumber == PERSON.accession
        assert list(image.ImageType) == ["DERIVED", "SECONDARY"]
        assert image.DerivationDescription.startswith("trilinear")
        assert image.SOPClassUID == "1.2.840.10008.5.1.4.1.1.7"
        assert image.Laterality == "R"
        assert image.BurnedInAnnotation == ("YES" if picture.words_burned_in else "NO")
        assert image.ImageComments == picture.comment
        named = [item.ReferencedSOPInstanceUID for item in image.SourceImageSequence]
        assert named == ["2.25.11", "2.25.12"]
    first, second = pydicom.dcmread(files[0]), pydicom.dcmread(files[1])
    assert [float(step) for step in first.PixelSpacing] == [0.35, 0.35]
    assert list(first.PatientOrientation) == ["L", "F"]
    assert "PixelSpacing" not in second


def test_identifiers_are_new_and_follow_from_what_is_written(tmp_path: Path) -> None:
    """The same call gives the same files; another person, side or picture gives new identifiers."""

    def uids(folder: Path) -> list[str]:
        heads = [pydicom.dcmread(f) for f in sorted(folder.glob("*.dcm"))]
        assert len({h.SeriesInstanceUID for h in heads}) == 1
        return [heads[0].SeriesInstanceUID, *(h.SOPInstanceUID for h in heads)]

    once, again = uids(write(tmp_path / "a")), uids(write(tmp_path / "b"))
    other = uids(write(tmp_path / "c", side=Side.LEFT))
    someone = uids(write(tmp_path / "d", person=replace(PERSON, patient_id="X-2")))
    assert once == again
    assert len(set(once + other + someone)) == 3 * len(once)
    assert PERSON.study_uid not in once
    assert all(uid.startswith("2.25.") and len(uid) <= 64 for uid in once)
    for name in ("0001.dcm", "0003.dcm"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


@pytest.mark.fault
@pytest.mark.parametrize("stop", [Cancelled, KeyboardInterrupt])
def test_broken_off_leaves_nothing(tmp_path: Path, stop: type[BaseException]) -> None:
    """Broken off between two files, no folder and no file stays behind."""

    def tell(fraction: float, _stage: str) -> None:
        if fraction > 0.5:
            raise stop

    with pytest.raises(stop):
        write(tmp_path / "out", progress=tell)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.fault
def test_nothing_is_overwritten(tmp_path: Path) -> None:
    """A folder that holds something is refused and stays as it is; an empty one is taken."""
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "kept").write_text("kept")
    with pytest.raises(FileRefusal, match=r"something stands there already .* Name another folder"):
        write(tmp_path / "full")
    assert [p.name for p in (tmp_path / "full").iterdir()] == ["kept"]
    (tmp_path / "empty").mkdir()
    assert len(list(write(tmp_path / "empty").iterdir())) == 3


@pytest.mark.fault
def test_without_a_study_nothing_is_written(tmp_path: Path) -> None:
    """Pictures of nobody's study are refused, not put into a new one."""
    with pytest.raises(FileRefusal, match="the study the pictures belong to is not known"):
        write(tmp_path / "out", person=replace(PERSON, study_uid=""))
    assert list(tmp_path.iterdir()) == []


@pytest.fixture
def series(tmp_path: Path) -> Path:
    """A folder of images of one person, and a file that is no image."""
    write(tmp_path / "series")
    (tmp_path / "series" / "notes.txt").write_text("no image")
    return tmp_path / "series"


def test_person_of_folder_file_and_archive(series: Path, tmp_path: Path) -> None:
    """A folder, one file of it and a zip of it name the same person and study."""
    archive = tmp_path / "series.zip"
    with zipfile.ZipFile(archive, "w") as zipped:
        for file in sorted(series.iterdir()):
            zipped.write(file, f"inner/{file.name}")
    for path in (series, series / "0001.dcm", archive):
        assert read_person(path) == PERSON
    assert len(read_source_images(archive)) == 3


@pytest.mark.parametrize("syntax", ["implicit", "big", "deflated", "bare"])
def test_every_way_of_writing_names_the_same_person(
    series: Path, tmp_path: Path, syntax: str
) -> None:
    """Implicit, big-endian, deflated and without a preamble, in another alphabet too."""
    image = pydicom.dcmread(series / "0001.dcm")
    image.PatientName = "Exämple^Hip"
    image.SpecificCharacterSet = "ISO_IR 100"
    image.StudyDescription = "x" * 30
    path = tmp_path / "one.dcm"
    if syntax == "bare":
        image.save_as(path)
        whole = path.read_bytes()
        length = int.from_bytes(whole[140:144], "little")  # of the meta group, which goes too
        path.write_bytes(whole[144 + length :])
    else:
        uid = {"implicit": "1.2.840.10008.1.2", "big": "1.2.840.10008.1.2.2"}
        image.file_meta.TransferSyntaxUID = uid.get(syntax, "1.2.840.10008.1.2.1.99")
        pydicom.dcmwrite(
            path, image, implicit_vr=syntax == "implicit", little_endian=syntax != "big"
        )
    assert read_person(path) == replace(PERSON, name="Exämple^Hip")


def test_a_dicomdir_names_the_person_of_what_it_lists(series: Path, tmp_path: Path) -> None:
    """Through the DICOMDIR that plain pydicom writes; a stranger's file beside it is not asked."""
    from pydicom.fileset import FileSet

    listed = FileSet()
    for file in sorted(series.glob("*.dcm")):
        image = pydicom.dcmread(file)
        image.StudyTime = "120000"
        listed.add(image)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", ResourceWarning)  # of its temporary folders
        listed.write(tmp_path / "disc")
        del listed
        gc.collect()
    write(tmp_path / "stranger", person=replace(PERSON, patient_id="X-2"))
    (tmp_path / "stranger" / "0001.dcm").rename(tmp_path / "disc" / "beside.dcm")
    assert read_person(tmp_path / "disc" / "DICOMDIR") == PERSON
    assert len(read_source_images(tmp_path / "disc" / "DICOMDIR")) == 3
    with pytest.raises(FileRefusal, match="more than one person"):
        read_person(tmp_path / "disc")


def change(path: Path, **tags: str) -> None:
    """Write tags of one file anew."""
    image = pydicom.dcmread(path)
    for name, value in tags.items():
        setattr(image, name, value)
    image.save_as(path)


@pytest.mark.fault
@pytest.mark.parametrize(
    ("tags", "sentence"),
    [
        ({"PatientID": "X-2"}, r"more than one person \(got 2, need 1\)"),
        ({"PatientName": "Other^Hip"}, r"more than one person \(got 2, need 1\)"),
        ({"StudyInstanceUID": "2.25.5"}, r"more than one study \(got 2, need 1\)"),
    ],
)
def test_one_slice_of_somebody_else(series: Path, tags: dict[str, str], sentence: str) -> None:
    """One image of another person or study among many is enough to refuse."""
    change(series / "0003.dcm", **tags)
    with pytest.raises(FileRefusal, match=sentence) as caught:
        read_person(series)
    assert "X-2" not in str(caught.value)
    assert "Hip" not in str(caught.value)


@pytest.mark.parametrize("length", [12, 24])
def test_series_asked_for_by_its_key(series: Path, length: int) -> None:
    """With the key of one series, the images of another person beside it are not asked."""
    import hashlib

    own = pydicom.dcmread(series / "0001.dcm").SeriesInstanceUID
    change(series / "0003.dcm", PatientID="X-2", SeriesInstanceUID="2.25.6")
    key = hashlib.sha256(own.encode()).hexdigest()[:length]
    assert read_person(series, series_key=key) == PERSON
    assert read_person(series, series_key=f"{key}-2") == PERSON
    assert len(read_source_images(series, series_key=key)) == 2


@pytest.mark.fault
@pytest.mark.parametrize("damage", [b"", b"\0" * 4000, b"\0" * 128 + b"DICM" + b"\xff" * 4000])
def test_no_dicom_names_nobody(tmp_path: Path, damage: bytes) -> None:
    """Files without readable tags are refused in one line."""
    (tmp_path / "x.dcm").write_bytes(damage)
    with pytest.raises(FileRefusal, match="holds no DICOM image with a person in it"):
        read_person(tmp_path / "x.dcm")
    with pytest.raises(FileRefusal, match="no such file or folder"):
        read_person(tmp_path / "absent")


@pytest.mark.fault
def test_every_truncation_of_a_file(series: Path, tmp_path: Path) -> None:
    """A file cut anywhere either still names its person or names nobody."""
    whole = (series / "0001.dcm").read_bytes()
    cut = tmp_path / "cut.dcm"
    outcomes: list[Callable[[], object] | Person | None] = []
    for length in range(0, len(whole), 97):
        cut.write_bytes(whole[:length])
        try:
            found = read_person(cut)
        except FileRefusal:
            outcomes.append(None)
            continue
        outcomes.append(found)
        assert found.study_uid in ("", PERSON.study_uid) or PERSON.study_uid.startswith(
            found.study_uid
        )
    assert None in outcomes
    assert PERSON in outcomes


def test_a_person_shows_nothing_of_itself() -> None:
    """Neither the text form nor the debugging form holds a tag."""
    for shown in (str(PERSON), repr(PERSON), f"{PERSON}"):
        assert shown == "Person()"
