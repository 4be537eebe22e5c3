"""Radial pictures on paper: what is said in words, what is drawn, marks that can be left off."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from PIL import Image, ImageDraw

from morphology.reformat.made_scan import scan_of_femur, true_hip
from rimwright.anatomy import Modality, Side, Volume
from rimwright.errors import LayoutRefusal
from rimwright.morphology.reformat import (
    alpha_on_reformats,
    neck_planes,
    resample,
    socket_planes,
)
from rimwright.phantom import HipShape
from rimwright.report.grey_window import GreyWindow, usual_window
from rimwright.report.radial_panel import ARM, AXIS, CIRCLE, LABEL_HEIGHT, draw_panel, hour_words
from rimwright.report.radial_words import SheetFacts
from rimwright.report.raster import png_bytes
from rimwright.report.reformat_sheet import (
    PAGE_WIDTH,
    acetabular_sheet,
    femoral_sheet,
    radial_leaf,
)
from rimwright.report.wording import NOTICE

SHAPE = HipShape(side=Side.RIGHT)
FACTS = SheetFacts(
    modality=Modality.CT,
    window=GreyWindow(centre=300.0, width=1500.0),
    slab_mm=3.0,
    name="example-01",
    notes=("slices are thick",),
)


@pytest.fixture(scope="module")
def scan() -> Volume:
    """A coarse made scan of a right hip."""
    return scan_of_femur(SHAPE, spacing_mm=(1.2, 1.2, 1.2), half_mm=50.0)


@pytest.fixture
def written(monkeypatch: pytest.MonkeyPatch) -> list[tuple[tuple[float, float], str]]:
    """Every text drawn, with its place."""
    texts: list[tuple[tuple[float, float], str]] = []
    plain = ImageDraw.ImageDraw.text

    def text(self: Any, xy: Any, words: str, *args: Any, **kwargs: Any) -> None:
        texts.append((tuple(xy), words))
        plain(self, xy, words, *args, **kwargs)

    monkeypatch.setattr(ImageDraw.ImageDraw, "text", text)
    return texts


def colours(image: Image.Image) -> int:
    """Pixels in which red, green and blue are far from equal: paper, ink and greys are not."""
    pixels = np.asarray(image.convert("RGB")).astype(int)
    return int((np.ptp(pixels, axis=2) > 60).sum())


def test_an_acetabular_sheet_says_what_it_is(scan: Volume, written: list) -> None:
    """Side, kind, modality, slab, window, all twenty-four hours with words, and the notice."""
    planes = socket_planes(true_hip(SHAPE))
    sheet = acetabular_sheet(resample(scan, planes), planes, facts=FACTS)
    words = [text for _, text in written]
    whole = " ".join(words)
    assert "RIGHT hip · ACETABULAR hours · example-01" in words
    assert "FEMORAL" not in whole
    assert "CT · slab of 3 mm, mean · window: centre 300, width 1500 HU" in whole
    assert NOTICE in whole
    assert "Slices are thick." in whole
    assert "Hours counted from: notch." in whole
    for hour in range(12):
        for minutes in ("00", "30"):
            assert words.count(f"{hour or 12}:{minutes}") == 1
    for direction, times in (("anterior", 11), ("posterior", 11), ("cranial", 1), ("caudal", 1)):
        assert words.count(f" {direction}") == times
    assert words.count("lateral") == words.count("medial") == words.count("20 mm") == 12
    assert sheet.width == PAGE_WIDTH
    assert 1.3 < sheet.height / sheet.width < 1.42  # twelve pictures fill a page of A4


def test_nothing_written_leaves_its_picture(scan: Volume, monkeypatch: pytest.MonkeyPatch) -> None:
    """Every line ends inside its sheet, leaf or panel, a long name of the case included."""
    ends: list[tuple[float, float, str]] = []
    plain = ImageDraw.ImageDraw.text

    def text(self: Any, xy: Any, words: str, *args: Any, **kwargs: Any) -> None:
        left, top, right, bottom = self.textbbox(
            xy, words, font=kwargs["font"], anchor=kwargs.get("anchor")
        )
        width, height = self.im.size
        assert min(left, top) >= -2.0, words  # an anchor in the middle rounds by a pixel or two
        ends.append((right - width, bottom - height, words))
        plain(self, xy, words, *args, **kwargs)

    monkeypatch.setattr(ImageDraw.ImageDraw, "text", text)
    facts = replace(FACTS, name="a name of a case that is far too long for one line of a leaf")
    planes = neck_planes(true_hip(SHAPE))
    pictures = resample(scan, planes)
    femoral_sheet(pictures, planes, facts=facts, alpha=alpha_on_reformats(scan, planes))
    radial_leaf(pictures[1], planes[1], facts=facts)
    assert len(ends) > 100
    for beyond_right, beyond_bottom, words in ends:
        assert beyond_right <= 0.0, words
        assert beyond_bottom <= 0.0, words


def test_alpha_stands_beside_its_hour_with_its_status(scan: Volume, written: list) -> None:
    """Values in degrees; refused ones are said to be not read; both reasons stand below."""
    planes = neck_planes(true_hip(SHAPE), hours=[1.5])
    pictures = resample(scan, planes)
    alpha = alpha_on_reformats(scan, planes)
    femoral_sheet(pictures, planes, facts=FACTS, alpha=alpha)
    value = alpha[0].alpha.value
    assert f"   alpha {value:.1f}°" in [text for _, text in written]
    written.clear()
    refused = alpha_on_reformats(
        Volume(values=scan.values.astype(np.float32), affine=scan.affine, modality=Modality.MR),
        planes,
    )
    femoral_sheet(pictures, planes, facts=FACTS, alpha=refused)
    words = [text for _, text in written]
    assert words.count("   alpha ✕ not read") == 2
    assert "Alpha at every hour: on MR the outline of the bone is read by eye" in " ".join(words)


def test_marks_can_be_left_off(scan: Volume) -> None:
    """With marks there is colour on the pictures; without, not one coloured pixel."""
    hip = true_hip(SHAPE)
    for lay, sheet in ((socket_planes, acetabular_sheet), (neck_planes, femoral_sheet)):
        planes = lay(hip, hours=[0.0, 1.5])
        pictures = resample(scan, planes)
        assert colours(sheet(pictures, planes, facts=FACTS, marks=True)) > 1000
        assert colours(sheet(pictures, planes, facts=FACTS, marks=False)) == 0
        assert colours(radial_leaf(pictures[1], planes[1], facts=FACTS)) == 0


def near(image: np.ndarray, colour: str) -> np.ndarray:
    """Places, (n, 2) row and column, of pixels of one colour."""
    wanted = np.array([int(colour[k : k + 2], 16) for k in (1, 3, 5)])
    return np.argwhere(np.abs(image.astype(int) - wanted).max(axis=2) < 40)


def test_marks_lie_where_the_geometry_is(scan: Volume) -> None:
    """Rings about the rim points, a circle of the socket's radius, the axis through its centre."""
    hip = true_hip(SHAPE)
    (plane,) = socket_planes(hip, hours=[2.0])
    size = 2 * plane.shape[1]
    grey = np.zeros(plane.shape, dtype=np.uint8)
    panel = np.asarray(draw_panel(grey, plane, size=size))[LABEL_HEIGHT:-LABEL_HEIGHT]
    centre = 2.0 * (plane.to_pixels(hip.socket.centre_mm) + 0.5)
    ring = near(panel, ARM)
    for hour in (2.0, 8.0):
        at = 2.0 * (plane.to_pixels(hip.rim.point_at(hour)) + 0.5)
        gaps = np.linalg.norm(ring - at, axis=1)
        own = gaps < 20.0
        assert own.sum() > 40
        assert gaps[own].min() > 6.0  # the point itself stays free
        np.testing.assert_allclose(ring[own].mean(axis=0), at, atol=1.5)
    circle = np.linalg.norm(near(panel, CIRCLE) - centre, axis=1)
    radius = 2.0 * hip.socket.radius_mm / plane.pixel_mm
    np.testing.assert_allclose(circle, radius, atol=3.0)  # a line is three pixels wide
    rows = near(panel, AXIS)[:, 0]
    np.testing.assert_allclose(rows, centre[0], atol=3.0)


@pytest.mark.parametrize(
    ("hour", "word"),
    [(0.0, "cranial"), (12.0, "cranial"), (0.5, "anterior"), (3.0, "anterior"), (5.5, "anterior"),
     (6.0, "caudal"), (6.5, "posterior"), (11.5, "posterior")],
)  # fmt: skip
def test_words_of_hours(hour: float, word: str) -> None:
    """Anterior from 12 to 6, posterior from 6 to 12, on both sides."""
    assert hour_words(hour) == word


def test_windows() -> None:
    """Linear between its ends, clipped beyond; outside the scan is hatched in two dark greys."""
    window = GreyWindow(centre=100.0, width=200.0)
    picture = np.array([[-50.0, 0.0, 50.0, 100.0, 200.0, 900.0]], dtype=np.float32)
    np.testing.assert_array_equal(window.grey(picture), [[0, 0, 64, 128, 255, 255]])
    outside = window.grey(np.full((20, 20), np.nan, dtype=np.float32))
    assert set(np.unique(outside)) == {38, 58}
    assert usual_window(picture, modality=Modality.CT).width == 1500.0
    spread = usual_window(np.arange(101, dtype=np.float32), modality=Modality.MR)
    assert (spread.centre, spread.width) == pytest.approx((50.0, 98.0))
    assert "percentile" in spread.words(Modality.MR)
    assert "HU" not in spread.words(Modality.MR)
    for wrong in (0.0, -5.0, float("nan"), float("inf")):
        with pytest.raises(LayoutRefusal, match="window: not a window"):
            GreyWindow(centre=0.0, width=wrong)


def test_a_png_holds_pixels_and_size_only(scan: Volume) -> None:
    """The same picture gives the same bytes; no text, time or name is in the file."""
    (plane,) = socket_planes(true_hip(SHAPE), hours=[3.0])
    (picture,) = resample(scan, [plane])
    first, second = (png_bytes(radial_leaf(picture, plane, facts=FACTS)) for _ in range(2))
    assert first == second
    chunks, at = [], 8
    while at < len(first):
        length = int.from_bytes(first[at : at + 4], "big")
        chunks.append(first[at + 4 : at + 8].decode())
        at += length + 12
    assert set(chunks) == {"IHDR", "pHYs", "IDAT", "IEND"}
