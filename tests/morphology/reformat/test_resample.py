"""Pictures of a volume: exact on a linear field, equal to another implementation, any memory."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from rimwright.anatomy import Modality, Side, Volume
from rimwright.morphology.reformat import (
    SlabKind,
    neck_clock_from_points,
    neck_planes,
    resample,
)
from rimwright.morphology.reformat.ray_sampling import sample_points
from rimwright.morphology.reformat.resample import WORTH_WAKING, layer_offsets_mm

ONE_FLOAT32 = 2e-3  # values near 2000 kept as float32: half a step of the last digit is 6e-5


def planes(n: int = 3, shape: tuple[int, int] = (40, 52)) -> tuple:
    """Planes through a slanted neck axis."""
    clock = neck_clock_from_points(
        side=Side.LEFT,
        head_centre_mm=np.array([2.0, -3.0, 1.0]),
        neck_centre_mm=np.array([25.0, 4.0, -12.0]),
    )
    return neck_planes(clock, hours=np.linspace(0.0, 5.0, n).tolist(), pixel_mm=1.1, shape=shape)


def affine_of(kind: str) -> np.ndarray:
    """Straight, turned, mirrored or sheared voxels, their middle near the origin."""
    columns = {
        "straight": np.diag([1.0, 1.1, 1.3]),
        "turned": np.linalg.qr(np.random.default_rng(1).normal(size=(3, 3)))[0]
        @ np.diag([1, 1.2, 2]),
        "mirrored": np.diag([-1.0, 1.1, -1.3]),
        "sheared": np.array([[1.0, 0.0, 0.2], [0.0, 1.1, 0.35], [0.0, 0.0, 1.5]]),
    }[kind]
    affine = np.eye(4)
    affine[:3, :3] = columns
    affine[:3, 3] = -columns @ (0.5 * (np.array([90, 84, 76]) - 1.0))
    return affine


SLOPE, START = np.array([3.0, -2.0, 1.5]), 40.0


@pytest.mark.oracle
@pytest.mark.parametrize("kind", ["straight", "turned", "mirrored", "sheared"])
@pytest.mark.parametrize("slab_mm", [0.0, 4.0])
def test_a_linear_field_is_read_exactly(kind: str, slab_mm: float) -> None:
    """Trilinear reading of a field linear in space is the field; so is a mean over any slab."""
    affine = affine_of(kind)
    grid = np.stack(np.meshgrid(*map(np.arange, (90, 84, 76)), indexing="ij"), axis=-1)
    field = (grid @ affine[:3, :3].T + affine[:3, 3]) @ SLOPE + START
    volume = Volume(values=field.astype(np.float32), affine=affine, modality=Modality.MR)
    laid = planes()
    pictures = resample(volume, laid, slab_mm=slab_mm)
    rows, columns = np.indices(laid[0].shape)
    assert np.isfinite(pictures).mean() > 0.8
    for picture, plane in zip(pictures, laid, strict=True):
        truth = plane.to_mm(np.stack([rows, columns], axis=-1)) @ SLOPE + START
        seen = np.isfinite(picture)
        np.testing.assert_allclose(picture[seen], truth[seen], atol=ONE_FLOAT32)


def noise(dtype: type, seed: int = 2) -> np.ndarray:
    return np.random.default_rng(seed).integers(-1000, 2000, (60, 56, 50)).astype(dtype)


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("dtype", "modality"), [(np.int16, Modality.CT), (np.float32, Modality.MR)]
)
@pytest.mark.parametrize("memory", ["C", "F", "flipped", "strided"])
def test_equal_to_another_implementation(dtype: type, modality: Modality, memory: str) -> None:
    """Equal to `scipy.ndimage.map_coordinates(values, index, order=1, cval=nan)` in any memory."""
    plain = noise(dtype)
    values = {
        "C": plain,
        "F": np.asfortranarray(plain),
        "flipped": plain[::-1, :, ::-1],
        "strided": np.repeat(plain, 2, axis=1)[:, ::2],
    }[memory]
    affine = np.diag([1.0, 1.1, 1.3, 1.0])
    affine[:3, 3] = [-30.0, -31.0, -33.0]
    volume = Volume(values=values, affine=affine, modality=modality)
    laid = planes()
    pictures = resample(volume, laid)
    rows, columns = np.indices(laid[0].shape)
    index = np.stack([volume.to_index(p.to_mm(np.stack([rows, columns], axis=-1))) for p in laid])
    expected = map_coordinates(
        np.asarray(values, dtype=np.float64),
        np.moveaxis(index, -1, 0),
        order=1,
        mode="constant",
        cval=np.nan,
    )
    last = np.array(values.shape) - 1
    outside = ((index < 0) | (index > last)).any(axis=-1)
    assert 0.02 < outside.mean() < 0.7
    assert np.isnan(pictures[outside]).all()
    np.testing.assert_allclose(pictures[~outside], expected[~outside], atol=ONE_FLOAT32)
    points = laid[0].to_mm(np.stack([rows, columns], axis=-1))
    np.testing.assert_allclose(
        sample_points(volume, points), pictures[0], atol=ONE_FLOAT32, equal_nan=True
    )


def test_values_are_not_copied_nor_changed() -> None:
    """A read-only view of a larger array is read as it is."""
    values = noise(np.int16)
    values.flags.writeable = False
    volume = Volume(values=values[5:55, 5:50, 5:45], affine=np.diag([1.0, 1, 1, 1]))
    assert np.isfinite(resample(volume, planes(1))).any()


@pytest.mark.oracle
@pytest.mark.parametrize("slab", list(SlabKind))
def test_a_thick_slab_is_made_of_thin_planes(slab: SlabKind) -> None:
    """Mean, largest and smallest of a slab are those of planes shifted along the normal."""
    from dataclasses import replace

    affine = np.diag([1.0, 1.1, 1.3, 1.0])
    affine[:3, 3] = [-30.0, -31.0, -33.0]
    volume = Volume(values=noise(np.int16), affine=affine)
    (plane,) = planes(1, shape=(24, 24))
    thick = resample(volume, [plane], slab_mm=5.0, slab=slab)[0]
    offsets = layer_offsets_mm(5.0, voxel_mm=1.0)
    np.testing.assert_allclose(offsets, [-2.0, -1.0, 0.0, 1.0, 2.0])
    thin = np.stack(
        [
            resample(volume, [replace(plane, middle_mm=plane.middle_mm + o * plane.normal)])[0]
            for o in offsets
        ]
    )
    pick = {SlabKind.MEAN: np.mean, SlabKind.MAX: np.max, SlabKind.MIN: np.min}[slab]
    expected = pick(thin, axis=0)
    assert np.isfinite(expected).sum() > 300
    np.testing.assert_allclose(thick, expected, atol=ONE_FLOAT32, equal_nan=True)


def test_one_slice_is_seen_edge_on_only() -> None:
    """A volume of one slice shows itself in its own plane and nothing beside it."""
    values = np.arange(20, dtype=np.int16).reshape(5, 4, 1)
    volume = Volume(values=values, affine=np.eye(4))
    inside = sample_points(volume, np.array([[1.5, 2.0, 0.0], [1.5, 2.0, 0.01]]))
    assert inside[0] == pytest.approx(8.0)
    assert np.isnan(inside[1])


@pytest.mark.fault
def test_slabs_that_are_none() -> None:
    """No plane, planes of two shapes and impossible thicknesses are errors."""
    volume = Volume(values=noise(np.int16), affine=np.eye(4))
    with pytest.raises(ValueError, match="at least one"):
        resample(volume, [])
    with pytest.raises(ValueError, match="all of one shape"):
        resample(volume, [*planes(1), *planes(1, shape=(9, 9))])
    for wrong in (-1.0, 51.0, float("nan")):
        with pytest.raises(ValueError, match="slab_mm"):
            resample(volume, planes(1), slab_mm=wrong)
    with pytest.raises(ValueError, match="median"):
        resample(volume, planes(1), slab="median")


def test_many_pictures_are_the_same_as_each_alone() -> None:
    """What is computed on several cores is bit for bit what one core computes."""
    values = noise(np.int16)
    affine = np.diag([1.0, 1.1, 1.3, 1.0])
    affine[:3, 3] = [-30.0, -31.0, -33.0]
    volume = Volume(values=values, affine=affine)
    laid = planes(12, shape=(200, 200))
    together = resample(volume, laid)
    assert together.size > WORTH_WAKING > together[0].size
    for plane, picture in zip(laid, together, strict=True):
        np.testing.assert_array_equal(resample(volume, [plane])[0], picture)
