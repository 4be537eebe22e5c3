"""The rim curve: arcs along it, its notch bridged straight, and hours that find their points."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given

from rimwright.anatomy import N_RIM_HOURS, ClockReference, RimCurve, hour_gap, hours_of_rim
from rimwright.evidence import check_values
from strategies import HOURS, rotations

RADIUS_MM = 24.0
# A circle seen at 120 stations is a polygon: its length falls short by (pi/120)^2/6, 1.1e-4.
POLYGON = (math.pi / N_RIM_HOURS) ** 2 / 6


def circle_rim(
    *, notch=None, radius_mm=RADIUS_MM, turn=None, centre_mm=(0.0, 0.0, 0.0)
) -> RimCurve:
    """A planar round rim: axis x, 12 along z, 3 along -y, then turned and moved."""
    turn = np.eye(3) if turn is None else turn
    hours = hours_of_rim()
    angle = np.radians(30.0 * hours)
    radial = np.stack([np.zeros_like(angle), -np.sin(angle), np.cos(angle)], axis=1) @ turn.T
    points = np.array(centre_mm) + radius_mm * radial
    inward = np.tile(turn @ [-1.0, 0.0, 0.0], (N_RIM_HOURS, 1))
    if notch is not None:
        inside = np.array([notch[0] < hour < notch[1] for hour in hours])
        for array in (points, radial, inward):
            array[inside] = np.nan
    chord = 2 * radius_mm * math.sin(math.radians(15.0 * (notch[1] - notch[0]))) if notch else 0.0
    arc = 2 * math.pi * radius_mm * (12 - (notch[1] - notch[0] if notch else 0)) / 12
    return RimCurve(
        hours=hours,
        points_mm=points,
        outward=radial,
        bone_inward=inward,
        centre_mm=np.array(centre_mm),
        axis=turn @ [1.0, 0.0, 0.0],
        twelve=turn @ [0.0, 0.0, 1.0],
        three=turn @ [0.0, -1.0, 0.0],
        notch_from_hour=notch[0] if notch else None,
        notch_to_hour=notch[1] if notch else None,
        reference=ClockReference.NOTCH if notch else ClockReference.IMAGE_AXES,
        hour_doubt=0.0,
        length_mm=arc + chord,
    )


ROUND = circle_rim()


@pytest.mark.oracle
def test_arc_of_an_hour_on_a_round_rim():
    """One hour of a 48 mm rim is 12.566 mm, three and a half hours of 52 mm are 47.6 (geometry)."""
    checks = check_values()
    hour = checks["clock_arc_mm_per_hour"]["D48"]
    assert ROUND.arc_between_mm(1, 2) == pytest.approx(hour, rel=2 * POLYGON)
    assert ROUND.arc_between_mm(11.5, 0.5) == pytest.approx(hour, rel=2 * POLYGON)
    tear = checks["tear_length_sanity"]
    wide, narrow = circle_rim(radius_mm=26.0), circle_rim(radius_mm=23.0)
    assert wide.arc_between_mm(11, 2.5) == pytest.approx(tear["D52_mm"], abs=0.06)  # to 0.1 mm
    assert narrow.arc_between_mm(11, 2.5) == pytest.approx(tear["D46_mm"], abs=0.06)


def test_whole_ring_is_the_closed_length():
    """Equal hours mean the whole ring, whichever hour; no notch, no bridge."""
    whole = 2 * math.pi * RADIUS_MM
    for hour in (0.0, 3.3, 6.0, 11.95):
        assert ROUND.arc_between_mm(hour, hour) == pytest.approx(whole, rel=2 * POLYGON)
    assert ROUND.arc_positions_mm()[0] == 0.0
    assert ROUND.arc_positions_mm()[-1] == pytest.approx(ROUND.length_mm, rel=2 * POLYGON)


def test_the_notch_is_bridged_straight():
    """From 4:30 to 7:30 the closed curve runs along the chord of 90 degrees."""
    rim = circle_rim(notch=(4.5, 7.5))
    chord = 2 * RADIUS_MM * math.sin(math.radians(45))
    assert rim.arc_between_mm(4.5, 7.5) == pytest.approx(chord, rel=1e-9)
    assert rim.arc_positions_mm()[-1] == pytest.approx(rim.length_mm, rel=2 * POLYGON)
    bridged = rim.closed_points_mm()[50:71]
    middle = rim.closed_points_mm()[60]
    assert np.isfinite(bridged).all()
    assert np.linalg.norm(middle) == pytest.approx(RADIUS_MM * math.cos(math.radians(45)))


def test_inside_the_notch_there_is_no_point():
    """A point in the notch is a hole, not a guess; its ends are bone."""
    rim = circle_rim(notch=(4.5, 7.5))
    assert np.isnan(rim.point_at(6.0)).all()
    assert np.isfinite(rim.point_at(4.5)).all()
    assert rim.is_in_notch(6.0)
    assert not rim.is_in_notch(4.5)
    assert not rim.is_in_notch(7.5)
    assert not rim.is_in_notch(0.0)
    assert not ROUND.is_in_notch(6.0)
    assert rim.is_bone.sum() == N_RIM_HOURS - 29


@pytest.mark.property
@given(first=HOURS, second=HOURS)
def test_there_and_back_is_the_ring(first, second):
    """The arc there and the arc back make the closed length."""
    if hour_gap(first, second) < 1e-9:
        return
    there, back = ROUND.arc_between_mm(first, second), ROUND.arc_between_mm(second, first)
    assert there + back == pytest.approx(ROUND.arc_positions_mm()[-1])


@pytest.mark.property
@given(turn=rotations(), hour=HOURS)
def test_hours_find_their_points_however_the_hip_lies(turn, hour):
    """A point of the rim has the hour it was asked for, in any position of the hip."""
    rim = circle_rim(turn=turn, centre_mm=(30.0, -12.0, 800.0))
    point = rim.point_at(hour)
    found = rim.hours_of(point[None, :])[0]
    # between two tenths the point runs along a chord: at most 0.0001 hours off its hour
    assert hour_gap(found, hour) < 2e-4
    direction = rim.radial_direction(hour)
    assert np.linalg.norm(direction) == pytest.approx(1.0)
    relative = point - rim.centre_mm
    cosine = direction @ relative / np.linalg.norm(relative)
    off_deg = math.degrees(math.acos(min(1.0, cosine)))
    assert off_deg < 0.006  # 2e-4 hours
    assert rim.arc_between_mm(1, 2) == pytest.approx(ROUND.arc_between_mm(1, 2))


@pytest.mark.fault
def test_wrong_shapes_are_refused_by_name():
    """An array of another length names itself."""
    values = {name: getattr(ROUND, name) for name in RimCurve.__dataclass_fields__}
    values["points_mm"] = np.zeros((60, 3))
    with pytest.raises(ValueError, match=r"points_mm: shape \(60, 3\), need \(120, 3\)"):
        RimCurve(**values)
