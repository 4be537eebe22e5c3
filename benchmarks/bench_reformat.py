"""How long radial pictures take: one, a whole dial, a slab, and against another implementation."""

from __future__ import annotations

import time

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from rimwright.anatomy import Side, Volume
from rimwright.morphology.reformat import (
    SocketPlane,
    resample,
    socket_clock_from_points,
    socket_planes,
)

SHAPE = (256, 256)


@pytest.fixture(scope="session")
def volume() -> Volume:
    """512 × 512 × 400 voxels of noise, slices one after the other in memory, as readers give it."""
    rng = np.random.default_rng(0)
    values = rng.integers(-1000, 2000, (400, 512, 512), dtype=np.int16).transpose(2, 1, 0)
    affine = np.diag([0.7, 0.7, 1.0, 1.0])
    affine[:3, 3] = [-180.0, -180.0, -200.0]
    return Volume(values=values, affine=affine)


@pytest.fixture(scope="session")
def planes() -> tuple[SocketPlane, ...]:
    """All half hours about a slanted axis."""
    rim = np.array([[10.0, 0.0, 24.0], [10.0, -24.0, 0.0], [12.0, 24.0, 0.0], [14.0, 0.0, -24.0]])
    clock = socket_clock_from_points(side=Side.LEFT, centre_mm=np.zeros(3), rim_mm=rim)
    return socket_planes(clock, shape=SHAPE)


def test_one_reformat(benchmark, volume, planes):
    """One picture of 256 × 256; under 10 ms is the aim."""
    resample(volume, planes[3:4])
    benchmark.pedantic(lambda: resample(volume, planes[3:4]), rounds=50)


def test_a_dial_of_reformats(benchmark, volume, planes):
    """The twelve planes of a sheet."""
    resample(volume, planes)
    benchmark.pedantic(lambda: resample(volume, planes), rounds=20)


def test_a_slab_of_5_mm(benchmark, volume, planes):
    """One picture, eight layers."""
    resample(volume, planes[3:4], slab_mm=5.0)
    benchmark.pedantic(lambda: resample(volume, planes[3:4], slab_mm=5.0), rounds=20)


def test_against_another_implementation(benchmark, volume, planes, capsys):
    """The same picture by scipy's map_coordinates of order 1; prints the ratio."""
    rows, columns = np.indices(SHAPE)
    index = volume.to_index(planes[3].to_mm(np.stack([rows, columns], axis=-1)))
    index = np.moveaxis(index, -1, 0)

    def other() -> None:
        map_coordinates(volume.values, index, order=1, output=np.float32)

    def seconds(job) -> float:
        times = []
        for _ in range(20):
            start = time.perf_counter()
            job()
            times.append(time.perf_counter() - start)
        return float(np.median(times))

    resample(volume, planes[3:4])
    ours, theirs = seconds(lambda: resample(volume, planes[3:4])), seconds(other)
    with capsys.disabled():
        print(f"\none 256 × 256 picture: {1000 * ours:.1f} ms, {theirs / ours:.1f} times as fast")
    benchmark.pedantic(other, rounds=5)
