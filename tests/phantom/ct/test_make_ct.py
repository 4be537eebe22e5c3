"""A made scan holds what was put into it: volumes, profiles, tissues, blur and noise."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from scipy.spatial.transform import Rotation
from scipy.special import ndtr

from phantom.ct.bodies import (
    QUIET,
    WIDE,
    all_points,
    ball,
    blurred_ball,
    brick,
    mesh_of,
    mesh_volume_mm3,
    moved,
    voxel_mean,
)
from rimwright.phantom import HipShape, make_hip
from rimwright.phantom.ct import CtGrid, CtLook, grid_round, make_ct, person_bones

TURN = Rotation.from_euler("xyz", [20, -35, 50], degrees=True).as_matrix()
PROFILE_HU = 8.0
"""Fine cells may miss the blur's width by 1.4 %, which moves a step of 1400 HU by at most 5 HU;
the chords of the ball, 0.004 mm, by 3 HU; rounding adds half a unit."""


@pytest.mark.oracle
def test_oracles_of_the_tests():
    """The closed form of a blurred ball is what summing a Gaussian over a ball gives."""
    axis = np.arange(-4.95, 5.0, 0.1)
    x, y, z = np.meshgrid(axis, axis, axis, indexing="ij")
    is_in = np.hypot(np.hypot(x, y), z) < 3.0
    for distance in (0.0, 2.5, 3.4):
        square = (x - distance) ** 2 + y**2 + z**2
        density = np.exp(-0.5 * square / 0.64) / (2.0 * np.pi * 0.64) ** 1.5
        # A ball of cells of 0.1 mm is right to a hundredth of its blurred value.
        assert np.sum(density[is_in]) * 1e-3 == pytest.approx(
            blurred_ball(distance, 3.0, 0.8), abs=0.01
        )


@pytest.mark.oracle
@pytest.mark.parametrize("spacing", [(0.7, 0.7, 1.0), (0.9, 0.6, 1.5), (0.8, 0.8, 3.0)])
@pytest.mark.parametrize("axes", [np.eye(3), TURN], ids=["straight", "oblique"])
def test_shell_and_core_of_a_ball(spacing, axes):
    """Every voxel is the mean of the blurred cortex and spongy bone over its own box."""
    centre = np.array([3.1, -2.2, 1.3])
    body = ball(12.0, centre)
    grid = grid_round(body.vertices_mm, spacing_mm=spacing, margin_mm=4.0, directions=axes)
    made = make_ct([body], look=QUIET, grid=grid, body=WIDE)

    def expected(points):
        away = np.linalg.norm(points - centre, axis=1)
        whole = blurred_ball(away, 12.0, QUIET.blur_mm)
        core = blurred_ball(away, 12.0 - QUIET.cortex_mm, QUIET.blur_mm)
        return (
            QUIET.soft_hu
            + whole * (QUIET.cortex_hu - QUIET.soft_hu)
            + core * (QUIET.spongy_hu - QUIET.cortex_hu)
        )

    steps = (axes * np.array(spacing)).T
    missed = made.values.ravel() - voxel_mean(expected, all_points(made), steps)
    assert np.abs(missed).max() < PROFILE_HU
    assert abs(missed.mean()) < 0.5


@pytest.mark.oracle
@pytest.mark.parametrize("blur", [0.0, 0.4, 0.6, 1.2])
@pytest.mark.parametrize("step", [0.7, 3.0])
def test_a_flat_edge_has_the_width_of_blur_and_voxel(blur, step):
    """Second moment of an edge's derivative: blur² + voxel²/12, as a box folded with a Gaussian."""
    look = replace(QUIET, blur_mm=blur, cortex_mm=0.0, spongy_hu=1040.0)
    n_phases = 8
    profile = []
    for phase in range(n_phases):  # the grid moves over the edge by an eighth of a voxel
        grid = CtGrid(
            shape=(1, 1, 24),
            spacing_mm=[1.0, 1.0, step],
            origin_mm=[0.0, 0.0, (phase / n_phases - 12.0) * step],
            directions=np.eye(3),
        )
        half = brick([-30, -30, -60], [30, 30, 0.13])
        made = make_ct([half], look=look, grid=grid, body=WIDE)
        profile.append((made.values[0, 0].astype(float) - 40.0) / 1000.0)
    share = np.array(profile).T.ravel()
    place = (np.arange(len(share)) / n_phases - 12.0) * step
    density, middle = -np.diff(share), (place[1:] + place[:-1]) / 2
    mean = np.sum(density * middle)
    variance = np.sum(density * (middle - mean) ** 2)
    fine = step / n_phases
    # Rounding to 1 HU of 1000 over ±12 voxels, and the phases' own step: h²/12.
    assert mean == pytest.approx(0.13, abs=0.02 * step)
    assert variance == pytest.approx(
        blur**2 + step**2 / 12.0 + fine**2 / 12.0, rel=0.03, abs=0.01 * step**2
    )


@pytest.mark.oracle
@pytest.mark.parametrize("spacing", [(0.7, 0.7, 1.0), (1.0, 1.3, 3.0)])
def test_shares_add_up_to_the_volume_of_the_mesh(spacing):
    """Without blur the shares of a ball's voxels sum to the volume of its mesh."""
    look = replace(QUIET, blur_mm=0.0, cortex_mm=0.0, spongy_hu=1040.0)
    body = ball(15.0, (0.3, 0.1, -0.2))
    grid = grid_round(body.vertices_mm, spacing_mm=spacing, margin_mm=3.0, directions=TURN)
    made = make_ct([body], look=look, grid=grid, body=WIDE)
    volume = (made.values - 40.0).sum() / 1000.0 * np.prod(spacing)
    # The ramp's variance is exact, so its error is of fourth order; rounding averages out.
    assert volume == pytest.approx(mesh_volume_mm3(body), rel=5e-4)


@pytest.mark.property
def test_volume_of_made_bones():
    """Both bones of a made hip, blurred: the sum over all voxels is their volume within 0.5 %."""
    hip = make_hip(HipShape(with_other_hip_bone=False, shaft_length_mm=80.0), edge_mm=2.0)
    look = replace(QUIET, cortex_mm=0.0, spongy_hu=1040.0)
    for bone in (hip.hip_bone, hip.femur):
        grid = grid_round(bone.vertices_mm, spacing_mm=(1.4, 1.4, 2.0), margin_mm=6.0)
        made = make_ct([bone], look=look, grid=grid, body=WIDE, sample_mm=0.7)
        volume = (made.values - 40.0).sum() / 1000.0 * np.prod(grid.spacing_mm)
        assert volume == pytest.approx(mesh_volume_mm3(bone), rel=5e-3)


@pytest.mark.oracle
def test_volume_of_real_bones(shared_data):
    """A real femur of uneven triangles, blurred: its volume within 0.5 %."""
    from rimwright.imaging import read_bodies

    bone = read_bodies(shared_data / "seated-left-hip" / "femur.stl").bodies[0]
    look = replace(QUIET, cortex_mm=0.0, spongy_hu=1040.0)
    grid = grid_round(bone.vertices_mm, spacing_mm=(1.4, 1.4, 2.0), margin_mm=6.0)
    made = make_ct([bone], look=look, grid=grid, body=WIDE, sample_mm=0.7)
    volume = (made.values - 40.0).sum() / 1000.0 * np.prod(grid.spacing_mm)
    assert volume == pytest.approx(mesh_volume_mm3(bone), rel=5e-3)


def test_tissues_have_their_values_away_from_edges():
    """Deep inside cortex and core, and well outside, values are those of the look."""
    look = replace(QUIET, cortex_mm=6.0)
    body = brick([-20, -20, -20], [20, 20, 20])
    grid = grid_round(body.vertices_mm, spacing_mm=(1, 1, 1), margin_mm=6.0)
    made = make_ct([body], look=look, grid=grid, body=WIDE)
    depth = 20.0 - np.abs(all_points(made)).max(axis=1)
    values = made.values.ravel()
    # 2.9 mm is four blurs and half a voxel: what is left of the neighbour rounds away.
    assert np.unique(values[(depth > 2.9) & (depth < 3.1)]).tolist() == [look.cortex_hu]
    assert np.unique(values[depth > 6.0 + 2.9]).tolist() == [look.spongy_hu]
    assert np.unique(values[depth < -2.9]).tolist() == [look.soft_hu]


def test_noise_is_white_and_repeats_with_its_seed():
    """SD as asked, neighbours independent, the same seed the same noise, another another."""
    body = brick([-3, -3, -3], [3, 3, 3])
    grid = CtGrid(
        shape=(64, 64, 32), spacing_mm=[1, 1, 1], origin_mm=[50, 0, 0], directions=np.eye(3)
    )
    look = CtLook(noise_hu=30.0)
    made = [make_ct([body], look=look, grid=grid, body=WIDE, seed=seed) for seed in (4, 4, 5)]
    values = made[0].values.astype(float)
    # 131,072 draws: the SD is known to 0.2 %, the mean to 0.08 HU, a correlation to 0.003.
    assert values.std() == pytest.approx(30.0, rel=0.01)
    assert values.mean() == pytest.approx(look.soft_hu, abs=0.4)
    for axis in range(3):
        here, next_ = np.delete(values, -1, axis), np.delete(values, 0, axis)
        assert abs(np.corrcoef(here.ravel(), next_.ravel())[0, 1]) < 0.015
    assert np.array_equal(made[0].values, made[1].values)
    assert not np.array_equal(made[0].values, made[2].values)


@pytest.mark.property
@pytest.mark.parametrize("order", [*itertools.permutations(range(3))])
def test_axes_in_another_order_and_turned_round_give_the_same_voxels(order):
    """Permuted and flipped axes: the same points have the same values."""
    bone = _lump()
    straight = grid_round(bone.vertices_mm, spacing_mm=(0.7, 0.9, 1.2), margin_mm=4.0)
    values = make_ct([bone], look=QUIET, grid=straight, body=WIDE).values
    signs = np.array([1.0 if (order[axis] + axis) % 2 else -1.0 for axis in range(3)])
    last = np.where(signs < 0, np.array(straight.shape)[list(order)] - 1, 0)
    directions = np.eye(3)[:, order] * signs
    far = straight.affine[:3, :3][:, order] @ last
    grid = CtGrid(
        shape=tuple(straight.shape[axis] for axis in order),
        spacing_mm=straight.spacing_mm[list(order)],
        origin_mm=straight.origin_mm + far,
        directions=directions,
    )
    made = make_ct([bone], look=QUIET, grid=grid, body=WIDE).values
    turned = values.transpose(order)[tuple(slice(None, None, int(sign)) for sign in signs)]
    # Sums run in another order: single precision of 1400 HU, and then rounding.
    assert np.abs(made.astype(int) - turned).max() <= 1


@pytest.mark.property
def test_body_and_grid_turned_together_give_the_same_voxels():
    """An oblique scan of the body turned as much is the same scan."""
    bone, shift = _lump(), np.array([40.0, -7.0, 12.0])
    grid = grid_round(bone.vertices_mm, spacing_mm=(0.7, 0.9, 1.2), margin_mm=4.0)
    turned = CtGrid(
        shape=grid.shape,
        spacing_mm=grid.spacing_mm,
        origin_mm=TURN @ grid.origin_mm + shift,
        directions=TURN @ grid.directions,
    )
    one = make_ct([bone], look=QUIET, grid=grid, body=WIDE).values
    two = make_ct([moved(bone, TURN, shift)], look=QUIET, grid=turned, body=WIDE).values
    assert np.abs(one.astype(int) - two).max() <= 1


@pytest.mark.property
def test_a_cut_field_shows_what_the_whole_field_shows():
    """Bone beyond the field still blurs into it: a part of a scan equals the scan of the part."""
    bone = _lump()
    whole = grid_round(bone.vertices_mm, spacing_mm=(0.8, 0.8, 1.1), margin_mm=4.0)
    first = np.array([9, 7, 8])
    part = replace(whole, shape=(11, 13, 9), origin_mm=whole.origin_mm + whole.spacing_mm * first)
    one = make_ct([bone], look=QUIET, grid=whole, body=WIDE).values[9:20, 7:20, 8:17]
    two = make_ct([bone], look=QUIET, grid=part, body=WIDE).values
    assert np.abs(one.astype(int) - two).max() <= 1


def test_an_open_surface_is_not_scanned():
    """A triangle less and the inside is not known."""
    body = ball(5.0)
    grid = grid_round(body.vertices_mm, spacing_mm=(1, 1, 1), margin_mm=2.0)
    with pytest.raises(ValueError, match="not closed"):
        make_ct([mesh_of(body.vertices_mm, body.triangles[:-40])], look=QUIET, grid=grid)
    with pytest.raises(ValueError, match="at least one"):
        make_ct([], look=QUIET, grid=grid)


def test_the_body_ends_in_fat_and_air():
    """From the middle outward: soft tissue, a layer of fat as thick as asked, air."""
    bone = brick([-5, -5, -5], [5, 5, 5])
    section = replace(WIDE, half_mm=[20.0, 20.0], fat_mm=8.0)
    grid = CtGrid(
        shape=(81, 1, 1), spacing_mm=[0.5, 1, 1], origin_mm=[0, 0, 0], directions=np.eye(3)
    )
    values = make_ct([bone], look=QUIET, grid=grid, body=section).values[:, 0, 0]
    x = 0.5 * np.arange(81)
    sigma = np.sqrt(QUIET.blur_mm**2 + 0.5**2 / 12.0)
    expected = 40.0 - 130.0 * ndtr((x - 20.0) / sigma) - 910.0 * ndtr((x - 28.0) / sigma)
    # A box of 0.5 mm taken for a Gaussian of its variance beside a blur of 0.6 mm, and rounding.
    assert np.abs(values - expected)[x > 10].max() < 2.0


@pytest.mark.property
def test_a_made_person_has_two_hips_that_do_not_overlap():
    """The mirrored femur sits in the other socket as the first one does in its own."""
    shape = HipShape(shaft_length_mm=60.0, obliquity_deg=4.0, rotation_deg=-5.0)
    hip = make_hip(shape, edge_mm=2.0)
    bones = person_bones(hip)
    assert len(bones) == 4
    volumes = [mesh_volume_mm3(bone) for bone in bones]
    assert volumes[0] == pytest.approx(volumes[2])
    assert volumes[1] == pytest.approx(volumes[3])
    for own, other in ((0, 2), (1, 3)):
        # Distances between corresponding points of the two bones of a side are the same.
        near = bones[own].vertices_mm[:50] - bones[0].vertices_mm[0]
        far = bones[other].vertices_mm[:50] - bones[2].vertices_mm[0]
        assert np.linalg.norm(near, axis=1) == pytest.approx(np.linalg.norm(far, axis=1))


def _lump():
    """Two balls and a stick in one body: no symmetry left, thin and thick parts."""
    import trimesh

    one = trimesh.creation.icosphere(subdivisions=4, radius=7.0)
    points = one.vertices * [1.0, 0.7, 1.4]
    points = points + 0.12 * points[:, [1, 2, 0]] ** 2 * [0.3, -0.2, 0.1]
    return mesh_of(points + np.array([1.234, -0.567, 0.891]), one.faces)
