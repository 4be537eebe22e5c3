"""Turning a volume: 48 memory orders are one scan, and no value is made up."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from morphology.scan.orders import all_orders, reordered
from rimwright.anatomy import LabelMap, Volume
from rimwright.morphology.scan.oriented import orient

ROUNDING_MM = 1e-9


def small_volume(turn_deg: float = 0.0) -> Volume:
    """Numbered voxels, a little oblique if asked."""
    values = np.arange(4 * 5 * 6, dtype=np.int16).reshape(4, 5, 6)
    angle = np.radians(turn_deg)
    turn = np.array(
        [[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]]
    )
    affine = np.eye(4)
    affine[:3, :3] = turn @ np.diag([0.7, 0.8, 1.3])
    affine[:3, 3] = [-3.0, 11.0, 40.0]
    return Volume(values=values, affine=affine)


def test_there_are_48_orders() -> None:
    """Six exchanges of axes times eight reversals, all different."""
    volume = small_volume()
    seen = {reordered(volume, order).affine.tobytes() for order in all_orders()}
    assert len(seen) == 48


@pytest.mark.property
@pytest.mark.parametrize("turn_deg", [0.0, 20.0])
def test_every_order_is_turned_into_the_same_grid(turn_deg: float) -> None:
    """Equal values voxel by voxel, equal places to rounding, and the axes as promised."""
    volume = small_volume(turn_deg)
    first = orient(volume)
    for order in all_orders():
        grid = orient(reordered(volume, order))
        np.testing.assert_array_equal(grid.values, first.values)
        np.testing.assert_allclose(grid.step, first.step, atol=ROUNDING_MM)
        np.testing.assert_allclose(grid.origin_mm, first.origin_mm, atol=ROUNDING_MM)
        assert grid.values.flags.c_contiguous
        assert grid.step[2, 0] > 0  # cranial
        assert grid.step[1, 1] > 0  # posterior
        assert grid.step[0, 2] > 0  # left


def test_each_voxel_stays_where_it_was() -> None:
    """The value at a place in mm is the same before and after, read off by its number."""
    volume = small_volume(20.0)
    for order in list(all_orders())[::5]:
        turned = reordered(volume, order)
        grid = orient(turned)
        for index in itertools.product(range(4), range(5), range(6)):
            place = volume.to_mm(np.array(index))
            at = np.round(grid.to_index(place)).astype(int)
            assert grid.values[tuple(at)] == volume.values[index]
            back = np.round(turned.to_index(place)).astype(int)
            assert turned.values[tuple(back)] == volume.values[index]


@pytest.mark.property
@given(st.lists(st.floats(-500.0, 500.0), min_size=3, max_size=3), st.floats(-40.0, 40.0))
def test_index_and_mm_undo_each_other(point: list[float], turn_deg: float) -> None:
    """to_mm after to_index is the identity to rounding."""
    grid = orient(small_volume(turn_deg))
    np.testing.assert_allclose(grid.to_mm(grid.to_index(np.array(point))), point, atol=1e-8)


def test_a_label_map_is_turned_alike() -> None:
    """Numbers of a map follow the scan's voxels."""
    volume = small_volume()
    labels = LabelMap(values=volume.values.astype(np.uint16), affine=volume.affine)
    np.testing.assert_array_equal(orient(labels).values, orient(volume).values)


def test_an_order_that_fits_is_not_copied() -> None:
    """A scan that lies in memory as wanted is shared, not doubled."""
    grid = orient(small_volume())
    again = Volume(
        values=grid.values.transpose(2, 1, 0),
        affine=np.block(
            [[grid.step[:, ::-1], grid.origin_mm[:, None]], [np.zeros((1, 3)), np.ones((1, 1))]]
        ),
    )
    assert np.shares_memory(orient(again).values, again.values)
