"""Random hips stay within what they are drawn from, and their bones do not meet."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import PelvicReference, Side
from rimwright.phantom import HipTruth, random_shape
from rimwright.phantom.truth_joint import lunate_gaps_mm

N = 40


def test_drawn_angles_are_met_and_spread() -> None:
    """Centre-edge angle 18 to 42, version 5 to 30 about the head; both sides, all of the ranges."""
    truths = [HipTruth(shape=random_shape(seed)) for seed in range(N)]
    rows = [truth.measurements(reference=PelvicReference.ANTERIOR_PELVIC_PLANE) for truth in truths]
    limits = {
        "lateral_centre_edge_angle": (18.0, 42.0),
        "acetabular_version_central": (5.0, 30.0),
        "neck_shaft_angle": (118.0, 142.0),
        "alpha_angle_max": (36.0, 80.0),
    }
    for key, (low, high) in limits.items():
        values = np.array([row[key] for row in rows])
        assert low - 0.02 <= values.min()  # six corrections leave under 0.01 degrees
        assert values.max() <= high + 0.02
        assert np.ptp(values) > 0.7 * (high - low)
    assert {truth.shape.side for truth in truths} == set(Side)


def test_no_femur_meets_its_socket() -> None:
    """The joint stays open by half its gap all over the lunate, steep and twisted hips included."""
    for seed in (28, 90, 174, *range(10)):
        truth = HipTruth(shape=random_shape(seed))
        gaps, _ = lunate_gaps_mm(truth.dial, truth.femur_surface)
        assert gaps[0] > 0.5 * truth.shape.joint_gap_mm


def test_a_seed_is_a_hip() -> None:
    """Same seed, same numbers; another seed, others."""
    assert random_shape(3) == random_shape(3)
    assert random_shape(3) != random_shape(4)
