"""Two radii along one circle: the least cost of all pairs of paths, against trying every pair."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.special import ndtr

from rimwright.morphology.scan.coupled_surfaces import (
    PAIR_SHARE,
    STEP_MM,
    _best_paths,
    trace_surfaces,
)
from rimwright.morphology.scan.unwrap import N_TURNS, POLAR_DEG

MOVE, GAP_MOVE, WIDTH = 0.04, 0.03, 0.012
N_ALONG, N_RADII, N_HEADS, N_GAPS = 4, 6, 3, 3


def cost_of(edge, head_extra, socket_extra, paired, heads, gaps) -> float:
    """The cost of one pair of paths, written down from the rule."""
    total = 0.0
    for a, (h, g) in enumerate(zip(heads, gaps, strict=True)):
        s = min(h + g + 1, N_RADII - 1)
        first, second = edge[a, h], -edge[a, s]
        if paired[a]:
            total += 2.0 * PAIR_SHARE * max(first, second) + (1 - PAIR_SHARE) * (first + second)
        else:
            total += first + second
        total += head_extra[a, h] + socket_extra[a, s] + WIDTH * g
        if a:
            dh, dg = h - heads[a - 1], g - gaps[a - 1]
            total += MOVE * abs(dh) + GAP_MOVE * abs(dh + dg)
    return total


def every_pair():
    """All pairs of paths whose head moves one step and whose gap moves two steps at most."""
    for heads in itertools.product(range(N_HEADS), repeat=N_ALONG):
        if np.abs(np.diff(heads)).max() > 1:
            continue
        for gaps in itertools.product(range(N_GAPS), repeat=N_ALONG):
            if np.abs(np.diff(gaps)).max() <= 2:
                yield heads, gaps


@pytest.mark.oracle
@pytest.mark.parametrize("seed", range(6))
def test_no_other_pair_of_paths_costs_less(seed: int) -> None:
    """Every pair of a tiny problem is tried; the cost found equals the least."""
    rng = np.random.default_rng(seed)
    # of the size of the costs of moving, so that these decide too
    edge = rng.uniform(-0.06, 0.06, (1, N_ALONG, N_RADII))
    head_extra, socket_extra = rng.uniform(0, 0.03, (2, 1, N_ALONG, N_RADII))
    paired = rng.random((1, N_ALONG)) < 0.5
    heads, sockets = _best_paths(
        edge, head_extra, socket_extra, paired, N_HEADS, N_GAPS, MOVE, GAP_MOVE, WIDTH
    )
    gaps = sockets[0] - heads[0] - 1
    got = cost_of(edge[0], head_extra[0], socket_extra[0], paired[0], heads[0], gaps)
    least = min(
        cost_of(edge[0], head_extra[0], socket_extra[0], paired[0], h, g) for h, g in every_pair()
    )
    assert got == pytest.approx(least, abs=1e-12)


def made_profiles(gap_mm: float, *, opening_deg: float, noise_hu: float = 30.0):
    """Profiles round a ball of 24 mm: a plate, a joint to `opening_deg`, the opposite plate."""
    rng = np.random.default_rng(2)
    turns = 2.0 * np.pi * np.arange(N_TURNS) / N_TURNS
    polar = np.radians(POLAR_DEG)[:, None]
    head = 24.0 + 0.6 * np.sin(polar) * np.cos(turns)  # the middle is 0.6 mm off
    start = 24.0 - 9.0
    radius = start + STEP_MM * np.arange(76)
    r = radius[None, None]
    values = 250 + 1150 * ndtr((r - head[..., None] + 1.4) / 0.7)
    values = values - 1360 * ndtr((r - head[..., None]) / 0.7)
    socket = (head + gap_mm)[..., None]
    covered = opening_deg > POLAR_DEG
    beyond = 1360 * ndtr((r - socket) / 0.7) - 1150 * ndtr((r - socket - 1.4) / 0.7)
    values = values + beyond * covered[:, None, None]
    return values + rng.normal(scale=noise_hu, size=values.shape), head, covered


@pytest.mark.oracle
@pytest.mark.parametrize("gap_mm", [2.0, 3.0, 5.0])
def test_both_surfaces_of_a_made_joint(gap_mm: float) -> None:
    """Within a step and a half of the truth on 99 % of the rays that have a socket.

    A radius is one of the steps tried (a half step off at most), the brightest slope of a plate
    seen through 0.7 mm of smear lies up to half a step beside its face, and the noise adds a half.
    """
    profiles, head, covered = made_profiles(gap_mm, opening_deg=80.0)
    paths = trace_surfaces(
        profiles, polar_deg=POLAR_DEG, start_mm=15.0, radius_mm=24.0, inside_mm=6.0, outside_mm=5.0
    )
    apart = np.abs(paths.head_mm - head)
    assert np.quantile(apart, 0.99) < 1.5 * STEP_MM
    miss = np.abs(paths.socket_mm - head - gap_mm)[covered]
    assert np.quantile(miss, 0.99) < 1.5 * STEP_MM
    assert (paths.socket_mm > paths.head_mm).all()
    assert paths.socket_step_hu[covered].min() > 0.5 * paths.full_step_hu
    assert np.median(paths.socket_step_hu[~covered]) < 0.3 * paths.full_step_hu


def test_no_bone_no_steps() -> None:
    """In noise around soft tissue no ray shows a full edge."""
    rng = np.random.default_rng(0)
    profiles = rng.normal(40.0, 15.0, (len(POLAR_DEG), N_TURNS, 76))
    paths = trace_surfaces(
        profiles, polar_deg=POLAR_DEG, start_mm=15.0, radius_mm=24.0, inside_mm=6.0, outside_mm=5.0
    )
    assert (paths.head_step_hu < 0.5 * paths.full_step_hu).mean() > 0.95
