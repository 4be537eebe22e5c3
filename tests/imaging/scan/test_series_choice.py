"""Which series is the volume: the only one that can be, the one asked for, or a list to choose."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from pydicom.dataset import Dataset
from pydicom.fileset import FileSet
from pydicom.uid import JPEGBaseline8Bit, MRImageStorage, SecondaryCaptureImageStorage

from imaging.scan.scan_slices import N_SLICES, ROWS, block, save, slices, write_series
from rimwright.errors import FileRefusal
from rimwright.imaging import SeriesFacts, list_series, read_volume


def study(folder: Path) -> Path:
    """A thin series, a scout of it, a picture of the dose, and three views."""
    write_series(slices(block(1)), folder / "a")
    scout = slices(block(2, n=2), series=7)
    for number, ds in enumerate(scout):
        ds.ImageType = ["ORIGINAL", "PRIMARY", "LOCALIZER"]
        ds.SOPInstanceUID += f".{number}"
    write_series(scout, folder / "b")
    write_series(
        slices(block(3, n=1), series=9, storage=SecondaryCaptureImageStorage, description="dose"),
        folder / "c",
    )
    write_series(slices(block(4, n=3), series=10, description="views"), folder / "d")
    return folder


def test_the_only_volume_is_taken_and_told(tmp_path: Path) -> None:
    """Scouts, pictures and a few views are no choice; what was taken is said."""
    file = read_volume(study(tmp_path))
    np.testing.assert_array_equal(file.volume.values.T, block(1))
    assert file.warnings[0].startswith("series 1 [")
    assert file.warnings[0].endswith("of 4 series only this one can be a volume")


def test_every_series_is_listed_with_the_reason_why_not(tmp_path: Path) -> None:
    """Number, key, size, spacing, and why it is no volume."""
    facts = list_series(study(tmp_path))
    assert [f.number for f in facts] == [1, 2, 3, 4]
    assert [f.n_slices for f in facts] == [8, 3, 2, 1]
    assert [f.reason for f in facts] == [
        "",
        "too few slices for a volume (got 3, need at least 6)",
        "a localizer",
        "neither CT nor MR images",
    ]
    first = facts[0]
    assert isinstance(first, SeriesFacts)
    assert (first.size, first.description) == ((37, ROWS, N_SLICES), "thin hips")
    assert first.spacing_mm == pytest.approx((0.7, 0.8, 1.5))
    assert first.coverage_mm == pytest.approx((37 * 0.7, ROWS * 0.8, N_SLICES * 1.5))
    assert first.slice_thickness_mm == 1.5
    assert len({f.series_key for f in facts}) == 4
    assert str(first) == f"1 [{first.series_key}] CT 'thin hips', 8 slices 37×41, 0.70×0.80×1.50 mm"


def test_keys_are_the_same_in_every_copy(tmp_path: Path) -> None:
    """A key comes from the identifier of the series alone and does not hold it."""
    one = list_series(write_series(slices(block(), series=5), tmp_path / "one"))
    two = list_series(write_series(slices(block(2), series=5), tmp_path / "two"))
    assert one[0].series_key == two[0].series_key
    assert re.fullmatch(r"[0-9a-f]{8}", one[0].series_key)


def test_two_volumes_are_a_choice_of_the_user(tmp_path: Path) -> None:
    """Neither is taken; both stand in the line by number and key, and either can be asked for."""
    write_series(slices(block(1), description="bone"), tmp_path / "a")
    write_series(slices(block(2, n=9), series=8, description="soft"), tmp_path / "b")
    with pytest.raises(FileRefusal) as caught:
        read_volume(tmp_path)
    facts = list_series(tmp_path)
    line = str(caught.value)
    assert "2 series can be the volume: " + "; ".join(str(f) for f in facts) in line
    assert line.endswith("Name one by its number or key.")
    by_number = read_volume(tmp_path, series="2").volume.values
    by_key = read_volume(tmp_path, series=facts[1].series_key.upper()).volume.values
    np.testing.assert_array_equal(by_number, by_key)
    np.testing.assert_array_equal(by_number.T, block(1))
    with pytest.raises(FileRefusal, match="no series '3', there are 1 "):
        read_volume(tmp_path, series="3")


def test_axial_slices_go_before_views_made_of_them(tmp_path: Path) -> None:
    """Of an axial and a coronal stack the axial one is taken; alone the coronal one is read."""
    coronal = {"row": (1, 0, 0), "column": (0, 0, -1), "step": (0, 1.5, 0)}
    write_series(slices(block(1, n=9), series=8, **coronal), tmp_path / "b")
    alone = read_volume(tmp_path)
    assert "coronal slices" in alone.warnings
    write_series(slices(block(2)), tmp_path / "a")
    file = read_volume(tmp_path)
    np.testing.assert_array_equal(file.volume.values.T, block(2))
    assert "only this one is axial" in file.warnings[0]


def test_a_series_of_unlike_slices_comes_apart(tmp_path: Path) -> None:
    """Other direction or spacing under one identifier: separate entries, keys numbered."""
    datasets = slices(block(1))
    other = slices(block(2), row=(0, 1, 0), column=(0, 0, -1), step=(1.5, 0, 0))
    coarse = slices(block(3, n=7), origin=(0, 0, 400))
    for number, ds in enumerate(other + coarse):
        ds.SOPInstanceUID += f".{number}"
    for ds in coarse:
        ds.PixelSpacing = [1.6, 1.4]
    write_series(datasets, tmp_path / "a")
    write_series(other, tmp_path / "b")
    write_series(coarse, tmp_path / "c")
    facts = list_series(tmp_path)
    assert [f.n_slices for f in facts] == [8, 8, 7]
    assert {f.series_key[-2:] for f in facts} == {"-1", "-2", "-3"}
    coarse_one = read_volume(tmp_path, series="3")
    assert coarse_one.volume.spacing_mm == pytest.approx((1.4, 1.6, 1.5))
    np.testing.assert_array_equal(coarse_one.volume.values.T, block(3, n=7))


def test_echoes_of_one_series_come_apart(tmp_path: Path) -> None:
    """Two echoes at the same places are two volumes, never mixed."""
    datasets = []
    for number, echo in enumerate((10.0, 80.0)):
        made = slices(block(number, low=0), storage=MRImageStorage, intercept=0.0)
        for ds in made:
            ds.EchoTime = echo
            ds.SOPInstanceUID += f".{number}"
        datasets += made
    write_series(datasets, tmp_path / "s")
    facts = list_series(tmp_path / "s")
    assert [f.n_slices for f in facts] == [8, 8]
    read = {read_volume(tmp_path / "s", series=n).volume.values.T.tobytes() for n in "12"}
    assert read == {block(number, low=0).astype(np.float32).tobytes() for number in (0, 1)}


def test_a_list_and_a_series_named_agree_on_what_is_not_usable(tmp_path: Path) -> None:
    """A series that is no volume is refused with the reason it is listed with."""
    folder = study(tmp_path)
    for fact in list_series(folder):
        if not fact.usable:
            with pytest.raises(FileRefusal, match=re.escape(fact.reason)):
                read_volume(folder, series=str(fact.number))


def test_packed_with_loss_is_refused(tmp_path: Path) -> None:
    """Eight-bit JPEG is not Hounsfield units any more."""
    folder = write_series(slices(block()), tmp_path / "s")
    for path in folder.iterdir():
        old = b"1.2.840.10008.1.2.1\0"
        data = path.read_bytes()
        at = data.index(old)  # the same length field, another syntax of other length
        new = str(JPEGBaseline8Bit).encode()
        element = data[: at - 2] + len(new).to_bytes(2, "little") + new + data[at + len(old) :]
        path.write_bytes(element)
    with pytest.raises(FileRefusal, match=r"packed as JPEG with loss\. Export it unpacked"):
        read_volume(folder)


def test_dicom_is_not_turned_by_hand(tmp_path: Path) -> None:
    """A series states its axes: others cannot be named for it."""
    folder = write_series(slices(block()), tmp_path / "s")
    assert not read_volume(folder, axes="LPS").axes_assumed
    with pytest.raises(FileRefusal, match="DICOM states its axes"):
        read_volume(folder, axes="RAS")


def test_dicomdir_leads_to_its_files(tmp_path: Path) -> None:
    """The file a medium begins with stands for the series on it."""
    values = block()
    collection = FileSet()
    for ds in slices(values):
        collection.add(complete(ds, tmp_path))
    collection.write(tmp_path / "disc")
    collection._stage["t"].cleanup()  # it would leave a warning behind
    file = read_volume(tmp_path / "disc" / "DICOMDIR")
    np.testing.assert_array_equal(file.volume.values.T, values)
    assert read_volume(tmp_path / "disc").digest == file.digest


def complete(ds: Dataset, folder: Path) -> Dataset:
    """A data set with the tags that a medium's index asks for."""
    ds.StudyDate, ds.StudyTime, ds.StudyID, ds.SeriesNumber = "20000101", "000000", "1", 1
    save(ds, folder / "scratch")
    return ds
