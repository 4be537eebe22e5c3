"""The clinic's record becomes findings: nothing is invented, a side changes nothing else."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from rimwright.anatomy import (
    ClinicRecord,
    Effect,
    Examination,
    Injection,
    NonOperativeCare,
    OperationKind,
    PreviousOperation,
    Side,
)
from rimwright.evidence import load_evidence
from rimwright.treatment import Findings, assess_candidacy, with_clinic
from treatment.labrum_cases import YOUNG

TABLE = load_evidence()


def record(side=Side.LEFT, **more):
    """A record of one hip, examined twice, injected twice, treated, operated on once."""
    known = {
        "examinations": (
            Examination(laxity_score=6, apprehension_sign=True, on=date(2025, 5, 2)),
            Examination(laxity_score=3, apprehension_sign=False, on=date(2024, 5, 2)),
        ),
        "injections": (Injection(relief=Effect.FULL), Injection(relief=Effect.NONE)),
        "care": (NonOperativeCare(kind="physiotherapy", weeks=6, effect=Effect.PARTIAL),),
        "operations": (
            PreviousOperation(side=side, year=2021, kind=OperationKind.ARTHROSCOPY),
            PreviousOperation(side=side.other, year=2019, kind=OperationKind.ARTHROSCOPY),
            PreviousOperation(side=side, year=2010, kind=OperationKind.OTHER, done="fracture"),
        ),
    }
    return ClinicRecord(side=side, **(known | more))


def test_record_becomes_findings():
    """The last examination, the least relief, the longest care, the arthroscopies of this side."""
    found = with_clinic(Findings(), record())
    assert found.laxity_score == 6
    assert found.instability_sign is True
    assert found.injection_relief is Effect.NONE
    assert found.non_operative_weeks == 6
    assert found.previous_hip_arthroscopy == 1
    assert found.is_revision is True


def test_nothing_given_is_nothing_known():
    """No record, and an empty one, leave all as it was; no operation listed is no zero."""
    assert with_clinic(YOUNG, None) == YOUNG
    empty = with_clinic(Findings(), ClinicRecord(side=Side.LEFT))
    assert empty == Findings()
    assert empty.is_revision is None


@pytest.mark.parametrize(("given", "expected"), [(None, 1), (0, 1), (1, 1), (3, 3)])
def test_the_larger_count_of_arthroscopies_holds(given, expected):
    """A count of none against an arthroscopy in the list: the list is believed."""
    known = with_clinic(Findings(previous_hip_arthroscopy=given), record())
    assert known.previous_hip_arthroscopy == expected


def test_two_listed_arthroscopies_are_more_than_one_counted():
    """The longer list is believed over a smaller count."""
    twice = tuple(
        PreviousOperation(side=Side.LEFT, year=year, kind=OperationKind.ARTHROSCOPY)
        for year in (2018, 2021)
    )
    known = with_clinic(Findings(previous_hip_arthroscopy=1), record(operations=twice))
    assert known.previous_hip_arthroscopy == 2


@pytest.mark.parametrize(
    ("kind", "revision"),
    [
        (OperationKind.OPEN_HIP_SURGERY, True),
        (OperationKind.PELVIC_OSTEOTOMY, None),
        (None, None),
    ],
)
def test_surgery_inside_the_hip_makes_a_revision(kind, revision):
    """An open operation inside the hip counts; an osteotomy, or a kind nobody knows, does not."""
    operation = PreviousOperation(side=Side.LEFT, year=2015, kind=kind)
    assert with_clinic(Findings(), record(operations=(operation,))).is_revision is revision
    other = PreviousOperation(side=Side.RIGHT, year=2015, kind=kind)
    assert with_clinic(Findings(), record(operations=(other,))).is_revision is None


def test_what_is_given_beside_the_record_stays():
    """A score written with the findings is not replaced by that of the record."""
    assert with_clinic(Findings(laxity_score=1), record()).laxity_score == 1


@pytest.mark.property
def test_mirrored_side_changes_nothing_but_the_side():
    """The same record of the other hip gives the same findings and the same statements."""
    left, right = (with_clinic(YOUNG, record(side)) for side in (Side.LEFT, Side.RIGHT))
    assert left == right
    assert assess_candidacy(left, TABLE) == assess_candidacy(right, TABLE)


def test_signs_and_care_speak_and_are_marked():
    """Laxity, signs, no relief and short care are said, each as resting on memory."""
    statements = assess_candidacy(with_clinic(Findings(), record()), TABLE)
    text = "\n".join(item.statement for item in statements)
    for words in (
        "General laxity 6 of 9: lax by the limit in force",
        "Sign of instability: an apprehension or dial sign is positive",
        "Injection into the joint: gave no relief",
        "Care without an operation 6 weeks: shorter than is customary",
    ):
        assert words in text
    assert text.count("from memory") >= 4
    assert "shorter than is customary" in statements[0].statement  # beside no operation


def test_negative_signs_say_nothing():
    """Signs looked for and not found bring no road into the discussion and ask for nothing."""
    calm = Examination(laxity_score=1, apprehension_sign=False, dial_sign=False)
    known = with_clinic(Findings(), ClinicRecord(side=Side.LEFT, examinations=(calm,)))
    text = "\n".join(item.statement for item in assess_candidacy(known, TABLE))
    assert "ign of instability" not in text
    unseen = replace(known, instability_sign=None)
    text = "\n".join(item.statement for item in assess_candidacy(unseen, TABLE))
    assert "sign of instability (test apprehension and dial)" in text
