"""Density between voxels and along a drill, against fields whose value is known everywhere."""

from __future__ import annotations

import numpy as np
import pytest

from fixation.socket_block import make_block
from rimwright.anatomy import Anchor, Modality, OldAnchor, Status, Volume
from rimwright.fixation import (
    MeshBoneField,
    anchors_with_density,
    build_mesh_field,
    drill_density,
)

CENTRE = np.array([1.0, -2.0, 3.0])


def oblique_affine(spacing_mm=(1.0, 1.0, 2.0)):
    """A grid turned by the 3-4-5 angle, so that HU stay whole on it, from a corner at -40 mm."""
    affine = np.eye(4)
    affine[:3, 0] = np.array([0.6, 0.8, 0.0]) * spacing_mm[0]
    affine[:3, 1] = np.array([-0.8, 0.6, 0.0]) * spacing_mm[1]
    affine[:3, 2] = np.array([0.0, 0.0, 1.0]) * spacing_mm[2]
    affine[:3, 3] = (0.0, -56.0, -40.0)
    return affine


def volume_of(function, *, affine=None, shape=(80, 80, 41)):
    """A CT whose voxels hold the rounded function of their place, (n, 3) mm to (n,) HU."""
    affine = oblique_affine() if affine is None else affine
    grid = np.stack(np.meshgrid(*map(np.arange, shape), indexing="ij"), axis=-1)
    points = grid @ affine[:3, :3].T + affine[:3, 3]
    values = np.rint(function(points.reshape(-1, 3))).reshape(shape)
    return Volume(values=values.astype(np.int16), affine=affine, modality=Modality.CT)


def field_with(density):
    """The block of bone with a density."""
    bone, _, faces = make_block(outer_mm=45.0, depth_mm=45.0, step_mm=2.5, n_around=24)
    return build_mesh_field(bone, faces, centre_mm=CENTRE, density=density)


@pytest.fixture(scope="module")
def linear():
    """Bone in a density that changes evenly: 5 HU per voxel step along each axis of the grid."""
    # Along the grid: 5 · (0.6, 0.8) gives 5 HU for i, 5 · (-0.8, 0.6) 5 HU for j, 10 HU for k.
    slope = 5.0 * np.array([0.6, 0.8, 0.0]) + 5.0 * np.array([-0.8, 0.6, 0.0])
    slope = slope + np.array([0.0, 0.0, 5.0])
    return field_with(volume_of(lambda points: 300.0 + points @ slope)), slope


@pytest.mark.oracle
def test_a_linear_density_is_met_exactly_between_voxels(linear):
    """Trilinear interpolation of a linear field is that field, on an oblique grid too."""
    field, slope = linear
    points = np.random.default_rng(4).uniform([-25, -15, -10], [-5, 5, 10], (500, 3))
    found = field.sample(points).density_hu
    # 1e-9: double precision of sums of a few hundred HU; the voxels themselves are whole.
    assert np.abs(found - (300.0 + points @ slope)).max() < 1e-9


def test_outside_the_block_nothing_is_known(linear):
    """Beyond the outermost voxel's middle the density is NaN, on it it is the voxel's own."""
    field, _ = linear
    volume = field.density
    last = np.array(volume.values.shape) - 1.0
    corners = volume.to_mm(np.array([np.zeros(3), last]))
    found = field.density_at(corners)
    assert found == pytest.approx([volume.values[0, 0, 0], volume.values[-1, -1, -1]], abs=1e-9)
    outside = [[-0.01, 0, 0], [0, 0, last[2] + 0.01], [last[0], last[1] + 0.01, last[2]]]
    beyond = volume.to_mm(np.array(outside))
    assert np.isnan(field.density_at(beyond)).all()


@pytest.mark.oracle
def test_mean_and_least_along_a_drill(linear):
    """In a linear field the mean is midway between 4 mm and the tip, the least the softer end."""
    field, slope = linear
    entry, direction = np.array([-15.0, -5.0, 5.0]), np.array([0.6, 0.0, -0.8])
    found = drill_density(field, entry_mm=entry, direction=direction, depth_mm=20.0, drill_mm=2.0)
    ends = 300.0 + (entry + np.array([[4.0], [20.0]]) * direction) @ slope
    # 1e-9: the ring is symmetric about the axis, so it takes nothing from a linear field.
    assert found.mean_hu == pytest.approx(ends.mean(), abs=1e-9)
    assert found.least_hu == pytest.approx(ends.min(), abs=1e-9)


@pytest.mark.oracle
def test_the_outer_wall_is_left_out_and_a_cyst_is_met():
    """Dense bone above 3 mm does not count; a soft layer across the drill is the least."""

    def layers(points):
        depth = 10.0 - points[:, 2]
        value = np.where(depth < 3.0, 1200.0, 400.0)
        return np.where((depth > 10.0) & (depth < 15.0), -50.0, value)

    affine = np.diag([1.0, 1.0, 0.5, 1.0])
    affine[:3, 3] = (-20.0, -20.0, -20.0)
    field = field_with(volume_of(layers, affine=affine, shape=(41, 41, 70)))
    found = drill_density(
        field,
        entry_mm=np.array([0.0, 0.0, 10.0]),
        direction=np.array([0.0, 0.0, -1.0]),
        depth_mm=20.0,
        drill_mm=2.0,
    )
    assert found.least_hu == pytest.approx(-50.0, abs=1e-9)
    # 5 of 16 mm soft, up to a voxel of 0.5 mm blurred at each of its two ends.
    assert found.mean_hu == pytest.approx(400 - 450 * 5 / 16, abs=450 * 1.0 / 16)


def test_no_number_where_a_part_is_not_known(linear):
    """A drill that leaves the block, one that ends in the wall, and bone without a CT have none."""
    field, _ = linear
    entry, up = np.array([-15.0, -5.0, 30.0]), np.array([0.0, 0.0, 1.0])
    place = {"entry_mm": entry, "direction": up, "drill_mm": 2.0}
    assert drill_density(field, depth_mm=8.0, **place) is not None
    assert drill_density(field, depth_mm=20.0, **place) is None
    assert drill_density(field, depth_mm=4.0, **place) is None
    assert drill_density(field_with(None), depth_mm=8.0, **place) is None


def test_anchors_keep_all_but_their_density(linear):
    """Density is added; place, clearances and status stay, and without a CT nothing changes."""
    field, _ = linear
    anchor = Anchor(
        hour=1.0,
        entry_mm=np.array([-15.0, -5.0, 5.0]),
        direction=np.array([0.0, 0.0, -1.0]),
        depth_mm=15.0,
        drill_mm=2.0,
        clearance_joint_mm=2.0,
        clearance_cortex_mm=2.0,
        half_angle_deg=10.0,
        status=Status.CAUTION,
        reason="x",
    )
    (found,) = anchors_with_density(field, (anchor,))
    assert found.density_least_hu < found.density_mean_hu
    assert (found.status, found.reason, found.hour) == (Status.CAUTION, "x", 1.0)
    (bare,) = anchors_with_density(field_with(None), (anchor,))
    assert (bare.density_mean_hu, bare.density_least_hu) == (None, None)


def test_the_block_comes_back_from_arrays(linear):
    """Values, type and grid survive saving; obstacles set later keep the block."""
    field, _ = linear
    again = MeshBoneField.from_arrays(field.to_arrays())
    assert again.density.values.dtype == np.int16
    assert np.array_equal(again.density.values, field.density.values)
    assert np.array_equal(again.density.affine, field.density.affine)
    old = OldAnchor(drill_mm=2.0, depth_mm=10.0, hour=1.0)
    assert again.with_obstacles([old]).density is again.density
    assert MeshBoneField.from_arrays(field_with(None).to_arrays()).density is None
