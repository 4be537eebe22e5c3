"""What is found on the way: hips and sides, the traced joint, the scan's blur, pieces of metal."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from morphology.scan.kept import Kept
from morphology.scan.made_hips import LOOK, PLAIN, plain_scan
from morphology.scan.orders import mirrored
from rimwright.anatomy import Side, Volume
from rimwright.morphology.scan import survey_scan
from rimwright.morphology.scan.block_mean import coarsen
from rimwright.morphology.scan.blur import Scanner, learn_scanner
from rimwright.morphology.scan.hip_search import find_hips
from rimwright.morphology.scan.joint_trace import trace_joint
from rimwright.morphology.scan.measure_scan import COARSE_MM
from rimwright.morphology.scan.metal import find_metal
from rimwright.morphology.scan.oriented import OrientedGrid, orient
from rimwright.phantom import HipTruth, make_hip
from rimwright.phantom.ct import grid_round, make_ct, person_bones


@pytest.fixture(scope="module")
def two_hips(kept: Kept) -> tuple[Volume, HipTruth]:
    """Both hips of a person from 60 mm below the heads to 60 mm above, at 2 mm."""
    shape = replace(PLAIN, with_other_hip_bone=True, side=Side.RIGHT)

    def make() -> Volume:
        hip = make_hip(shape)
        bones = person_bones(hip)
        points = np.concatenate([bone.vertices_mm for bone in bones])
        height = points[:, 2] - hip.truth.head_centre_mm[2]
        grid = grid_round(points[np.abs(height) < 60.0], spacing_mm=[1.9, 1.9, 1.9], margin_mm=5.0)
        return make_ct(bones, look=LOOK, grid=grid)

    return kept.get("two-hips", make), HipTruth(shape=shape)


def test_both_hips_are_found_with_their_sides(two_hips: tuple[Volume, HipTruth]) -> None:
    """Left first; each head within 0.7 mm, radius within 1 mm: the search's own promise is 1 mm."""
    volume, truth = two_hips
    scan = orient(volume)
    found = find_hips(scan, coarsen(scan, wanted_mm=COARSE_MM))
    assert [hip.side for hip in found] == [Side.LEFT, Side.RIGHT]
    # the person's middle plane is x = 0 here: position (88, 0, 0), no turn
    for hip, sign in zip(found, (-1.0, 1.0), strict=True):
        wanted = truth.head_centre_mm * [sign, 1.0, 1.0]
        assert np.linalg.norm(hip.centre_mm - wanted) < 0.7
        assert hip.radius_mm == pytest.approx(truth.head_radius_mm, abs=1.0)
        assert hip.cover > 0.3


def test_one_hip_is_found_once(kept: Kept) -> None:
    """A field about one head has one hip; mirrored, one of the other side."""
    volume = plain_scan(kept)
    for turned, side in ((volume, Side.LEFT), (mirrored(volume), Side.RIGHT)):
        scan = orient(turned)
        (hip,) = find_hips(scan, coarsen(scan, wanted_mm=COARSE_MM))
        assert hip.side is side
        wanted = HipTruth(shape=replace(PLAIN, side=side)).head_centre_mm
        assert np.linalg.norm(hip.centre_mm - wanted) < 0.7


def test_a_survey_names_what_the_field_lacks(two_hips: tuple[Volume, HipTruth]) -> None:
    """60 mm of field below and above: no neck-shaft angle, no version, no pelvic plane."""
    survey = survey_scan(two_hips[0])
    assert [hip.side for hip in survey.hips] == [Side.LEFT, Side.RIGHT]
    assert survey.reason == ""
    assert survey.doubts == ()
    for hip in survey.hips:
        assert set(hip.unfit) == {"neck_shaft_angle", "femoral_version"}
        assert hip.unfit["neck_shaft_angle"].startswith("the scan ends 6")
        assert hip.metal_mm3 == 0.0
        (doubt,) = hip.doubts
        assert "under the iliac spines: angles are taken in the image axes" in doubt


def test_a_survey_of_one_hip(kept: Kept) -> None:
    """The other hip is not in the scan."""
    (hip,) = survey_scan(plain_scan(kept)).hips
    assert hip.doubts == (
        "the other hip is not in the scan: angles are taken in the image axes, as cautions, not in "
        "the pelvis' own",
    )


@pytest.mark.oracle
@pytest.mark.parametrize("offset_mm", [(0, 0, 0), (4, -3, 2), (-3, 3, 4)])
def test_a_trace_settles_from_a_rough_start(kept: Kept, offset_mm: tuple[int, ...]) -> None:
    """From 5 mm off and a radius of 22: the head within 0.2 mm, most of the socket seen."""
    truth = HipTruth(shape=PLAIN)
    trace = trace_joint(
        orient(plain_scan(kept)),
        centre_mm=truth.head_centre_mm + np.array(offset_mm),
        radius_mm=22.0,
        side=Side.LEFT,
    )
    assert np.linalg.norm(trace.sphere.centre_mm - truth.head_centre_mm) < 0.2
    assert trace.sphere.radius_mm == pytest.approx(24.0, abs=0.4)
    assert trace.cover > 0.5
    assert not trace.metal.any()
    both = trace.free.astype(int) + trace.covered + trace.touching
    assert both.max() == 1


@pytest.mark.slow
@pytest.mark.oracle
@pytest.mark.parametrize("blur_mm", [0.4, 0.7, 1.0])
def test_the_blur_is_learned(blur_mm: float) -> None:
    """Blur within 0.12 mm, soft tissue within 25 HU, plates within 0.4 mm and 20 %.

    0.12 mm is a third of the steps tried. A ball's surface is curved and noisy.
    """
    truth = HipTruth(shape=PLAIN)
    hip = make_hip(PLAIN)
    corners = truth.head_centre_mm + np.array([[-46.0], [46.0]])
    grid = grid_round(corners, spacing_mm=[0.9, 0.9, 0.9], margin_mm=0.0)
    volume = make_ct(
        [hip.hip_bone, hip.femur], look=replace(LOOK, blur_mm=blur_mm), grid=grid, sample_mm=0.45
    )
    scan = orient(volume)
    trace = trace_joint(scan, centre_mm=truth.head_centre_mm, radius_mm=24.0, side=Side.LEFT)
    scanner, plates = learn_scanner(scan, trace)
    assert scanner.learned
    assert scanner.blur_mm == pytest.approx(blur_mm, abs=0.12)
    assert plates.soft_hu == pytest.approx(LOOK.soft_hu, abs=25.0)
    assert plates.thickness_mm == pytest.approx(LOOK.cortex_mm, abs=0.4)
    assert plates.plate_hu == pytest.approx(LOOK.cortex_hu, rel=0.2)


@pytest.mark.oracle
def test_the_smear_along_a_direction() -> None:
    """Variances add: blur², h²/12 of the voxel and h²/6 of reading between voxels, by direction."""
    grid = OrientedGrid(
        values=np.zeros((4, 4, 4), np.int16),
        step=np.diag([3.0, 0.7, 0.7])[:, ::1][[2, 1, 0]],
        origin_mm=np.zeros(3),
    )
    along = Scanner(blur_mm=0.6, learned=True).sigma_along(grid, np.eye(3))
    wanted = np.sqrt(0.36 + np.array([0.7, 0.7, 3.0]) ** 2 * (1 / 12 + 1 / 6))
    np.testing.assert_allclose(along, wanted, rtol=1e-6)


def metal_box(length: int, *, hu: int, gap: bool = False) -> OrientedGrid:
    """A rod of metal along x in muscle, voxels of 1 mm."""
    values = np.full((60, 60, 60), 40, np.int16)
    values[29:32, 29:32, 20 : 20 + length] = hu
    if gap:
        values[29:32, 29:32, 20 + length // 2] = 40
    return OrientedGrid(values=values, step=np.eye(3)[:, ::-1], origin_mm=np.zeros(3))


def test_a_rod_of_metal() -> None:
    """Its voxels' middle, axis, extent and volume."""
    (piece,) = find_metal(metal_box(20, hu=3000), np.full(3, 30.0))
    np.testing.assert_allclose(piece.centre_mm, [29.5, 30.0, 30.0])
    np.testing.assert_allclose(piece.axis, [1.0, 0.0, 0.0], atol=1e-9)
    assert piece.length_mm == pytest.approx(20.0)
    assert piece.width_mm == pytest.approx(2.0 * np.sqrt(2.0) + 1.0, abs=1e-6)
    assert piece.volume_mm3 == pytest.approx(180.0)
    assert piece.lies_in == "elsewhere"


def test_pieces_are_told_apart_largest_first() -> None:
    """Two rods with a voxel between them are two pieces."""
    pieces = find_metal(metal_box(21, hu=3000, gap=True), np.full(3, 30.0))
    assert [piece.volume_mm3 for piece in pieces] == [90.0, 90.0]
    grid = metal_box(20, hu=3000)
    grid.values[10:13, 10:13, 10:13] = 3000
    assert [piece.volume_mm3 for piece in find_metal(grid, np.full(3, 30.0))] == [180.0, 27.0]


@pytest.mark.parametrize(("hu", "length"), [(1900, 20), (2300, 20), (3000, 0)])
def test_dense_cortex_is_no_metal(hu: int, length: int) -> None:
    """Nowhere 2400 HU: not metal."""
    assert find_metal(metal_box(length, hu=hu), np.full(3, 30.0)) == ()


def test_metal_far_from_the_head_is_left_out() -> None:
    """The search reaches 60 mm; outside the field there is nothing."""
    grid = metal_box(20, hu=3000)
    assert find_metal(grid, np.array([30.0, 30.0, 95.0])) == ()
    assert find_metal(grid, np.full(3, 5000.0)) == ()
