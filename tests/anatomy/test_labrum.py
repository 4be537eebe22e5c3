"""The labrum map: sectors do not overlap, and what they leave open is unknown."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimwright.anatomy import LabrumMap, LabrumSector, Sector
from strategies import HOURS

ROUNDING = 1e-8  # hours


def mapped(*arcs):
    return LabrumMap(
        sectors=tuple(
            LabrumSector(sector=Sector(from_hour=first, to_hour=last)) for first, last in arcs
        )
    )


@pytest.mark.fault
@pytest.mark.parametrize(
    "arcs",
    [
        [(11, 2), (1, 3)],
        [(1, 3), (11, 2)],
        [(11, 2), (1, 11.5)],
        [(0, 12), (3, 4)],
        [(3, 4), (3, 4)],
    ],
)
def test_overlap_is_an_error_that_names_both(arcs):
    """Two readings of one hour contradict each other."""
    with pytest.raises(ValueError, match=r"sectors overlap: .* and "):
        mapped(*arcs)


def test_touching_sectors_are_no_overlap():
    """One may begin where the other ends, across 12 too."""
    assert len(mapped((11, 12), (12, 2), (2, 4)).sectors) == 3


def test_what_is_left_open():
    """The gaps between sectors, across 12 too; nothing known leaves the whole ring."""
    assert mapped().unknown_sectors()[0].is_whole_ring
    assert mapped((4, 4)).unknown_sectors() == ()
    assert mapped((11, 2)).unknown_sectors() == (Sector(from_hour=2, to_hour=11),)
    assert mapped((11, 12), (0, 2)).unknown_sectors() == (Sector(from_hour=2, to_hour=11),)
    assert mapped((0, 2), (3, 11)).unknown_sectors() == (
        Sector(from_hour=2, to_hour=3),
        Sector(from_hour=11, to_hour=0),
    )


def test_lookup_by_hour():
    """An hour finds its sector, or nothing where nothing is known."""
    found = mapped((11, 2), (3, 5))
    assert found.at(12.5) is found.sectors[1]
    assert found.at(4) is found.sectors[0]
    assert found.at(7) is None


@pytest.mark.property
@given(cuts=st.lists(HOURS, min_size=2, max_size=8, unique=True), data=st.data())
def test_known_and_unknown_make_the_ring(cuts, data):
    """Any arcs between cuts, in any order: known and unknown hours add up to twelve."""
    ordered = sorted(cuts)
    arcs = [
        (first, last)
        for first, last in zip(ordered, (*ordered[1:], ordered[0]), strict=True)
        if Sector(from_hour=first, to_hour=last).span_hours > 1e-6
    ]
    kept = data.draw(st.lists(st.sampled_from(arcs), unique=True)) if arcs else []
    labrum = mapped(*kept)
    known = sum(item.sector.span_hours for item in labrum.sectors)
    unknown = sum(sector.span_hours for sector in labrum.unknown_sectors())
    assert known + unknown == pytest.approx(
        12.0, abs=1e-6 * 8
    )  # cuts nearer than that are left out
    for sector in labrum.unknown_sectors():
        assert all(sector.overlap_hours(item.sector) < ROUNDING for item in labrum.sectors)
    assert labrum == mapped(*sorted(kept))
