"""The demo's CT: read without a doubt, small, replaced whole or not at all."""

from __future__ import annotations

import numpy as np
import pytest

from rimwright.anatomy.progress import Cancelled
from rimwright.casework import demo_series, read_case, write_demo_case
from rimwright.errors import FileRefusal
from rimwright.imaging import read_volume
from rimwright.phantom import demo_shape, make_hip
from rimwright.phantom.ct import CtLook, grid_round, person_bones

MOST_BYTES = 60e6


@pytest.fixture
def coarse(monkeypatch):
    """Voxels three times as long as the demo's: the same files in a second."""
    monkeypatch.setattr(demo_series, "SPACING_MM", (2.7, 2.7, 3.6))
    monkeypatch.setattr(demo_series, "SAMPLE_MM", 1.35)


def test_the_series_is_read_without_a_doubt_and_shows_the_bones(coarse, tmp_path):
    """One CT series, no warning; spongy bone and cortex where the made hip has them."""
    case = read_case(write_demo_case(tmp_path, is_scan=True))
    assert case.sources.image == tmp_path / "series"
    assert (case.sources.pelvis, case.sources.femur) == (None, None)
    read = read_volume(case.sources.image)
    assert read.warnings == ()
    volume, look = read.volume, CtLook()
    hip = make_hip(demo_shape())
    centre = hip.truth.head_centre_mm
    for middle in (centre, _mirrored(hip, centre)):
        around = middle + np.random.default_rng(0).normal(0, 5, (400, 3))
        at = np.round(volume.to_index(around)).astype(int)
        # 400 voxels of noise 25 HU, some of them the same one: the mean is known to 3 HU.
        assert volume.values[tuple(at.T)].mean() == pytest.approx(look.spongy_hu, abs=10)
    shaft = hip.femur.vertices_mm[:, 2] < centre[2] - 150
    at = np.round(volume.to_index(hip.femur.vertices_mm[shaft])).astype(int)
    assert volume.values[tuple(at.T)].mean() > 400  # half of cortex, half of muscle, thinned


def test_the_bones_route_is_the_case_it_was(tmp_path):
    """Without a scan the case names both bone files and no image, and all else is the same."""
    bones = read_case(write_demo_case(tmp_path / "bones"))
    assert (bones.sources.pelvis, bones.sources.image) == (tmp_path / "bones/pelvis.stl", None)
    text = (tmp_path / "bones" / "case.toml").read_text()
    head, rest = text.split("pelvis = ")
    from rimwright.casework.demo_case import case_of_scan

    scan_head, scan_rest = case_of_scan().split("image = ")
    assert scan_head == head
    assert scan_rest.split("\n", 1)[1] == rest.split('axes = "LPS"\n')[1]


def test_the_series_shipped_is_small():
    """Two bytes a voxel and a kilobyte a slice stay under 60 MB."""
    bones = person_bones(make_hip(demo_shape()))
    points = np.concatenate([bone.vertices_mm for bone in bones])
    grid = grid_round(points, spacing_mm=demo_series.SPACING_MM, margin_mm=demo_series.MARGIN_MM)
    assert 2 * np.prod(grid.shape) + 1024 * grid.shape[2] < MOST_BYTES


@pytest.mark.fault
def test_an_earlier_series_is_replaced_whole_and_other_files_are_not_touched(
    coarse, tmp_path, monkeypatch
):
    """Again gives the same files; stopped leaves the old; a folder with other files is refused."""
    monkeypatch.setattr(demo_series, "MARGIN_MM", -70.0)  # a small part of the field
    write_demo_case(tmp_path, is_scan=True)
    series = tmp_path / "series"
    first = {path.name: path.read_bytes() for path in series.iterdir()}
    (series / "9999.dcm").write_bytes(b"of an earlier demo with more slices")

    def stop(fraction, stage):
        if fraction > 0.9:
            raise Cancelled

    with pytest.raises(Cancelled):
        write_demo_case(tmp_path, is_scan=True, progress=stop)
    assert {path.name for path in series.iterdir()} == {*first, "9999.dcm"}
    assert {path.name for path in tmp_path.iterdir()} == {"series", "case.toml"}
    write_demo_case(tmp_path, is_scan=True)
    assert {path.name: path.read_bytes() for path in series.iterdir()} == first
    (series / "notes.txt").write_text("mine")
    with pytest.raises(FileRefusal) as refused:
        write_demo_case(tmp_path, is_scan=True)
    assert str(refused.value) == (
        f"{series}: something other than slices stands there (need a new folder, or an earlier "
        "demo). Name another folder."
    )
    assert (series / "notes.txt").read_text() == "mine"


def _mirrored(hip, point):
    """The point of the person's other side."""
    one, other = hip.hip_bone.vertices_mm, hip.other_hip_bone.vertices_mm
    normal = (one - other)[0] / np.linalg.norm((one - other)[0])
    return point - 2 * ((point - (one[0] + other[0]) / 2) @ normal) * normal
