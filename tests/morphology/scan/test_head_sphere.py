"""The sphere of most points: exact on a sphere, deaf to a neck, a bump and a fovea."""

from __future__ import annotations

import numpy as np
import pytest

from rimwright.morphology.scan.head_sphere import fit_head_sphere

CENTRE, RADIUS = np.array([90.0, -12.0, 803.0]), 23.7


def directions(n: int = 4000, seed: int = 0) -> np.ndarray:
    """Even directions."""
    d = np.random.default_rng(seed).normal(size=(n, 3))
    return d / np.linalg.norm(d, axis=1)[:, None]


@pytest.mark.oracle
def test_points_of_a_sphere_give_it_back() -> None:
    """Exact to rounding, all of it seen, no rest."""
    points = CENTRE + RADIUS * directions()
    fitted = fit_head_sphere(points, np.ones(len(points)), np.ones(len(points), dtype=bool))
    np.testing.assert_allclose(fitted.centre_mm, CENTRE, atol=1e-7)
    assert fitted.radius_mm == pytest.approx(RADIUS, abs=1e-7)
    assert fitted.rms_mm < 1e-6
    assert fitted.share == pytest.approx(1.0)


@pytest.mark.oracle
def test_a_neck_and_a_cam_do_not_draw_it() -> None:
    """A tenth of the points pushed out by 3 to 5 mm moves it by less than 0.02 mm.

    A trace leaves its sphere by 5 mm at most. (A quarter pushed out by 4 to 9 mm does mislead it.)
    """
    d = directions()
    radius = np.full(len(d), RADIUS)
    bump = d[:, 0] > 0.8
    radius[bump] += 3.0 + 10.0 * (d[bump, 0] - 0.8)
    fitted = fit_head_sphere(
        CENTRE + radius[:, None] * d, np.ones(len(d)), np.ones(len(d), dtype=bool)
    )
    np.testing.assert_allclose(fitted.centre_mm, CENTRE, atol=0.02)
    assert fitted.radius_mm == pytest.approx(RADIUS, abs=0.02)
    assert fitted.share == pytest.approx(1.0 - bump.mean(), abs=0.01)


def test_unseen_points_count_as_unseen() -> None:
    """Wild points that were not seen change nothing but the share."""
    d = directions()
    points = CENTRE + RADIUS * d
    seen = d[:, 2] > -0.3
    points[~seen] += 500.0
    fitted = fit_head_sphere(points, np.ones(len(d)), seen)
    np.testing.assert_allclose(fitted.centre_mm, CENTRE, atol=1e-7)
    assert fitted.share == pytest.approx(seen.mean())


@pytest.mark.oracle
def test_noise_does_not_shrink_it() -> None:
    """0.3 mm of noise: centre and radius within 0.03 mm (0.3 over the root of 4,000 is 0.005)."""
    rng = np.random.default_rng(8)
    d = directions()
    points = CENTRE + (RADIUS + rng.normal(scale=0.3, size=len(d)))[:, None] * d
    fitted = fit_head_sphere(points, np.ones(len(d)), np.ones(len(d), dtype=bool))
    np.testing.assert_allclose(fitted.centre_mm, CENTRE, atol=0.03)
    assert fitted.radius_mm == pytest.approx(RADIUS, abs=0.03)
    assert fitted.rms_mm == pytest.approx(0.3, abs=0.03)
