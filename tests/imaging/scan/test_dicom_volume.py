"""A DICOM series becomes the volume that was written: values, place and what is said of both."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import SimpleITK
from pydicom.uid import MRImageStorage

from imaging.scan.scan_slices import (
    COLUMNS,
    N_SLICES,
    ROWS,
    SYNTAXES,
    affine_of,
    block,
    enhanced,
    save,
    set_pixels,
    slices,
    write_series,
)
from rimwright.anatomy import Cancelled, Modality
from rimwright.imaging import list_series, read_volume

TEXT_MM = 2e-6
"""Positions are written with six decimals."""
OBLIQUE = {
    "row": (0.96, 0.28, 0.0),
    "column": (-0.168, 0.576, 0.8),
    "step": (0.224 * 1.2, -0.768 * 1.2, 0.6 * 1.2),
}
"""Directions of Pythagorean numbers, so that they are unit to the last digit."""


def turned(values: np.ndarray) -> np.ndarray:
    """(nk, nj, ni) as written to (ni, nj, nk) as read."""
    return np.asarray(values).transpose(2, 1, 0)


@pytest.mark.parametrize("signed", [False, True], ids=["unsigned", "signed"])
@pytest.mark.parametrize("syntax", SYNTAXES)
def test_every_transfer_syntax_gives_the_values_written(
    syntax: str, signed: bool, tmp_path: Path
) -> None:
    """Packed, deflated, implicit or big-endian: every voxel as written, in HU."""
    values = block()
    intercept = 0.0 if signed else -1024.0
    written = slices(values, signed=signed, intercept=intercept)
    write_series(written, tmp_path / "s", syntax=SYNTAXES[syntax])
    file = read_volume(tmp_path / "s")
    assert file.volume.values.dtype == np.int16
    assert file.volume.modality is Modality.CT
    np.testing.assert_array_equal(file.volume.values, turned(values))
    np.testing.assert_allclose(file.volume.affine, affine_of(), atol=TEXT_MM)


@pytest.mark.parametrize("syntax", ["explicit", "RLE", "JPEG lossless", "JPEG-LS", "JPEG 2000"])
def test_twelve_signed_bits_of_sixteen(syntax: str, tmp_path: Path) -> None:
    """Below zero stays below zero, whether a decoder widens the sign or not."""
    values = block(low=-1000, high=2000)
    written = slices(values, signed=True, bits=12, intercept=0.0)
    write_series(written, tmp_path / "s", syntax=SYNTAXES[syntax])
    np.testing.assert_array_equal(read_volume(tmp_path / "s").volume.values, turned(values))


def test_slices_are_sorted_by_place_alone(tmp_path: Path) -> None:
    """Neither the names of the files nor their instance numbers decide."""
    values = block()
    rng = np.random.default_rng(5)
    names = rng.permutation(N_SLICES)
    datasets = slices(values)
    for ds, number in zip(datasets, rng.permutation(N_SLICES), strict=True):
        ds.InstanceNumber = int(number)
    write_series(datasets, tmp_path / "s", name=lambda k: f"{names[k]}")
    np.testing.assert_array_equal(read_volume(tmp_path / "s").volume.values, turned(values))


def test_slices_run_along_their_own_normal(tmp_path: Path) -> None:
    """A series scanned from head to foot is turned, so that the axes are right-handed."""
    values = block()
    write_series(slices(values, step=(0, 0, -1.5)), tmp_path / "s")
    file = read_volume(tmp_path / "s")
    np.testing.assert_array_equal(file.volume.values, turned(values[::-1]))
    assert file.volume.affine[2, 2] == pytest.approx(1.5)
    assert file.volume.affine[2, 3] == pytest.approx(100 - 1.5 * (N_SLICES - 1))


@pytest.mark.oracle
def test_oblique_series_lies_where_another_reader_puts_it(tmp_path: Path) -> None:
    """SimpleITK 2.5's series reader, sorted by gdcm, gives the same value at the same point."""
    write_series(slices(block(3), **OBLIQUE), tmp_path / "s")
    file = read_volume(tmp_path / "s")
    reader = SimpleITK.ImageSeriesReader()
    reader.SetFileNames(reader.GetGDCMSeriesFileNames(str(tmp_path / "s")))
    other = reader.Execute()
    for index in [(0, 0, 0), (COLUMNS - 1, 0, 0), (2, ROWS - 1, 3), (5, 4, N_SLICES - 1)]:
        point = file.volume.to_mm(np.array(index, dtype=float))
        # their direction comes through a rounded matrix, positions are text of six decimals
        np.testing.assert_allclose(
            other.TransformPhysicalPointToContinuousIndex(point.tolist()), index, atol=1e-4
        )
        assert file.volume.values[index] == other[index]


def test_gantry_tilt_is_kept_as_a_sheared_grid(tmp_path: Path) -> None:
    """A tilted gantry shifts each slice along its columns: the true step, nothing resampled."""
    tilt_deg = 12.0
    step = (0.0, 1.5 * np.tan(np.radians(tilt_deg)), 1.5)
    values = block()
    write_series(slices(values, step=step), tmp_path / "s")
    file = read_volume(tmp_path / "s")
    np.testing.assert_array_equal(file.volume.values, turned(values))
    np.testing.assert_allclose(file.volume.affine, affine_of(step=step), atol=TEXT_MM)
    assert file.facts.gantry_tilt_deg == pytest.approx(tilt_deg, abs=1e-3)
    assert any("tilted by 12.0°" in warning for warning in file.warnings)


def test_each_slice_has_its_own_rescale(tmp_path: Path) -> None:
    """Slope and intercept of the slice itself, whole or not; past 16 bits is cut and said."""
    stored = block(low=0, high=4000)
    datasets = slices(stored, intercept=0.0)
    slopes = [1.0, 2.0, 0.5, 1.25, 1.0, 3.0, 1.0, 12.0]
    intercepts = [-1024.0, -1000.0, 0.0, -8192.5, 0.5, -10.0, 30000.0, 0.0]
    for ds, slope, intercept in zip(datasets, slopes, intercepts, strict=True):
        ds.RescaleSlope, ds.RescaleIntercept = slope, intercept
    write_series(datasets, tmp_path / "s")
    exact = stored * np.array(slopes)[:, None, None] + np.array(intercepts)[:, None, None]
    expected = np.clip(np.rint(exact), -32768, 32767)
    file = read_volume(tmp_path / "s")
    np.testing.assert_array_equal(file.volume.values, turned(expected))
    n_cut = int((np.rint(exact) != expected).sum())
    assert n_cut > 0
    assert any(w.startswith(f"{n_cut:,} voxels past the range") for w in file.warnings)


@pytest.mark.parametrize("signed", [False, True])
def test_bits_above_those_stored_are_ignored(signed: bool, tmp_path: Path) -> None:
    """Old files keep drawings in the bits above the number."""
    values = block(low=-1000, high=1000)
    datasets = slices(values, signed=signed, bits=12, intercept=0.0 if signed else -1024.0)
    for ds in datasets:
        stored = np.frombuffer(ds.PixelData, "<u2") & 0x0FFF | 0xA000
        ds.PixelData = stored.astype("<u2").tobytes()
    write_series(datasets, tmp_path / "s")
    np.testing.assert_array_equal(read_volume(tmp_path / "s").volume.values, turned(values))


def test_padding_is_air(tmp_path: Path) -> None:
    """What stands for 'outside the field' becomes air where it would read as bone."""
    values = block(low=-1000, high=1000)
    datasets = slices(values)
    for ds in datasets:
        stored = np.frombuffer(ds.PixelData, "<u2").copy().reshape(ROWS, COLUMNS)
        stored[0, :] = 60000
        ds.PixelPaddingValue = 60000
        set_pixels(ds, stored)
    write_series(datasets, tmp_path / "s")
    file = read_volume(tmp_path / "s")
    assert (file.volume.values[:, 0, :] == -1024).all()
    np.testing.assert_array_equal(file.volume.values[:, 1:, :], turned(values)[:, 1:, :])
    assert any(f"{N_SLICES * COLUMNS:,} voxels outside" in warning for warning in file.warnings)


def test_padding_that_reads_as_air_is_left(tmp_path: Path) -> None:
    """The usual −2000 of a scanner stays as it is: lower than air, and lower than everything."""
    values = block(low=-1000, high=1000)
    values[:, 0, :] = -2000
    datasets = slices(values, signed=True, intercept=0.0)
    for ds in datasets:
        ds.PixelPaddingValue = -2000
    write_series(datasets, tmp_path / "s")
    np.testing.assert_array_equal(read_volume(tmp_path / "s").volume.values, turned(values))


def test_inverted_display_leaves_values_alone(tmp_path: Path) -> None:
    """MONOCHROME1 says how to show numbers, not what they are."""
    values = block()
    datasets = slices(values)
    for ds in datasets:
        ds.PhotometricInterpretation = "MONOCHROME1"
    write_series(datasets, tmp_path / "s")
    file = read_volume(tmp_path / "s")
    np.testing.assert_array_equal(file.volume.values, turned(values))
    assert any("inverted" in warning for warning in file.warnings)


def test_mr_is_single_precision(tmp_path: Path) -> None:
    """MR has no Hounsfield units: float32, rescaled where the file says so."""
    stored = block(low=0, high=4000)
    datasets = slices(stored, storage=MRImageStorage, intercept=0.0)
    for ds in datasets:
        ds.RescaleSlope, ds.RescaleIntercept = 0.5, 3.0
    for ds in datasets[:3]:
        del ds.RescaleSlope, ds.RescaleIntercept
    write_series(datasets, tmp_path / "s")
    file = read_volume(tmp_path / "s")
    assert file.volume.modality is Modality.MR
    assert file.volume.values.dtype == np.float32
    expected = stored * 0.5 + 3.0
    expected[:3] = stored[:3]
    np.testing.assert_array_equal(file.volume.values, turned(expected))


@pytest.mark.parametrize("syntax", ["explicit", "deflated", "JPEG 2000", "RLE"])
def test_many_frames_in_one_file(syntax: str, tmp_path: Path) -> None:
    """Frames of an enhanced CT lie where each of them says, with its own rescale."""
    values = block()
    order = np.random.default_rng(2).permutation(N_SLICES).tolist()
    intercepts = [-1024.0 - 7 * k for k in range(N_SLICES)]
    ds = enhanced(values, order=order, intercepts=intercepts)
    save(ds, tmp_path / "one.dcm", SYNTAXES[syntax])
    file = read_volume(tmp_path / "one.dcm")
    np.testing.assert_array_equal(file.volume.values, turned(values))
    np.testing.assert_allclose(file.volume.affine, affine_of(), atol=TEXT_MM)


def test_stacks_of_one_file_are_told_apart(tmp_path: Path) -> None:
    """Two stacks in one enhanced file are two series of the list."""
    ds = enhanced(block(n=14), stacks=["1"] * 8 + ["2"] * 6)
    save(ds, tmp_path / "one.dcm")
    facts = list_series(tmp_path / "one.dcm")
    assert [f.n_slices for f in facts] == [8, 6]
    assert all(f.usable for f in facts)
    assert read_volume(tmp_path / "one.dcm", series="2").volume.values.shape[2] == 6


def test_equal_slices_at_one_place_count_once(tmp_path: Path) -> None:
    """A slice sent twice is taken once, and that is said."""
    values = block()
    datasets = slices(values)
    datasets += slices(values)[3:5]
    write_series(datasets, tmp_path / "s")
    file = read_volume(tmp_path / "s")
    np.testing.assert_array_equal(file.volume.values, turned(values))
    assert any("2 slices stand twice" in warning for warning in file.warnings)


def test_digest_knows_neither_names_nor_order(tmp_path: Path) -> None:
    """The same files under other names have the same digest; one other bit has another."""
    datasets = slices(block())
    one = write_series(datasets, tmp_path / "one")
    two = write_series(datasets, tmp_path / "two", name=lambda k: f"x{99 - k}")
    datasets[3].PixelData = bytes([datasets[3].PixelData[0] ^ 1]) + datasets[3].PixelData[1:]
    three = write_series(datasets, tmp_path / "three")
    digests = [read_volume(folder).digest for folder in (one, two, three)]
    assert digests[0] == digests[1] != digests[2]
    assert len(digests[0]) == 64


def test_other_files_of_the_folder_are_passed_over(tmp_path: Path) -> None:
    """Viewers, pictures and texts beside the slices do not matter, but are told."""
    values = block()
    folder = write_series(slices(values), tmp_path / "disc" / "images" / "a")
    (tmp_path / "disc" / "readme.txt").write_text("for the viewer")
    (tmp_path / "disc" / "empty").write_bytes(b"")
    (folder / "picture.png").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(200))
    file = read_volume(tmp_path / "disc")
    np.testing.assert_array_equal(file.volume.values, turned(values))
    assert "3 files that are not DICOM, left out" in file.warnings


def test_progress_rises_to_the_end(tmp_path: Path) -> None:
    """Fractions never fall, and stages are named."""
    folder = write_series(slices(block(n=40)), tmp_path / "s")
    told: list[tuple[float, str]] = []
    read_volume(folder, progress=lambda part, stage: told.append((part, stage)))
    parts = [part for part, _ in told]
    assert parts == sorted(parts)
    assert {stage for _, stage in told} == {"reading headers", "reading slices"}
    assert 0.9 < parts[-1] <= 1


def test_work_stops_where_the_caller_says(tmp_path: Path) -> None:
    """`Cancelled` comes through as it is, from either stage."""
    folder = write_series(slices(block(n=40)), tmp_path / "s")
    for stage in ("reading headers", "reading slices"):

        def stop(part: float, now: str, stage: str = stage) -> None:
            if now == stage:
                raise Cancelled

        with pytest.raises(Cancelled):
            read_volume(folder, progress=stop)
