"""The clock: 3 anterior on both sides, 12 stored as 0, arithmetic round the dial."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given

from rimwright.anatomy import (
    Side,
    angle_of_hour,
    hour_gap,
    hour_of_angle,
    hours_after,
    pelvic_frame_of_image,
    spoken_hour,
    wrap_hour,
    wrap_hours,
)
from rimwright.evidence import check_values
from strategies import ANY_HOURS, HOURS

ROUNDING = 1e-9  # hours


def test_twelve_is_stored_as_zero():
    """12 and 0 are one hour; so are 15 and 3, and -1 and 11."""
    assert wrap_hour(12.0) == 0.0
    assert wrap_hour(15.0) == 3.0
    assert wrap_hour(-1.0) == 11.0
    assert wrap_hour(-1e-20) == 0.0  # rounding would leave 12, which is off the dial
    assert wrap_hours(np.array([12.0, -1.0, -1e-20])).tolist() == [0.0, 11.0, 0.0]


@pytest.mark.property
@given(hour=ANY_HOURS)
def test_wrapping_stays_on_the_dial(hour):
    """Every hour lands in [0, 12), and wrapping twice changes nothing."""
    wrapped = wrap_hour(hour)
    assert 0.0 <= wrapped < 12.0
    assert wrap_hour(wrapped) == wrapped
    assert wrap_hours(np.array([hour]))[0] == wrapped


@pytest.mark.property
@given(first=HOURS, second=HOURS)
def test_there_and_back_is_once_round(first, second):
    """The way there and the way back make twelve hours, or none; the gap is the shorter."""
    there, back = hours_after(first, second), hours_after(second, first)
    # 0 and almost 0 are one hour; then the ways are 0 and 12, or both 0
    assert min(abs(there + back - 12.0), abs(there + back)) < ROUNDING
    assert hour_gap(first, second) == pytest.approx(min(there, back), abs=ROUNDING)
    assert hour_gap(first, second) == pytest.approx(hour_gap(second, first), abs=ROUNDING)
    assert 0.0 <= hour_gap(first, second) <= 6.0


@pytest.mark.property
@given(hour=HOURS)
def test_hours_and_angles(hour):
    """30 degrees an hour, there and back."""
    assert angle_of_hour(3.0) == 90.0
    assert hour_gap(hour_of_angle(angle_of_hour(hour)), hour) < ROUNDING


@pytest.mark.parametrize(
    ("hour", "spoken"),
    [(0.0, "12:00"), (2.5, "2:30"), (11.5, "11:30"), (11.99, "12:00"), (1.0417, "1:05")],
)
def test_spoken_hours(hour, spoken):
    """Read aloud to the nearest five minutes, rounding past 12 included."""
    assert spoken_hour(hour) == spoken


@pytest.mark.parametrize("side", list(Side))
def test_three_is_anterior_on_both_sides(side):
    """12 cranial and 3 anterior in the pelvic frame of the own side: no unmirrored clock (C1).

    A point in front of the hip has the same hour on the left and on the right; in image axes
    (LPS) front is -y and the two sides differ in the sign of x alone.
    """
    frame = pelvic_frame_of_image(side)
    front, up = np.array([0.0, -1.0, 0.0]), np.array([0.0, 0.0, 1.0])
    outward = np.array([side.lateral_x_lps, 0.0, 0.0])
    for point, hour in ((up, 0.0), (front, 3.0), (-up, 6.0), (-front, 9.0)):
        _, cranial, anterior = frame.pelvic_from_image.directions(point)
        assert hour_of_angle(math.degrees(math.atan2(anterior, cranial))) == pytest.approx(hour)
    assert frame.pelvic_from_image.directions(outward)[0] == 1.0


@pytest.mark.oracle
def test_arc_of_an_hour():
    """An hour of a circle of diameter D is pi D / 12 (planning:1.21, geometry)."""
    entry = check_values()["clock_arc_mm_per_hour"]
    assert math.pi * 48 / 12 == pytest.approx(entry["D48"], abs=0.0005)  # printed to 0.001 mm
    assert math.pi * 52 / 12 == pytest.approx(entry["D52"], abs=0.0005)
