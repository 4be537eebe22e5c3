"""Arcs of the clock: through increasing hours, across 12, the whole ring where ends meet."""

from __future__ import annotations

import pytest
from hypothesis import given

from rimwright.anatomy import Sector, hour_gap
from strategies import HOURS, SECTORS

ROUNDING = 1e-8  # hours; two ends of arithmetic on hours up to 12


def arc(from_hour, to_hour):
    return Sector(from_hour=from_hour, to_hour=to_hour)


def test_an_arc_across_twelve():
    """11:00 to 2:30 is three and a half hours long and holds 12, not 6."""
    across = arc(11, 2.5)
    assert across.span_hours == 3.5
    assert across.middle_hour == 0.75
    assert across.contains(12)
    assert across.contains(11)
    assert across.contains(2.5)
    assert not across.contains(6)
    assert str(across) == "11:00 to 2:30"


def test_equal_ends_are_the_whole_ring():
    """Equal hours mean all of it, 12 and 0 being one hour."""
    for ring in (arc(4, 4), arc(0, 12), arc(12, 12)):
        assert ring.is_whole_ring
        assert ring.span_hours == 12
        assert ring.contains(7.3)
        assert str(ring) == "whole ring"


def test_an_end_that_went_through_arithmetic_is_still_inside():
    """Rounding below the first hour does not drop the end."""
    assert arc(2.5, 4).contains(2.5 - 1e-12)
    assert arc(0, 1).contains(12 - 1e-12)


@pytest.mark.parametrize(
    ("first", "second", "shared"),
    [
        (arc(1, 3), arc(2, 5), 1.0),
        (arc(1, 3), arc(3, 5), 0.0),  # touching ends share nothing
        (arc(11, 2), arc(1, 4), 1.0),
        (arc(11, 2), arc(10, 11.5), 0.5),
        (arc(11, 2), arc(1, 11.5), 1.5),  # meets at both ends
        (arc(0, 0), arc(11, 2), 3.0),
        (arc(11, 2), arc(5, 6), 0.0),
        (arc(9, 9), arc(3, 3), 12.0),
    ],
)
def test_overlaps_by_hand(first, second, shared):
    """Hours two arcs share, worked out by hand, either way round."""
    assert first.overlap_hours(second) == pytest.approx(shared)
    assert second.overlap_hours(first) == pytest.approx(shared)


@pytest.mark.property
@given(first=SECTORS, second=SECTORS)
def test_overlap_is_symmetric_and_bounded(first, second):
    """Either way round the same, never more than the shorter, and all of itself."""
    shared = first.overlap_hours(second)
    assert shared == pytest.approx(second.overlap_hours(first), abs=ROUNDING)
    assert -ROUNDING <= shared <= min(first.span_hours, second.span_hours) + ROUNDING
    assert first.overlap_hours(first) == pytest.approx(first.span_hours)


@pytest.mark.property
@given(sector=SECTORS)
def test_an_arc_and_the_rest_make_the_ring(sector):
    """An arc and its complement share nothing and span twelve hours."""
    if sector.is_whole_ring or sector.span_hours < ROUNDING:
        return
    rest = arc(sector.to_hour, sector.from_hour)
    assert sector.span_hours + rest.span_hours == pytest.approx(12.0)
    assert sector.overlap_hours(rest) == pytest.approx(0.0, abs=ROUNDING)
    assert sector.contains(sector.middle_hour)


@pytest.mark.property
@given(sector=SECTORS, hour=HOURS)
def test_cutting_loses_nothing(sector, hour):
    """The pieces of an arc have its length and hold the same hours."""
    pieces = sector.split_at(hour)
    assert sum(piece.span_hours for piece in pieces) == pytest.approx(sector.span_hours)
    if len(pieces) == 2:
        assert hour_gap(pieces[0].to_hour, hour) < ROUNDING
        assert sector.contains(hour)
        assert all(sector.contains(piece.middle_hour) for piece in pieces)


@pytest.mark.property
@given(sector=SECTORS, hour=HOURS)
def test_turning_the_clock_changes_no_arc(sector, hour):
    """Turned by any amount, an arc keeps its length and what it holds."""
    turned = arc(sector.from_hour + 5.0, sector.to_hour + 5.0)
    if sector.is_whole_ring or sector.span_hours < ROUNDING or sector.span_hours > 12 - ROUNDING:
        return
    assert turned.span_hours == pytest.approx(sector.span_hours, abs=ROUNDING)
    clear = min(hour_gap(hour, sector.from_hour), hour_gap(hour, sector.to_hour)) > ROUNDING
    if clear:
        assert turned.contains(hour + 5.0) == sector.contains(hour)
