"""The clinic's record and what earlier surgery left: unknown stays unknown, sides never mix."""

from __future__ import annotations

from dataclasses import fields, replace
from datetime import date

import pytest

from rimwright.anatomy import (
    ClinicRecord,
    Examination,
    NonOperativeCare,
    OperationKind,
    Person,
    PreviousOperation,
    RevisionFinding,
    RevisionKind,
    Sector,
    Side,
    Symptoms,
)

LEFT_BEFORE = PreviousOperation(
    side=Side.LEFT, year=2019, kind=OperationKind.ARTHROSCOPY, done="labrum sutured, 3 anchors"
)


@pytest.mark.parametrize("kind", [Symptoms, Examination])
def test_everything_is_optional_and_unknown(kind):
    """A record of which nothing was given knows nothing."""
    assert all(getattr(kind(), field.name) is None for field in fields(kind))


@pytest.mark.parametrize(
    ("apprehension", "dial", "expected"),
    [
        (True, None, True),
        (False, True, True),
        (False, False, False),
        (False, None, None),
        (None, None, None),
    ],
)
def test_one_positive_sign_is_enough_but_none_needs_both(apprehension, dial, expected):
    """A sign not looked for is no negative sign."""
    seen = Examination(apprehension_sign=apprehension, dial_sign=dial)
    assert seen.instability_sign is expected


def test_latest_examination_is_that_of_the_last_day():
    """Dates decide, not the order of writing; without dates the last written one."""
    early = Examination(laxity_score=2, on=date(2024, 3, 1))
    late = Examination(laxity_score=5, on=date(2025, 1, 9))
    undated = Examination(laxity_score=7)
    record = ClinicRecord(side=Side.LEFT, examinations=(late, early, undated))
    assert record.latest_examination is late
    assert ClinicRecord(side=Side.LEFT, examinations=(undated,)).latest_examination is undated
    assert ClinicRecord(side=Side.LEFT).latest_examination is None


def test_longest_care_counts():
    """Two treatments side by side are not added: they may have run at once."""
    care = (
        NonOperativeCare(kind="physiotherapy", weeks=8),
        NonOperativeCare(kind="activity changed", weeks=20),
        NonOperativeCare(kind="tablets"),
    )
    assert ClinicRecord(side=Side.LEFT, care=care).non_operative_weeks == 20
    assert ClinicRecord(side=Side.LEFT, care=care[2:]).non_operative_weeks is None


def test_person_keeps_two_hips_apart():
    """A record under the wrong side is refused; an operation named twice counts once."""
    left = ClinicRecord(side=Side.LEFT, operations=(LEFT_BEFORE,))
    right = ClinicRecord(side=Side.RIGHT, operations=(LEFT_BEFORE,))
    person = Person(id="one", left=left, right=right)
    assert person.hip(Side.LEFT) is left
    assert person.hip(Side.RIGHT) is right
    assert person.operations_on(Side.LEFT) == (LEFT_BEFORE,)
    assert person.operations_on(Side.RIGHT) == ()
    assert right.operations_on(Side.RIGHT) == ()
    with pytest.raises(ValueError, match="right hip stands under left"):
        Person(id="one", left=right)


@pytest.mark.fault
def test_slips_of_the_pen_are_refused():
    """A laxity score of 10, weeks below zero and a length below zero are none."""
    with pytest.raises(ValueError, match=r"laxity_score is outside its range \(got 10, need 0"):
        Examination(laxity_score=10)
    with pytest.raises(ValueError, match="weeks"):
        NonOperativeCare(kind="physiotherapy", weeks=-1)
    with pytest.raises(ValueError, match="duration_months"):
        Symptoms(duration_months=float("nan"))
    with pytest.raises(ValueError, match="cyst: size_mm is not a length"):
        RevisionFinding(kind=RevisionKind.CYST, size_mm=-3)
    with pytest.raises(ValueError, match="an hour or a sector, not both"):
        RevisionFinding(
            kind=RevisionKind.CYST, hour=1, sector=Sector(from_hour=1, to_hour=2), size_mm=3
        )


def test_finding_lies_where_it_was_seen():
    """By hour, by arc (also across 12), and nowhere where its place is unknown."""
    arc = Sector(from_hour=11, to_hour=1)
    cyst = RevisionFinding(kind=RevisionKind.CYST, hour=12)
    assert cyst.lies_in(arc)
    assert not cyst.lies_in(Sector(from_hour=1, to_hour=3))
    trim = RevisionFinding(kind=RevisionKind.EARLIER_TRIM, sector=Sector(from_hour=0.5, to_hour=2))
    assert trim.lies_in(arc)
    assert not trim.lies_in(Sector(from_hour=2, to_hour=3))  # touching ends share nothing
    assert not replace(cyst, hour=None).lies_in(arc)


def test_hours_of_an_arc_hold_both_ends():
    """An arc of half an hour gives three hours a quarter apart; a place unknown gives none."""
    arc = Sector(from_hour=11.75, to_hour=0.25)
    found = RevisionFinding(kind=RevisionKind.TUNNEL, sector=arc)
    assert found.hours() == pytest.approx((11.75, 0.0, 0.25))
    assert RevisionFinding(kind=RevisionKind.TUNNEL, hour=2.0).hours() == (2.0,)
    assert RevisionFinding(kind=RevisionKind.TUNNEL).hours() == ()
    ring = RevisionFinding(kind=RevisionKind.CYST, sector=Sector(from_hour=0, to_hour=0))
    assert len(ring.hours()) == 48
