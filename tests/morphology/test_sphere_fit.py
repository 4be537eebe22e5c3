"""Spheres fitted to points: exact on exact points, robust against what is no sphere."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import least_squares

from rimwright.anatomy import Floats, SphereFit
from rimwright.errors import BoneRefusal
from rimwright.morphology.sphere_fit import fit_sphere, refine_sphere

CENTRE = np.array([92.0, -8.0, -540.0])


def cap(n: int, *, lowest: float, seed: int) -> Floats:
    """Unit directions spread over the part of the ball above a height."""
    rng = np.random.default_rng(seed)
    height = rng.uniform(lowest, 1.0, n)
    turn = rng.uniform(0.0, 2.0 * np.pi, n)
    ring = np.sqrt(1.0 - height**2)
    return np.column_stack([ring * np.cos(turn), ring * np.sin(turn), height])


def test_exact_points_give_the_exact_sphere() -> None:
    """Points on a sphere far from the origin give its centre and radius to rounding."""
    fit = fit_sphere(CENTRE + 22.0 * cap(500, lowest=0.2, seed=1))
    assert np.abs(fit.centre_mm - CENTRE).max() < 1e-8  # 1e-16 of 540 mm, squared by the algebra
    assert fit.radius_mm == pytest.approx(22.0, abs=1e-8)


def test_weights_stand_for_repeated_points() -> None:
    """A point of weight two counts as the point given twice."""
    points = CENTRE + 22.0 * cap(60, lowest=-0.5, seed=2)
    points += np.random.default_rng(3).normal(scale=0.5, size=points.shape)
    weights = np.ones(60)
    weights[:20] = 2.0
    weighted = fit_sphere(points, weights=weights)
    repeated = fit_sphere(np.vstack([points, points[:20]]))
    assert np.abs(weighted.centre_mm - repeated.centre_mm).max() < 1e-9  # the same sums


@pytest.mark.oracle
def test_refined_sphere_is_the_biweight_minimum() -> None:
    """A general optimiser of the same redescending loss ends at the same sphere.

    scipy.optimize.least_squares(method="lm") on residuals whose square is the biweight loss.
    """
    rng = np.random.default_rng(4)
    points = CENTRE + cap(800, lowest=-0.4, seed=5) * (22.0 + rng.normal(scale=0.2, size=(800, 1)))
    start = fit_sphere(points)
    refined = refine_sphere(points, start=start)

    def loss_roots(parameters: Floats) -> Floats:
        miss = np.linalg.norm(points - parameters[:3], axis=1) - parameters[3]
        inside = np.clip(1.0 - (miss / refined.cutoff_mm) ** 2, 0.0, None)
        return refined.cutoff_mm / np.sqrt(6.0) * np.sqrt(1.0 - inside**3)

    best = least_squares(
        loss_roots, [*start.centre_mm, start.radius_mm], method="lm", xtol=1e-15, ftol=1e-15
    )
    assert np.abs(refined.fit.centre_mm - best.x[:3]).max() < 1e-4  # where scipy's steps end
    assert refined.fit.radius_mm == pytest.approx(best.x[3], abs=1e-4)


def test_a_bump_over_a_fifth_of_the_surface_is_left_out() -> None:
    """Points 2 mm outside the sphere over a fifth of it move the centre by under 0.02 mm."""
    directions = cap(3000, lowest=-0.4, seed=6)
    bump = directions[:, 0] > 0.6
    assert 0.18 < bump.mean() < 0.25
    points = CENTRE + directions * (22.0 + 2.0 * bump[:, None])
    start = SphereFit(centre_mm=CENTRE + np.array([0.3, -0.2, 0.2]), radius_mm=22.4, rms_mm=1.0)
    refined = refine_sphere(points, start=start, n_concentrations=20)
    assert np.linalg.norm(refined.fit.centre_mm - CENTRE) < 0.02
    assert not refined.inliers[bump].any()
    assert refined.inliers[~bump].all()


@pytest.mark.property
def test_order_of_the_points_does_not_matter() -> None:
    """Shuffled points give the same sphere to rounding."""
    rng = np.random.default_rng(7)
    points = CENTRE + cap(500, lowest=0.0, seed=8) * (22.0 + rng.normal(scale=0.3, size=(500, 1)))
    start = fit_sphere(points)
    first = refine_sphere(points, start=start).fit
    second = refine_sphere(rng.permutation(points), start=start).fit
    assert np.abs(first.centre_mm - second.centre_mm).max() < 1e-7  # the settling step


@pytest.mark.fault
@pytest.mark.parametrize(
    ("points", "words"),
    [
        (np.zeros((3, 3)), "too few points for a sphere"),
        (np.column_stack([np.eye(6)[:, :2], np.zeros(6)]), "points lie in a plane"),
    ],
)
def test_points_that_fix_no_sphere_are_refused(points: Floats, words: str) -> None:
    """Fewer than four points, or points in a plane, are refused in one line."""
    with pytest.raises(BoneRefusal, match=words):
        fit_sphere(points)


@pytest.mark.fault
def test_a_miss_above_the_limit_is_refused() -> None:
    """A cube's corners and face middles are no sphere within 1 mm."""
    grid = np.array([[x, y, z] for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1)])
    with pytest.raises(BoneRefusal, match="do not lie on a sphere"):
        fit_sphere(20.0 * grid, max_rms_mm=1.0)
