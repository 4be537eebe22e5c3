"""Reading between voxels, means of blocks, and boxes of uneven size, against other means."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from rimwright.anatomy import Volume
from rimwright.morphology.scan.block_mean import coarsen
from rimwright.morphology.scan.graded_grid import grade
from rimwright.morphology.scan.oriented import OrientedGrid, orient
from rimwright.morphology.scan.sampling import read_profiles

HALF_STEP_HU = 0.02
"""Profiles are float32: their last digit near 3000 HU is 2.4e-4, eight corners are added up."""


def noisy(shape: tuple[int, int, int] = (17, 23, 29), seed: int = 4) -> OrientedGrid:
    """Noise on an oblique grid."""
    rng = np.random.default_rng(seed)
    values = rng.integers(-1000, 3000, shape).astype(np.int16)
    turn = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    turn = turn[:, np.argsort(-np.abs(turn[0]))]
    affine = np.eye(4)
    affine[:3, :3] = np.eye(3) * [0.8, 0.9, 1.4] + 0.15 * turn
    affine[:3, 3] = [5.0, -7.0, 100.0]
    return orient(Volume(values=values, affine=affine))


@pytest.mark.oracle
def test_profiles_are_trilinear() -> None:
    """Equal to scipy's map_coordinates, order 1, the edge voxel's value beyond the edge."""
    grid = noisy()
    rng = np.random.default_rng(1)
    middle = grid.to_mm((np.array(grid.values.shape) - 1.0) / 2.0)
    directions = rng.normal(size=(60, 3))
    directions /= np.linalg.norm(directions, axis=1)[:, None]
    origins = middle + rng.normal(scale=4.0, size=(60, 3))
    start = rng.uniform(-6.0, 0.0, 60)
    got = read_profiles(grid, origins, directions, start_mm=start, step_mm=0.4, n_samples=50)
    radii = start[:, None] + 0.4 * np.arange(50)
    index = grid.to_index(origins[:, None] + radii[..., None] * directions[:, None])
    wanted = map_coordinates(
        grid.values.astype(float), np.moveaxis(index, -1, 0), order=1, mode="nearest"
    )
    outside = ((index < 0) | (index > np.array(grid.values.shape) - 1)).any(axis=2)
    assert outside.any()
    assert not outside.all()
    np.testing.assert_allclose(got, wanted, atol=HALF_STEP_HU)


@pytest.mark.parametrize("shape", [(1, 5, 6), (5, 1, 6), (5, 6, 1)])
def test_a_single_layer_can_be_read(shape: tuple[int, int, int]) -> None:
    """A scan one voxel thick has no neighbour to read towards."""
    values = np.arange(30, dtype=np.int16).reshape(shape)
    grid = OrientedGrid(values=values, step=np.eye(3)[:, ::-1], origin_mm=np.zeros(3))
    middle = grid.to_mm(np.minimum(np.array(shape) - 1, 2))
    got = read_profiles(
        grid, middle[None], np.array([[1.0, 0.0, 0.0]]), start_mm=0.0, step_mm=0.5, n_samples=1
    )
    assert got[0, 0] == values[tuple(np.minimum(np.array(shape) - 1, 2))]


@pytest.mark.oracle
def test_blocks_are_means_at_their_middles() -> None:
    """Each coarse voxel is the floor of its block's mean, and lies at the mean of its places."""
    grid = noisy((13, 20, 40))
    coarse = coarsen(grid, wanted_mm=2.5)
    factors = np.round(coarse.spacing_mm / grid.spacing_mm).astype(int)
    assert (factors > 1).any()
    for at in [(0, 0, 0), tuple(np.array(coarse.values.shape) - 1), (1, 2, 1)]:
        low = np.array(at) * factors
        block = tuple(slice(a, a + f) for a, f in zip(low, factors, strict=True))
        assert coarse.values[at] == int(np.floor(grid.values[block].mean()))
        index = np.stack(np.meshgrid(*[np.arange(s.start, s.stop) for s in block]), axis=-1)
        np.testing.assert_allclose(
            coarse.to_mm(np.array(at)), grid.to_mm(index.reshape(-1, 3)).mean(axis=0), atol=1e-9
        )


def test_a_coarse_scan_is_left_as_it_is() -> None:
    """Voxels that long already are not averaged."""
    grid = noisy()
    assert coarsen(grid, wanted_mm=1.0) is grid


@pytest.mark.oracle
def test_boxes_cover_the_scan_once() -> None:
    """Boxes are means of whole voxels, fine about the point, and lose none but at the far edge."""
    grid = noisy((60, 64, 70))
    centre = grid.to_mm(np.array([30.0, 33.0, 30.0]))
    graded = grade(grid, centre_mm=centre, reach_mm=12.0, fine_mm=1.0, coarse_mm=4.0)
    for axis, line in enumerate(graded.lines):
        gaps = np.diff(line)
        assert (gaps > 0).all()
        h = grid.spacing_mm[axis]
        near = np.abs(line - grid.to_index(centre)[axis]) * h < 10.0
        assert np.diff(line[near]).max() == pytest.approx(max(1, round(1.0 / h)))
        assert gaps.max() * h < 4.0 + 2.0 * h
    # every value against the mean of the voxels nearest to its box's middle
    at = [5, len(graded.lines[1]) // 2, -3]
    at[2] += len(graded.lines[2])
    block = []
    for axis in range(3):
        line, a = graded.lines[axis], at[axis]
        edges = [_first_edge(line)]
        for middle in line:
            edges.append(2 * (middle + 0.5) - edges[-1])
        low, high = round(edges[a]), round(edges[a + 1])
        assert low == pytest.approx(edges[a], abs=1e-9)
        assert high > low
        block.append(slice(low, high))
    assert graded.values[tuple(at)] == pytest.approx(grid.values[tuple(block)].mean(), abs=1e-3)


def _first_edge(line: np.ndarray) -> float:
    """The first box's first voxel: the one from which every box comes out whole and in order."""
    for edge in range(round(line[0]) + 1):
        edges = [float(edge)]
        for middle in line:
            edges.append(2 * (middle + 0.5) - edges[-1])
        widths = np.diff(edges)
        if (widths > 0.5).all() and np.allclose(widths, np.round(widths)):
            return float(edge)
    raise AssertionError("no way to lay boxes with these middles")


def test_a_box_is_found_from_its_middle() -> None:
    """nearest(to_mm(index)) gives the index back, and stays inside far away."""
    grid = noisy((60, 64, 70))
    graded = grade(
        grid, centre_mm=grid.to_mm(np.full(3, 30.0)), reach_mm=9.0, fine_mm=1.0, coarse_mm=4.0
    )
    shape = np.array(graded.values.shape)
    index = np.random.default_rng(0).integers(0, shape, (200, 3))
    np.testing.assert_array_equal(graded.nearest(graded.to_mm(index)), index)
    far = graded.nearest(np.array([[1e4, 1e4, 1e4], [-1e4, -1e4, -1e4]]))
    assert (far >= 0).all()
    assert (far < shape).all()
