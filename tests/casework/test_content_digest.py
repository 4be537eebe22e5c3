"""An unchanged scan is known again by its content, whatever its files are called."""

from __future__ import annotations

import os

import pytest

import rimwright.casework.content_digest as module
from rimwright.casework.content_digest import content_digest


@pytest.fixture
def folder(tmp_path):
    """Three slices in a folder with a folder in it."""
    place = tmp_path / "series"
    (place / "more").mkdir(parents=True)
    for name, content in (("1.dcm", b"one"), ("2.dcm", b"two"), ("more/3", b"three")):
        (place / name).write_bytes(content)
    return place


def test_names_and_times_do_not_count(folder):
    """Renamed, moved within and touched, it is the same scan."""
    before = content_digest(folder)
    (folder / "1.dcm").rename(folder / "more" / "IM0001")
    os.utime(folder / "2.dcm", (1, 1))
    assert content_digest(folder) == before


def test_every_byte_and_every_file_counts(folder):
    """A byte changed with name, size and time kept, a slice more, a slice less, one twice."""
    before = content_digest(folder)
    stat = (folder / "1.dcm").stat()
    (folder / "1.dcm").write_bytes(b"onE")
    os.utime(folder / "1.dcm", ns=(stat.st_atime_ns, stat.st_mtime_ns))
    assert content_digest(folder) != before
    (folder / "1.dcm").write_bytes(b"one")
    assert content_digest(folder) == before
    (folder / "4").write_bytes(b"one")
    assert content_digest(folder) != before
    (folder / "4").unlink()
    (folder / "2.dcm").unlink()
    assert content_digest(folder) != before


def test_a_case_and_a_plan_beside_the_images_do_not_count(folder):
    """The case file may lie among the images and the plan be written there."""
    before = content_digest(folder)
    for name in ("case.toml", "plan.json", "report.PDF", "hip.npz"):
        (folder / name).write_bytes(b"x")
    assert content_digest(folder) == before


def test_a_file_is_its_bytes_and_an_index_its_folder(folder):
    """A single file is hashed alone; DICOMDIR stands for the folder it lies in."""
    assert content_digest(folder / "1.dcm") != content_digest(folder / "2.dcm")
    (folder / "DICOMDIR").write_bytes(b"index")
    assert content_digest(folder / "DICOMDIR") == content_digest(folder)


@pytest.mark.fault
def test_what_cannot_be_told_is_none(folder, tmp_path, monkeypatch):
    """Nothing there, an empty folder, a header whose voxels lie elsewhere, too much to hash."""
    assert content_digest(tmp_path / "nothing") is None
    (tmp_path / "empty").mkdir()
    assert content_digest(tmp_path / "empty") is None
    (tmp_path / "scan.mhd").write_bytes(b"ElementDataFile = scan.raw")
    assert content_digest(tmp_path / "scan.mhd") is None
    monkeypatch.setattr(module, "MAX_FOLDER_FILES", 2)
    assert content_digest(folder) is None
