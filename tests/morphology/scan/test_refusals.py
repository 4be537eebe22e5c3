"""What a scan cannot give is said in one sentence; work that is cancelled stops."""

from __future__ import annotations

import sys

import numpy as np
import pytest

from morphology.scan.kept import Kept
from morphology.scan.made_hips import LOOK, coarse_scan, plain_scan
from rimwright.anatomy import Cancelled, Modality, Side, Volume
from rimwright.errors import BoneRefusal
from rimwright.morphology.scan import measure_scan, survey_scan
from rimwright.morphology.scan.block_mean import coarsen
from rimwright.morphology.scan.hip_search import find_hips
from rimwright.morphology.scan.measure_scan import COARSE_MM
from rimwright.morphology.scan.oriented import orient
from rimwright.phantom import HipShape, make_hip
from rimwright.phantom.ct import grid_round, make_ct

pytestmark = pytest.mark.fault

NO_HIP = (
    "scan: no hip was found (no ball of bone in a hollow of bone of a hip's size). Check side and "
    "series; a hip that cannot be found may be given as surfaces."
)


def refused(volume: Volume, side: Side = Side.LEFT) -> str:
    """The sentence that a scan is refused with."""
    with pytest.raises(BoneRefusal) as caught:
        measure_scan(volume, side=side)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def plain_box(values: np.ndarray, spacing_mm: float = 2.0) -> Volume:
    """Values on straight voxels."""
    return Volume(
        values=values.astype(np.int16), affine=np.diag([spacing_mm, spacing_mm, spacing_mm, 1.0])
    )


def cropped(volume: Volume, upper: tuple[int | None, int | None, int | None]) -> Volume:
    """The scan without what lies beyond some indices."""
    i, j, k = upper
    return Volume(values=volume.values[:i, :j, :k], affine=volume.affine)


def test_mr_is_refused() -> None:
    """Bones are found in a CT alone."""
    volume = Volume(
        values=np.zeros((40, 40, 40), np.float32), affine=np.eye(4), modality=Modality.MR
    )
    assert refused(volume) == (
        "scan: bones are found in a CT only (got MR). Read an MR on its radial reformats, or give "
        "surfaces of the bones."
    )
    assert survey_scan(volume).reason == "bones are looked for in a CT only, this is MR"
    assert survey_scan(volume).hips == ()


@pytest.mark.parametrize("level_hu", [0.0, 40.0, 700.0])
def test_noise_holds_no_hip(level_hu: float) -> None:
    """Water, muscle or one lump of bone with noise of 80 HU: no hip."""
    rng = np.random.default_rng(1)
    volume = plain_box(rng.normal(level_hu, 80.0, (60, 62, 64)))
    assert refused(volume) == NO_HIP
    survey = survey_scan(volume)
    assert survey.hips == ()
    assert survey.reason == "no ball of bone in a hollow of bone of a hip's size was found"


def test_a_water_box_in_air_holds_no_hip() -> None:
    """Edges, but none of a ball."""
    values = np.full((70, 70, 70), -1000.0)
    values[12:-12, 12:-12, 12:-12] = 0.0
    assert refused(plain_box(values)) == NO_HIP


def test_a_bare_ball_is_no_hip() -> None:
    """A ball of bone without a hollow round it."""
    z, y, x = np.mgrid[:70, :70, :70] * 2.0 - 69.0
    values = np.where(x**2 + y**2 + z**2 < 24.0**2, 900.0, 40.0)
    assert refused(plain_box(values)) == NO_HIP


def test_a_knee_is_no_hip() -> None:
    """Condyles are balls too: the lower end of a femur alone."""
    hip = make_hip(HipShape(with_other_hip_bone=False))
    points = hip.femur.vertices_mm
    low = points[points[:, 2] < points[:, 2].min() + 90.0]
    grid = grid_round(low, spacing_mm=[1.6] * 3, margin_mm=20.0)
    assert refused(make_ct([hip.femur], look=LOOK, grid=grid)) == NO_HIP


def test_the_wrong_side_is_refused(kept: Kept) -> None:
    """A left hip asked for as a right one."""
    assert refused(plain_scan(kept), Side.RIGHT) == (
        "scan: no right hip was found (a left one was). Check side and series; a hip that cannot "
        "be found may be given as surfaces."
    )


def test_a_hip_cut_by_the_field_is_refused(kept: Kept) -> None:
    """The field ends 2.4 mm beyond the head's top (22 voxels of 1.2 mm, radius 24)."""
    volume = plain_scan(kept)
    middle = volume.values.shape[2] // 2
    assert refused(cropped(volume, (None, None, middle + 23))) == (
        "scan: the left hip is cut by the field (the head's sphere ends 2 mm inside it, need 4 mm)"
        ". Give a series whose field holds the whole hip."
    )


def test_a_field_that_ends_near_the_rim_is_warned_of(kept: Kept) -> None:
    """8.4 mm beyond the head's top (27 voxels of 1.2 mm): measured, and said."""
    volume = plain_scan(kept)
    middle = volume.values.shape[2] // 2
    hip = measure_scan(cropped(volume, (None, None, middle + 28)), side=Side.LEFT).hip
    assert hip.warnings[0] == (
        "the field ends 8 mm beyond the head: the rim or the bone behind it may be cut"
    )


def test_too_long_voxels_are_refused() -> None:
    """5 mm shows no joint."""
    volume = plain_box(np.zeros((40, 40, 40)), spacing_mm=5.0)
    assert refused(volume) == (
        "scan: the voxels are too long to show a joint (got 5.0 mm, need at most 4.5 mm). Have "
        "thinner slices reconstructed from the raw data."
    )
    assert survey_scan(volume).reason.startswith("the voxels are too long to show a joint")


def test_a_field_smaller_than_a_hip_is_refused() -> None:
    """A slab of 30 mm."""
    assert refused(plain_box(np.zeros((60, 60, 15)))) == (
        "scan: the field is too small for a hip (got 30 mm, need at least 40 mm). Give the whole "
        "series."
    )


@pytest.mark.slow
def test_cancelled_at_every_stage(kept: Kept, monkeypatch: pytest.MonkeyPatch) -> None:
    """Progress rises from 0 to 1; raised from any of its calls, `Cancelled` comes out."""
    volume = coarse_scan(kept)
    told: list[tuple[float, str]] = []
    measure_scan(volume, side=Side.LEFT, progress=lambda part, stage: told.append((part, stage)))
    parts = [part for part, _ in told]
    assert parts == sorted(parts)
    assert parts[0] == 0.0
    assert parts[-1] == 1.0
    stages = list(dict.fromkeys(stage for _, stage in told))
    assert stages[0] == "looking for the hips"
    assert len(stages) >= 6
    # the search is told of once, at its beginning: what it found serves for all later stages
    found = find_hips(orient(volume), coarsen(orient(volume), wanted_mm=COARSE_MM))
    monkeypatch.setattr(sys.modules[measure_scan.__module__], "find_hips", lambda *_: found)
    for wanted in stages:

        def stop(part: float, stage: str, wanted: str = wanted) -> None:
            if stage == wanted:
                raise Cancelled

        with pytest.raises(Cancelled):
            measure_scan(volume, side=Side.LEFT, progress=stop)


def test_a_survey_is_cancelled(kept: Kept) -> None:
    """At each of its calls."""
    volume = coarse_scan(kept)
    told: list[str] = []
    survey_scan(volume, progress=lambda part, stage: told.append(stage))
    assert len(told) >= 3
    for wanted in dict.fromkeys(told):

        def stop(part: float, stage: str, wanted: str = wanted) -> None:
            if stage == wanted:
                raise Cancelled

        with pytest.raises(Cancelled):
            survey_scan(volume, progress=stop)
