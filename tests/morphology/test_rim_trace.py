"""Tracing the edge in sections: corners, paths, gaps, smoothing."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimwright.anatomy import Side
from rimwright.morphology import measure_hip
from rimwright.morphology.radial_sections import RadialSections
from rimwright.morphology.rim_trace import longest_run, smooth_ring, trace_rim
from rimwright.phantom import HipShape, make_hip

RADIUS_MM = 25.0
STEP_MM = 0.25


def sections_with_corner(*, polar_deg: np.ndarray, notch: np.ndarray) -> RadialSections:
    """Contours on a sphere up to a corner, then straight out; in a notch the floor is 5 mm low."""
    n = len(polar_deg)
    arc = np.arange(-120, 81) * STEP_MM
    across = np.empty((n, len(arc)))
    along = np.empty_like(across)
    for row in range(n):
        radius = RADIUS_MM + (5.0 if notch[row] else 0.0)
        corner = np.radians(polar_deg[row])
        inside = np.minimum(corner + np.minimum(arc, 0.0) / radius, corner)
        across[row] = radius * np.sin(inside)
        along[row] = -radius * np.cos(inside)
        # past the corner straight away from the axis, level
        across[row] += np.maximum(arc, 0.0)
        gone = inside < 0.05
        across[row, gone] = np.nan
        along[row, gone] = np.nan
    return RadialSections(
        angles_rad=np.arange(n) * (2 * np.pi / n),
        across_mm=across,
        along_mm=along,
        first_index=100,
        step_mm=STEP_MM,
    )


def test_corner_is_found_where_it_was_made() -> None:
    """A sharp corner on a sphere is read to a tenth of a step or two, whatever its height."""
    polar = 85.0 + 8.0 * np.cos(np.arange(120) * (2 * np.pi / 120))
    sections = sections_with_corner(polar_deg=polar, notch=np.zeros(120, dtype=bool))
    trace = trace_rim(sections, radius_mm=RADIUS_MM, band_mm=1.0, chord_mm=2.0)
    assert not trace.is_notch.any()
    found = np.degrees(np.arctan2(trace.across_mm, -trace.along_mm))
    np.testing.assert_allclose(found, polar, atol=0.2)


def test_notch_is_the_run_without_articular_contour() -> None:
    """Sections whose floor lies 5 mm off the sphere are the notch, and no others are."""
    notch = np.zeros(120, dtype=bool)
    notch[50:70] = True
    sections = sections_with_corner(polar_deg=np.full(120, 85.0), notch=notch)
    trace = trace_rim(sections, radius_mm=RADIUS_MM, band_mm=1.0, chord_mm=2.0)
    np.testing.assert_array_equal(trace.is_gap, notch)
    assert trace.is_notch[49:71].all()
    assert np.isfinite(trace.across_mm[:48]).all()
    assert np.isnan(trace.across_mm[49:71]).all()


def test_stray_corner_does_not_break_the_path() -> None:
    """A sharper corner in one section, 6 mm further out, is passed over: the path jumps less."""
    sections = sections_with_corner(polar_deg=np.full(120, 85.0), notch=np.zeros(120, dtype=bool))
    along = np.array(sections.along_mm)
    along[30, 145:] -= 3.0 * np.arange(along.shape[1] - 145) * STEP_MM  # a cliff at 6 mm
    bumped = RadialSections(
        angles_rad=sections.angles_rad,
        across_mm=sections.across_mm,
        along_mm=along,
        first_index=sections.first_index,
        step_mm=STEP_MM,
    )
    trace = trace_rim(bumped, radius_mm=RADIUS_MM, band_mm=1.0, chord_mm=2.0)
    assert abs(int(trace.column[30]) - int(trace.column[29])) <= 2


@given(st.lists(st.booleans(), min_size=8, max_size=80))
def test_longest_run_is_one_run_and_holds_the_longest(flags: list[bool]) -> None:
    """At most one run round the ring is kept, and it is at least as long as the longest given."""
    ring = np.array(flags)
    kept = longest_run(ring)
    if not ring.any():
        assert not kept.any()
        return
    starts = kept & ~np.roll(kept, 1)
    assert starts.sum() <= 1
    doubled = np.concatenate([ring, ring])
    longest = current = 0
    for flag in doubled:
        current = current + 1 if flag else 0
        longest = max(longest, current)
    assert kept.sum() >= min(longest, len(ring))


@given(st.floats(-5, 5), st.floats(-1, 1), st.floats(-0.05, 0.05), st.integers(0, 59))
def test_smoothing_keeps_a_parabola_and_its_gap(a: float, b: float, c: float, turn: int) -> None:
    """Away from the ends a parabola comes through unchanged; the gap stays a gap, ends included."""
    x = np.arange(60.0)
    values = a + b * x + c * x**2
    gap = np.zeros(60, dtype=bool)
    gap[50:] = True
    values[gap] = np.nan
    smooth = smooth_ring(np.roll(values, turn), is_gap=np.roll(gap, turn))
    smooth = np.roll(smooth, -turn)
    np.testing.assert_allclose(smooth[6:44], values[6:44], atol=1e-9)
    np.testing.assert_allclose(smooth[[0, 49]], values[[0, 49]], atol=1e-9)
    np.testing.assert_array_equal(np.isnan(smooth), gap)


@pytest.mark.oracle
def test_planar_circle_errs_where_the_traced_rim_does_not() -> None:
    """A rim of two planes: the best circle misses it by more than 2 mm, the traced one by 0.2.

    Truth from the phantom's analytic edge.
    """
    shape = HipShape(side=Side.RIGHT, rim_second_deg=(6.0, 2.0), with_other_hip_bone=False)
    hip = make_hip(shape)
    rim = measure_hip(side=Side.RIGHT, hip_bone=hip.hip_bone).rim
    assert rim is not None
    truth = hip.truth.rim_dense_mm
    middle = truth.mean(axis=0)
    _, _, rows = np.linalg.svd(truth - middle, full_matrices=False)
    flat = (truth - middle) @ rows[:2].T
    design = np.column_stack([2 * flat, np.ones(len(flat))])
    solution = np.linalg.lstsq(design, (flat**2).sum(axis=1), rcond=None)[0]
    radius = np.sqrt(solution[2] + solution[:2] @ solution[:2])
    off_circle = np.linalg.norm(flat - solution[:2], axis=1) - radius
    miss = np.hypot(off_circle, (truth - middle) @ rows[2])
    assert miss.max() > 2.0
    gaps = np.linalg.norm(rim.points_mm[rim.is_bone][:, None, :] - truth[None, ::4, :], axis=2).min(
        axis=1
    )
    assert gaps.max() < 0.2
