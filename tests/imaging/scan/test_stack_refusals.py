"""Slices that make no even stack are refused with where and how much, never mended in silence."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from pydicom.dataset import Dataset

from imaging.scan.scan_slices import block, set_pixels, slices, write_series
from rimwright.errors import FileRefusal
from rimwright.imaging import list_series, read_volume

pytestmark = pytest.mark.fault
N = 20


def moved(datasets: list[Dataset], index: int, **shift: float) -> list[Dataset]:
    """One slice elsewhere."""
    position = [float(c) for c in datasets[index].ImagePositionPatient]
    for axis, name in enumerate("xyz"):
        position[axis] += shift.get(name, 0.0)
    datasets[index].ImagePositionPatient = position
    return datasets


def placed(datasets: list[Dataset], z: list[float]) -> list[Dataset]:
    """Slices at given heights."""
    for ds, height in zip(datasets, z, strict=True):
        ds.ImagePositionPatient = [-30, -40, height]
    return datasets


def retold(datasets: list[Dataset], **tags: object) -> list[Dataset]:
    """All slices with other tags."""
    for ds in datasets:
        for name, value in tags.items():
            setattr(ds, name, value)
    return datasets


def without(datasets: list[Dataset], name: str, *, only: int | None = None) -> list[Dataset]:
    """Slices that lack a tag."""
    for ds in datasets if only is None else [datasets[only]]:
        delattr(ds, name)
    return datasets


def second_phase(datasets: list[Dataset]) -> list[Dataset]:
    """One place twice, with other pixels."""
    (extra,) = slices(block(1, n=N))[4:5]
    extra.SOPInstanceUID += ".1"
    set_pixels(extra, np.full((extra.Rows, extra.Columns), 5))
    return [*datasets, extra]


CASES: dict[str, tuple[Callable[[list[Dataset]], list[Dataset]], str]] = {
    "one missing": (
        lambda s: s[:7] + s[8:],
        "1 slice is missing (got a step of 3.00 mm after slice 7 of 19, between z = 109.0 and "
        "112.0 mm, need 1.50 mm). Send the series again, complete.",
    ),
    "several missing": (
        lambda s: s[:5] + s[7:12] + s[13:],
        "3 slices are missing (got a step of 4.50 mm after slice 5 of 17, between z = 106.0 and "
        "110.5 mm, and at 1 more places, need 1.50 mm). Send the series again, complete.",
    ),
    "uneven": (
        lambda s: placed(s, [100 + 1.5 * k + (0.6 if k > 9 else 0) for k in range(N)]),
        "its slices are unevenly spaced (got 2.100 mm after slice 10 of 20, 1.500 mm elsewhere, "
        "need the same within 0.1 mm). Reconstruct the series with one spacing.",
    ),
    "two spacings": (
        lambda s: placed(s, [100 + (k if k < 10 else 10 + 3 * (k - 10)) for k in range(N)]),
        "its slices are unevenly spaced",
    ),
    "shifted sideways": (
        lambda s: moved(s, 6, x=2.0),
        "its slices are shifted sideways (got",
    ),
    "runs off": (
        lambda s: [moved(s, k, x=4.0 * k)[k] for k in range(N)],
        "its slices run off sideways (got 69°, need at most 45°)",
    ),
    "second phase": (
        second_phase,
        "two different slices stand at one place (slice 5 of 20). Send the series alone, without "
        "a second reconstruction or phase.",
    ),
    "twice, shifted": (
        lambda s: [*s, *moved(slices(block(n=N)), 3, y=1.0)[3:4]],
        "two slices at one height are shifted sideways",
    ),
    "all at one place": (
        lambda s: placed(s, [100.0] * N),
        "too few slices for a volume (got 1, need at least 6)",
    ),
    "no spacing": (lambda s: without(s, "PixelSpacing"), "PixelSpacing is missing"),
    "zero spacing": (
        lambda s: retold(s, PixelSpacing=[0, 0.7]),
        "PixelSpacing is out of range (got 0 and 0.7 mm)",
    ),
    "no place": (
        lambda s: without(s, "ImagePositionPatient", only=3),
        "ImagePositionPatient or ImageOrientationPatient is missing in 1 of 20 files",
    ),
    "no direction": (
        lambda s: retold(s, ImageOrientationPatient=[0, 0, 0, 0, 1, 0]),
        "ImageOrientationPatient is not two unit directions at right angles",
    ),
    "skew": (
        lambda s: retold(s, ImageOrientationPatient=[1, 0, 0, 0.6, 0.8, 0]),
        "ImageOrientationPatient is not two unit directions at right angles",
    ),
    "no rescale": (
        lambda s: without(s, "RescaleIntercept"),
        "RescaleSlope or RescaleIntercept is missing: not known to be Hounsfield units",
    ),
    "other unit": (
        lambda s: retold(s, RescaleType="Z_EFF"),
        "its values are not Hounsfield units",
    ),
    "zero slope": (lambda s: retold(s, RescaleSlope=0), "RescaleSlope is out of range (got 0)"),
    "colour": (
        lambda s: retold(s, SamplesPerPixel=3, PhotometricInterpretation="RGB"),
        "a colour image",
    ),
    "projection": (
        lambda s: retold(s, ImageType=["DERIVED", "SECONDARY", "MIP"]),
        "a projection, not slices",
    ),
    "huge": (
        lambda s: retold(s, Rows=60000, Columns=60000),
        "its size is out of range (got 60000×60000, need 1 to 8192)",
    ),
    "larger than held": (
        lambda s: retold(s, Rows=400),
        "its pixels have the wrong length (got 3,034 bytes, need 29,600) (slice 1 of 20)",
    ),
}


@pytest.mark.parametrize("case", CASES)
def test_an_uneven_stack_is_refused_with_where_and_how_much(case: str, tmp_path: Path) -> None:
    """The sentence names what is wrong, what was got and what is needed."""
    change, sentence = CASES[case]
    write_series(change(slices(block(n=N))), tmp_path / "s", name=lambda k: f"{k:03d}")
    with pytest.raises(FileRefusal) as caught:
        read_volume(tmp_path / "s")
    line = str(caught.value)
    assert sentence in line
    assert line.startswith("s: series 1 [")
    assert "\n" not in line


@pytest.mark.parametrize("case", ["one missing", "uneven", "no spacing", "colour"])
def test_the_list_gives_the_reason_of_the_refusal(case: str, tmp_path: Path) -> None:
    """What the headers show already stands in the list."""
    change, sentence = CASES[case]
    write_series(change(slices(block(n=N))), tmp_path / "s", name=lambda k: f"{k:03d}")
    (fact,) = list_series(tmp_path / "s")
    assert not fact.usable
    assert fact.reason in sentence


def test_positions_rounded_to_tenths_are_even(tmp_path: Path) -> None:
    """Text of one decimal moves slices of 0.625 mm by up to 0.05 mm: no reason to refuse."""
    datasets = placed(slices(block(n=N)), [round(100 + 0.625 * k, 1) for k in range(N)])
    write_series(datasets, tmp_path / "s")
    # a rounding of at most 0.05 mm at the ends of 19 steps moves the mean step by less than this
    assert read_volume(tmp_path / "s").volume.spacing_mm[2] == pytest.approx(0.625, abs=0.006)


def test_gaps_between_thin_slices_are_told(tmp_path: Path) -> None:
    """Thickness and distance need not be the same, but the difference is said."""
    thin = retold(slices(block(n=N)), SliceThickness=1.0)
    file = read_volume(write_series(thin, tmp_path / "thin"))
    assert "slices of 1.00 mm lie 1.50 mm apart, with gaps between" in file.warnings
    thick = retold(slices(block(n=N)), SliceThickness=3.0)
    file = read_volume(write_series(thick, tmp_path / "thick"))
    assert "slices of 3.00 mm overlap: they lie 1.50 mm apart" in file.warnings
