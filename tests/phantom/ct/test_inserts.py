"""What lies beside or in a bone: other bones, metal, gaps, a thinner cortex."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from phantom.ct.bodies import QUIET, WIDE, all_points, ball, brick, mesh_volume_mm3
from rimwright.phantom.ct import BoneGap, CortexZone, CtGrid, MetalCapsule, grid_round, make_ct
from rimwright.phantom.ct.look import MOST_HU

SOLID = replace(QUIET, cortex_mm=0.0, spongy_hu=1040.0)
"""Bone of one value, 1000 HU above soft tissue: sums are volumes."""


def bone_mm3(made):
    """Volume of solid bone in a scan."""
    return (made.values - 40.0).sum() / 1000.0 * np.prod(made.spacing_mm)


@pytest.mark.parametrize("gap", [0.0, 0.2, 0.5])
def test_bones_closer_than_a_voxel_share_it(gap):
    """Two blocks of bone a fraction of a voxel apart: the volumes add, and nothing exceeds bone."""
    one = brick([-10, -8, -8], [0.3, 8, 8])
    two = brick([0.3 + gap, -8, -8], [10, 8, 8])
    corners = np.concatenate([one.vertices_mm, two.vertices_mm])
    grid = grid_round(corners, spacing_mm=(1, 1, 1), margin_mm=4.0)
    made = make_ct([one, two], look=SOLID, grid=grid, body=WIDE)
    both = mesh_volume_mm3(one) + mesh_volume_mm3(two)
    assert bone_mm3(made) == pytest.approx(both, rel=1e-3)
    assert made.values.max() <= SOLID.spongy_hu
    missing = 1040.0 - made.values[:, 12, 12].astype(float)
    inner = np.abs(all_points(made).reshape(*grid.shape, 3)[:, 12, 12, 0]) < 6
    # Along a line through the middle what lacks is the gap, each voxel rounded by half a unit.
    assert missing[inner].sum() / 1000.0 == pytest.approx(gap, abs=0.007)


def test_bones_that_overlap_are_not_counted_twice():
    """Where two bones hold one cell, it is bone once."""
    one, two = ball(8.0, (0, 0, 0)), ball(8.0, (5, 0, 0))
    corners = np.concatenate([one.vertices_mm, two.vertices_mm])
    grid = grid_round(corners, spacing_mm=(1, 1, 1), margin_mm=4.0)
    made = make_ct([one, two], look=SOLID, grid=grid, body=WIDE)
    # Two balls of radius r with middles d apart have the lens π(4r + d)(2r − d)²/12 in common.
    lens = np.pi * (4 * 8 + 5) * (2 * 8 - 5) ** 2 / 12
    expected = mesh_volume_mm3(one) + mesh_volume_mm3(two) - lens
    # Cells on the lens's edge are part of both: a ring 44 mm long and one cell wide each way.
    assert bone_mm3(made) == pytest.approx(expected, rel=2e-3)
    assert made.values.max() <= 1040


def test_an_anchor_has_the_volume_of_a_rod_with_round_ends():
    """Metal of 2.5 mm in soft tissue, in bone and across the edge: volume, peak, ceiling."""
    bone = brick([-15, -15, -15], [15, 15, 0])
    grid = grid_round(bone.vertices_mm, spacing_mm=(0.7, 0.7, 1.0), margin_mm=18.0)
    look = replace(SOLID, metal_hu=2500.0)
    rod = MetalCapsule(start_mm=[2, 1, -8], end_mm=[5, 3, 9], radius_mm=1.25)
    with_metal = make_ct([bone], look=look, grid=grid, body=WIDE, metal=[rod])
    without = make_ct([bone], look=look, grid=grid, body=WIDE)
    length = np.linalg.norm(rod.end_mm - rod.start_mm)
    volume = np.pi * 1.25**2 * length + 4.0 / 3.0 * np.pi * 1.25**3
    # Of the length, 8/17 of the middle line lies in bone, which it displaces.
    added = with_metal.values.astype(float) - without.values
    in_bone = np.pi * 1.25**2 * length * 8.0 / 17.0 + 2.0 / 3.0 * np.pi * 1.25**3
    expected = volume * 2460.0 - in_bone * 1000.0
    assert added.sum() * np.prod(grid.spacing_mm) == pytest.approx(expected, rel=0.02)
    assert 1500 < with_metal.values.max() <= 2500  # a thin rod does not reach its own value
    stem = MetalCapsule(start_mm=[0, 0, -9], end_mm=[0, 0, 9], radius_mm=6.0)
    made = make_ct([bone], look=replace(look, metal_hu=9000.0), grid=grid, body=WIDE, metal=[stem])
    assert made.values.max() == MOST_HU


def test_metal_far_from_bone_is_scanned_too():
    """A ball of metal where no bone is near."""
    bone = brick([-3, -3, -3], [3, 3, 3])
    grid = CtGrid(
        shape=(20, 20, 20), spacing_mm=[1, 1, 1], origin_mm=[90, 90, 90], directions=np.eye(3)
    )
    ball_ = MetalCapsule(start_mm=[100, 100, 100], end_mm=[100, 100, 100], radius_mm=4.0)
    look = replace(QUIET, metal_hu=1040.0)
    made = make_ct([bone], look=look, grid=grid, body=WIDE, metal=[ball_])
    assert bone_mm3(made) == pytest.approx(4.0 / 3.0 * np.pi * 64.0, rel=0.01)


def test_a_gap_takes_its_slab_out_of_its_own_bone_only():
    """An open physis: thickness as asked, of the bone named, within its radius."""
    one, two = brick([-10, -10, -20], [10, 10, 20]), brick([15, -10, -20], [35, 10, 20])
    corners = np.concatenate([one.vertices_mm, two.vertices_mm])
    grid = grid_round(corners, spacing_mm=(1, 1, 1), margin_mm=4.0)
    gap = BoneGap(
        bone_index=0, point_mm=[0, 0, 3], normal=[0, 0, 2], thickness_mm=2.4, radius_mm=40.0
    )
    cut = make_ct([one, two], look=SOLID, grid=grid, body=WIDE, gaps=[gap])
    whole = mesh_volume_mm3(one) + mesh_volume_mm3(two)
    assert bone_mm3(cut) == pytest.approx(whole - 2.4 * 400.0, rel=1e-3)
    near = make_ct([one, two], look=SOLID, grid=grid, body=WIDE, gaps=[replace(gap, radius_mm=5.0)])
    assert bone_mm3(near) == pytest.approx(whole - 2.4 * np.pi * 25.0, rel=1e-3)
    slanted = replace(gap, normal=[0, 0.6, 0.8])
    made = make_ct([one, two], look=SOLID, grid=grid, body=WIDE, gaps=[slanted])
    assert bone_mm3(made) == pytest.approx(whole - 2.4 / 0.8 * 400.0, rel=1e-3)
    with pytest.raises(ValueError, match="there is no bone 2"):
        make_ct([one, two], look=SOLID, grid=grid, gaps=[replace(gap, bone_index=2)])


def test_a_zone_thins_the_cortex_inside_it():
    """Cortex of 3 mm, of 1 mm in a ball on one side: volumes of the two shells' parts."""
    bone = brick([-20, -20, -20], [20, 20, 20])
    look = replace(QUIET, cortex_mm=3.0, cortex_hu=1040.0, spongy_hu=40.0)
    grid = CtGrid(
        shape=(11, 11, 60), spacing_mm=[1, 1, 0.8], origin_mm=[-5, -5, -24], directions=np.eye(3)
    )
    zone = CortexZone(centre_mm=[0, 0, 20], radius_mm=14.0, cortex_mm=1.0)
    made = make_ct([bone], look=look, grid=grid, body=WIDE, zones=[zone])
    thickness = (made.values - 40.0) / 1000.0 * 0.8
    half = thickness.shape[2] // 2
    # Each column sums to the thickness; 60 voxels are rounded by half a unit each.
    assert thickness[:, :, :half].sum(axis=2) == pytest.approx(3.0, abs=0.03)
    assert thickness[:, :, half:].sum(axis=2) == pytest.approx(1.0, abs=0.03)


@pytest.mark.parametrize(
    "make",
    [
        lambda: MetalCapsule(start_mm=[0, 0, 0], end_mm=[0, 0, 1], radius_mm=0.0),
        lambda: CortexZone(centre_mm=[0, 0, 0], radius_mm=-1.0, cortex_mm=1.0),
        lambda: replace(QUIET, blur_mm=-0.1),
        lambda: replace(QUIET, noise_hu=np.nan),
        lambda: CtGrid(
            shape=(1, 1, 1), spacing_mm=[1, 0, 1], origin_mm=[0, 0, 0], directions=np.eye(3)
        ),
        lambda: CtGrid(
            shape=(1, 1, 1), spacing_mm=[1, 1, 1], origin_mm=[0, 0, 0], directions=np.ones((3, 3))
        ),
    ],
)
def test_impossible_numbers_are_refused(make):
    """No rod without width, no blur below nothing, no skewed grid."""
    with pytest.raises(ValueError, match=r"need|above|must"):
        make()
