"""Fitted edges of blurred plateaus, on profiles whose edges are known in closed form."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from rimwright.morphology.scan.edge_model import LEAST_PLATE_MM, fit_edges

STEP_MM = 0.25
SINGLE_SD = np.array([1.5, 0.8, 400.0, 500.0, 80.0])
JOINT_SD = np.array([2.0, 0.6, 400.0, 500.0, 60.0, 2.0, 0.6, 500.0, 400.0])


def fitted(profiles, **given):
    """`fit_edges` with one row of start, belief and doubt for all profiles."""
    rows = {name: np.tile(given.pop(name), (len(profiles), 1)) for name in ("start", "mean", "sd")}
    return fit_edges(profiles, **rows, **given)


def single(radius_mm, *, plate_mm, spongy, plate, soft, sigma_mm, faces_mm):
    """One plate between marrow and soft tissue, smeared: sums of normal cumulatives."""
    inner = ndtr((radius_mm - faces_mm[:, None] + plate_mm) / sigma_mm)
    outer = ndtr((radius_mm - faces_mm[:, None]) / sigma_mm)
    return spongy + (plate - spongy) * inner + (soft - plate) * outer


def across(radius_mm, *, faces_mm, gap_mm, sigma_mm, plate_mm=1.4):
    """Two plates with a joint between."""
    head = single(
        radius_mm, plate_mm=plate_mm, spongy=250, plate=1400, soft=40, sigma_mm=sigma_mm,
        faces_mm=faces_mm,
    )  # fmt: skip
    there = (faces_mm + gap_mm)[:, None]
    rise = ndtr((radius_mm - there) / sigma_mm)
    fall = ndtr((radius_mm - there - plate_mm) / sigma_mm)
    return head + (1400 - 40) * rise + (250 - 1400) * fall


@pytest.mark.oracle
@pytest.mark.parametrize("sigma_mm", [0.5, 0.7, 1.0])
@pytest.mark.parametrize("plate_mm", [0.8, 1.5, 2.5])
def test_a_free_surface_is_found_between_samples(sigma_mm: float, plate_mm: float) -> None:
    """Without noise the true face within 0.03 mm; what is believed beforehand may pull so much."""
    rng = np.random.default_rng(3)
    faces = 24.0 + rng.uniform(-0.5, 0.5, 60)
    radius = 19.0 + STEP_MM * np.arange(32)
    profiles = single(
        radius, plate_mm=plate_mm, spongy=250, plate=1400, soft=40, sigma_mm=sigma_mm,
        faces_mm=faces,
    )  # fmt: skip
    believed = np.array([24.0, plate_mm, 250.0, 1400.0, 40.0])
    found, misfit = fitted(
        profiles, first_mm=radius[0], step_mm=STEP_MM, count=32, sigma_mm=sigma_mm,
        start=believed, mean=believed, sd=SINGLE_SD,
    )  # fmt: skip
    np.testing.assert_allclose(found[:, 0], faces, atol=0.03)
    assert misfit.max() < 0.3


@pytest.mark.oracle
def test_noise_moves_the_face_without_a_drift() -> None:
    """Over 2,000 noisy profiles the mean miss is 0 within four standard errors plus 0.01 mm.

    0.01 mm is left for the beliefs, which are true here but for the face.
    """
    rng = np.random.default_rng(5)
    faces = 24.0 + rng.uniform(-0.5, 0.5, 2000)
    radius = 19.0 + STEP_MM * np.arange(32)
    profiles = single(
        radius, plate_mm=1.5, spongy=250, plate=1400, soft=40, sigma_mm=0.7, faces_mm=faces
    )
    profiles += rng.normal(scale=30.0, size=profiles.shape)
    believed = np.array([24.0, 1.5, 250.0, 1400.0, 40.0])
    found, _ = fitted(
        profiles, first_mm=radius[0], step_mm=STEP_MM, count=32, sigma_mm=0.7,
        start=believed, mean=believed, sd=SINGLE_SD,
    )  # fmt: skip
    miss = found[:, 0] - faces
    assert abs(miss.mean()) < 4.0 * miss.std() / np.sqrt(len(miss)) + 0.01
    assert miss.std() < 0.1  # a threshold at half the step misses by 0.1 and more


@pytest.mark.oracle
@pytest.mark.parametrize("gap_mm", [1.5, 2.0, 3.0, 5.0])
def test_both_faces_of_a_joint(gap_mm: float) -> None:
    """Two faces at 0.7 mm of smear: the width's mean miss over noisy profiles below 0.05 mm.

    At 1.5 mm the plates' smears overlap, and beliefs begin to count.
    """
    rng = np.random.default_rng(7)
    faces = 24.0 + rng.uniform(-0.4, 0.4, 500)
    radius = 19.0 + STEP_MM * np.arange(56)
    profiles = across(radius, faces_mm=faces, gap_mm=gap_mm, sigma_mm=0.7)
    profiles += rng.normal(scale=30.0, size=profiles.shape)
    believed = np.array([24.0, 1.4, 250, 1400, 40, 24.0 + gap_mm, 1.4, 1400, 250])
    start = believed + np.array([0.3, 0, 0, 0, 0, -0.3, 0, 0, 0])
    found, _ = fitted(
        profiles, first_mm=radius[0], step_mm=STEP_MM, count=56, sigma_mm=0.7,
        start=start, mean=believed, sd=JOINT_SD,
    )  # fmt: skip
    assert abs((found[:, 5] - found[:, 0]).mean() - gap_mm) < 0.05
    assert abs((found[:, 0] - faces).mean()) < 0.05


def test_only_the_counted_samples_are_read() -> None:
    """What lies beyond `count` changes nothing."""
    faces = np.full(4, 24.2)
    radius = 19.0 + STEP_MM * np.arange(40)
    profiles = single(
        radius, plate_mm=1.5, spongy=250, plate=1400, soft=40, sigma_mm=0.7, faces_mm=faces
    )
    spoiled = profiles.copy()
    spoiled[:, 30:] = 2500.0
    believed = np.array([24.0, 1.5, 250.0, 1400.0, 40.0])
    found = [
        fitted(
            rows, first_mm=radius[0], step_mm=STEP_MM, count=30, sigma_mm=0.7,
            start=believed, mean=believed, sd=SINGLE_SD,
        )[0]
        for rows in (profiles, spoiled)
    ]  # fmt: skip
    np.testing.assert_array_equal(*found)


def test_faces_never_cross_and_plates_stay_thick() -> None:
    """Pure noise may give any face, but never a socket inside its head or a plate of nothing."""
    rng = np.random.default_rng(9)
    profiles = rng.normal(scale=400.0, size=(300, 56))
    believed = np.array([24.0, 1.4, 250, 1400, 40, 25.0, 1.4, 1400, 250])
    found, misfit = fitted(
        profiles, first_mm=19.0, step_mm=STEP_MM, count=56, sigma_mm=0.7,
        start=believed, mean=believed, sd=JOINT_SD,
    )  # fmt: skip
    assert np.isfinite(found).all()
    assert (found[:, 5] >= found[:, 0]).all()
    assert (found[:, [1, 6]] >= LEAST_PLATE_MM).all()
    assert misfit.min() > 1.0
