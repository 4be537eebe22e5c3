"""Tracks: the strip has the rim's true length, the ring the right hand."""

from __future__ import annotations

import numpy as np
import plan_fixture
import pytest

from rimwright.anatomy import Sector, Side
from rimwright.report.unrolled import Rolled, Unrolled, clock_angle, stretches


@pytest.mark.parametrize("side", Side)
def test_hours_turn_as_a_viewer_from_lateral_sees_them(side: Side) -> None:
    """3 o'clock lies where anterior lies for someone who looks at the hip from its lateral side.

    Worked out in LPS: looking medially with cranial up, the viewer's right is gaze × up.
    """
    gaze = np.array([-side.lateral_x_lps, 0.0, 0.0])
    right = np.cross(gaze, [0.0, 0.0, 1.0])
    anterior = np.array([0.0, -1.0, 0.0])
    expected = float(anterior @ right)
    assert np.sin(clock_angle(3.0, side)) == pytest.approx(expected, abs=1e-12)
    assert expected == (1.0 if side is Side.RIGHT else -1.0)


def test_strip_keeps_distances_along_the_rim() -> None:
    """Every stretch of the strip is as long as the rim there, on one scale."""
    rim = plan_fixture.made_rim(Side.LEFT)
    strip = Unrolled(rim=rim, left=52.0, right=986.0)
    assert strip.length_mm == pytest.approx(rim.length_mm, rel=1e-12)
    for start, end in ((7.5, 9.0), (11.0, 2.5), (0.0, 4.0)):
        drawn = strip.point((end - 6) % 12)[0] - strip.point((start - 6) % 12)[0]
        expected = rim.arc_between_mm(start, end) * strip.units_per_mm
        assert drawn == pytest.approx(expected, abs=1e-6)


def test_strip_without_a_rim_spaces_hours_evenly() -> None:
    """No rim: no length, every hour as wide as the next."""
    strip = Unrolled(rim=None, left=0.0, right=1200.0)
    assert strip.length_mm is None
    assert [strip.point(float(s))[0] for s in range(13)] == [100.0 * s for s in range(13)]


@pytest.mark.parametrize(
    ("sector", "expected"),
    [
        (Sector(from_hour=11.0, to_hour=2.5), ((5.0, 8.5),)),
        (Sector(from_hour=5.0, to_hour=7.0), ((11.0, 12.0), (0.0, 1.0))),
        (Sector(from_hour=3.0, to_hour=6.0), ((9.0, 12.0),)),
        (Sector(from_hour=6.0, to_hour=7.0), ((0.0, 1.0),)),
        (Sector(from_hour=2.0, to_hour=2.0), ((0.0, 12.0),)),
    ],
)
def test_a_sector_is_cut_at_six_and_nowhere_else(
    sector: Sector, expected: tuple[tuple[float, float], ...]
) -> None:
    """Crossing 12 is one stretch, crossing 6 two, the whole ring one."""
    assert np.allclose(stretches(sector), expected)


@pytest.mark.parametrize("side", Side)
def test_ring_puts_labrum_inside_and_bone_outside(side: Side) -> None:
    """A height above the rim is nearer to the centre by as many millimetres, on every hour."""
    ring = Rolled(rim=plan_fixture.made_rim(side), side=side, centre=(0.0, 0.0), units_per_mm=5.0)
    for station in (2.0, 3.0, 6.0, 9.25):  # outside the notch, which is bridged straight
        at_rim, above, below = (np.hypot(*ring.point(station, h)) for h in (0.0, 6.0, -20.0))
        assert at_rim == pytest.approx(5 * plan_fixture.RIM_RADIUS_MM, abs=1e-6)
        assert at_rim - above == pytest.approx(30.0, abs=1e-6)
        assert below - at_rim == pytest.approx(100.0, abs=1e-6)


@pytest.mark.parametrize("side", Side)
def test_along_means_towards_later_hours_on_both_sides(side: Side) -> None:
    """A shift along the rim moves towards the point of the next hour."""
    ring = Rolled(rim=plan_fixture.made_rim(side), side=side, centre=(0.0, 0.0), units_per_mm=5.0)
    here, later = np.array(ring.point(7.0)), np.array(ring.point(7.5))
    shifted = np.array(ring.point(7.0, along_mm=2.0))
    assert (shifted - here) @ (later - here) > 0
