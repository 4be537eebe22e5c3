"""A real CT of 3 mm with a network's label map: what it must give, and what it must refuse."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from morphology.scan.kept import Kept
from rimwright.anatomy import LabelMap, Side, Status, Volume
from rimwright.imaging import read_labels, read_volume
from rimwright.morphology.scan import ScannedHip, measure_scan, survey_scan

pytestmark = [pytest.mark.oracle, pytest.mark.slow]

HEAD_RADIUS_MM = 25.5  # README of the data: measured roughly and once


@pytest.fixture(scope="module")
def files(shared_data: Path) -> tuple[Volume, LabelMap]:
    """The scan and its label map."""
    folder = shared_data / "ct-3mm"
    if not folder.is_dir():
        pytest.skip("no ../shared/data/ct-3mm beside the project")
    return (
        read_volume(folder / "example_ct.nii.gz").volume,
        read_labels(folder / "example_seg_fast_force_split.nii.gz").labels,
    )


def scanned(
    kept: Kept, files: tuple[Volume, LabelMap], side: Side, *, labelled: bool
) -> ScannedHip:
    """One side, measured once."""
    volume, labels = files
    return kept.get(
        f"ct-3mm-{side}-{labelled}",
        lambda: measure_scan(volume, side=side, labels=labels if labelled else None),
    )


@pytest.mark.parametrize("labelled", [False, True])
def test_right_head(kept: Kept, files: tuple[Volume, LabelMap], labelled: bool) -> None:
    """Radius 25.5 ± 1.0."""
    head = scanned(kept, files, Side.RIGHT, labelled=labelled).hip.head
    assert head is not None
    assert head.radius_mm == pytest.approx(HEAD_RADIUS_MM, abs=1.0)


def test_right_hip_with_and_without_labels(kept: Kept, files: tuple[Volume, LabelMap]) -> None:
    """Centre within 2 mm and lateral centre-edge angle within 4 degrees of each other."""
    found, labelled = (
        scanned(kept, files, Side.RIGHT, labelled=flag).hip for flag in (False, True)
    )
    assert found.head is not None
    assert labelled.head is not None
    assert np.linalg.norm(found.head.centre_mm - labelled.head.centre_mm) < 2.0
    key = "lateral_centre_edge_angle"
    wanted = labelled.measurements[key].value
    assert wanted is not None
    assert found.measurements[key].value == pytest.approx(wanted, abs=4.0)
    note = "the bones were told apart by the label map, not by search"
    assert note in labelled.warnings
    assert note not in found.warnings


@pytest.mark.parametrize("labelled", [False, True])
@pytest.mark.parametrize("side", list(Side))
def test_a_femur_cut_short_has_no_angles(
    kept: Kept, files: tuple[Volume, LabelMap], side: Side, labelled: bool
) -> None:
    """The scan ends 30 mm under the heads: neck-shaft angle and version are refused, with why."""
    hip = scanned(kept, files, side, labelled=labelled).hip
    for key in ("neck_shaft_angle", "femoral_version"):
        assert hip.measurements[key].status is Status.REFUSED
        assert hip.measurements[key].value is None
        assert hip.measurements[key].reason


@pytest.mark.parametrize("labelled", [False, True])
@pytest.mark.parametrize("side", list(Side))
def test_every_number_is_warned_of(
    kept: Kept, files: tuple[Volume, LabelMap], side: Side, labelled: bool
) -> None:
    """3 mm: no number without its caution."""
    hip = scanned(kept, files, side, labelled=labelled).hip
    assert any(text.startswith("voxels of 3.0 × 3.0 × 3.0 mm:") for text in hip.warnings)
    for item in hip.measurements.values():
        assert item.value is None or "voxels 3.0 mm long" in item.reason


@pytest.mark.parametrize("labelled", [False, True])
def test_metal_on_the_left_alone(
    kept: Kept, files: tuple[Volume, LabelMap], labelled: bool
) -> None:
    """The left femur holds metal (over 2000 HU in 14 cm³): warned of; the right none."""
    left, right = (scanned(kept, files, side, labelled=labelled) for side in Side)
    volume, _ = files
    bright = np.count_nonzero(volume.values > 2000) * float(np.prod(volume.spacing_mm))
    assert sum(piece.volume_mm3 for piece in left.metal) == pytest.approx(bright, rel=0.02)
    assert any(text.startswith("metal (") for text in left.hip.warnings)
    for item in left.hip.measurements.values():
        assert item.value is None or "metal about the hip" in item.reason
    assert right.metal == ()
    assert not any(text.startswith("metal (") for text in right.hip.warnings)


@pytest.mark.parametrize("labelled", [False, True])
def test_survey(files: tuple[Volume, LabelMap], labelled: bool) -> None:
    """Both hips are seen, with what the field lacks and the metal."""
    volume, labels = files
    survey = survey_scan(volume, labels=labels if labelled else None)
    assert survey.reason == ""
    assert [hip.side for hip in survey.hips] == [Side.LEFT, Side.RIGHT]
    left, right = survey.hips
    assert left.metal_mm3 > 10_000.0
    assert right.metal_mm3 == 0.0
    assert any(text.startswith("metal near it (") for text in left.doubts)
    assert survey.doubts == ("voxels 3.0 mm long: angles to about 3 degrees",)
    for hip in survey.hips:
        # 30 mm under the heads (README of the data), less than either needs
        assert set(hip.unfit) == {"neck_shaft_angle", "femoral_version"}
        assert hip.unfit["femoral_version"].startswith("the condyles are not in the scan (it ends")
        assert hip.centre_mm[0] * hip.side.lateral_x_lps > 0
