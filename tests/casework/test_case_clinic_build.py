"""The clinic's record, earlier surgery and work on bone, as a case file says them."""

from __future__ import annotations

import json
import tomllib
from datetime import date
from pathlib import Path

import pytest

from rimwright.anatomy import Effect, Onset, OperationKind, RevisionKind, Sector, SeenOn, Side
from rimwright.casework.case_file import case_from_document
from rimwright.errors import CaseRefusal

FULL = """
schema = "rimwright.case/1"
id = "x"
side = "left"
person = "P-17"
[clinic.symptoms]
site = "groin"
duration_months = 14
onset = "gradual"
on = 2026-02-10
[[clinic.examination]]
flexion_deg = 105
internal_rotation_90_deg = -5
impingement_sign = true
laxity_score = 2
on = 2026-02-10
[[clinic.examination]]
dial_sign = false
[[clinic.injection]]
relief = "partial"
[[clinic.care]]
kind = "physiotherapy"
weeks = 16
effect = "none"
[[clinic.score]]
instrument = "iHOT-12"
value = 41.5
on = 2026-02-10
[[clinic.imaging]]
kind = "labrum"
finding = "thin"
modality = "MR"
[[clinic.operation]]
side = "right"
year = 2019
kind = "arthroscopy"
[[revision]]
kind = "tunnel"
hour = 12
size_mm = 2
seen_by = "operation note"
[[revision]]
kind = "earlier trim"
from_hour = 11
to_hour = 2
[[revision]]
kind = "cyst"
[[rim_trim]]
from_hour = 12
to_hour = 2
depth_mm = 1.5
[[rim_trim]]
from_hour = 2
to_hour = 3
depth_mm = 0
[cam]
target_alpha_deg = 50
[grades]
joint_space_apex_mm = 3
ligamentum_teres_grade = 3
[settings]
rules = "rules.toml"
authorisation_letter = "shipped"
referral_letter = "mine.txt"
"""


def case_of(text):
    """The case of a text."""
    return case_from_document(tomllib.loads(text), folder=Path("/cases"), where="case.toml")


def refusal_of(**parts):
    """What a case with some parts is refused with."""
    document = {"schema": "rimwright.case/1", "id": "x", "side": "left", **parts}
    with pytest.raises(CaseRefusal) as refused:
        case_from_document(document, folder=Path("/cases"), where="case.toml")
    return str(refused.value)


def test_everything_is_read_to_its_record():
    """Each word of the record reads to the value it holds; what is left out stays unknown."""
    case = case_of(FULL)
    record = case.clinic
    assert (case.person, record.side) == ("P-17", Side.LEFT)
    assert record.symptoms.onset is Onset.GRADUAL
    assert (record.symptoms.duration_months, record.symptoms.on) == (14.0, date(2026, 2, 10))
    first, second = record.examinations
    assert (first.motion.flexion_deg, first.motion.internal_rotation_90_deg) == (105.0, -5.0)
    assert (first.motion.abduction_deg, first.impingement_sign, first.dial_sign) == (
        None,
        True,
        None,
    )
    assert (second.motion, second.dial_sign) == (None, False)
    assert record.injections[0].relief is Effect.PARTIAL
    assert (record.care[0].weeks, record.care[0].effect) == (16.0, Effect.NONE)
    assert (record.scores[0].value, record.scores[0].on) == (41.5, date(2026, 2, 10))
    assert record.imaging[0].modality is SeenOn.MR
    assert record.operations[0].kind is OperationKind.ARTHROSCOPY
    assert record.operations_on(Side.LEFT) == ()
    tunnel, trim, cyst = case.revision
    assert (tunnel.kind, tunnel.hour, tunnel.size_mm) == (RevisionKind.TUNNEL, 0.0, 2.0)
    assert trim.sector == Sector(from_hour=11.0, to_hour=2.0)
    assert (cyst.hour, cyst.sector) == (None, None)
    (asked,) = case.rim_trim
    assert (asked.sector.from_hour, asked.depth_mm) == (0.0, 1.5)
    assert (case.cam.target_alpha_deg, case.cam.skip) == (50.0, False)
    assert (case.grades.joint_space_apex_mm, case.grades.ligamentum_teres_grade) == (3.0, 3)
    assert case.settings.rules == Path("/cases/rules.toml")
    assert case.settings.letters == {"authorisation": None, "referral": Path("/cases/mine.txt")}


def test_json_with_its_dates_reads_to_the_same_case():
    """A document kept as JSON, dates as text, is the same case with the same digest."""
    case = case_of(FULL)
    again = case_from_document(
        json.loads(json.dumps(case.document)), folder=Path("/cases"), where="case.toml"
    )
    assert (again.digest, again.clinic, again.revision) == (
        case.digest,
        case.clinic,
        case.revision,
    )


def test_an_old_case_says_nothing_of_all_this():
    """A case without the new parts has none of them: no record, nothing left, nothing trimmed."""
    case = case_of('schema = "rimwright.case/1"\nid = "x"\nside = "left"\n')
    assert (case.clinic, case.person, case.revision, case.rim_trim) == (None, "", (), ())
    assert (case.cam.target_alpha_deg, case.cam.skip, case.settings.letters) == (None, False, {})


REFUSED = {
    "no date": (
        {"clinic": {"symptoms": {"on": "spring"}}},
        'case.toml, [clinic], symptoms, on: not a date (got "spring", need year-month-day). '
        "Write 2026-03-02.",
    ),
    "score without its points": (
        {"clinic": {"score": [{"instrument": "iHOT-12"}]}},
        "case.toml, [clinic], first of score, value: missing (need -1000 <= value <= 1000). "
        "Add it; it is required.",
    ),
    "laxity beyond its signs": (
        {"clinic": {"examination": [{"laxity_score": 10}]}},
        "case.toml, [clinic], first of examination, laxity_score: outside its range (got 10, need "
        "0 <= laxity_score <= 9). Nine signs are counted.",
    ),
    "finding placed twice": (
        {"revision": [{"kind": "cyst", "hour": 1, "from_hour": 1, "to_hour": 2}]},
        "case.toml, first [[revision]], hour: placed twice (got hour and an arc, need one of "
        "them). Keep the hour, or from_hour and to_hour.",
    ),
    "arc without its end": (
        {"revision": [{"kind": "cyst", "from_hour": 1}]},
        "case.toml, first [[revision]], to_hour: missing (need from_hour and to_hour together). "
        "Add it, or give the hour instead of both.",
    ),
    "trims that overlap": (
        {
            "rim_trim": [
                {"from_hour": 11, "to_hour": 1, "depth_mm": 1},
                {"from_hour": 0, "to_hour": 2, "depth_mm": 2},
            ]
        },
        "case.toml, second [[rim_trim]], from_hour: overlaps the first [[rim_trim]] (got 12:00 to "
        "2:00 against 11:00 to 1:00). Let each arc end where the next begins.",
    ),
    "word of another table": (
        {"clinic": {"symptom": {}}},
        "case.toml, [clinic], symptom: unknown key (nearest known: symptoms). Correct the name, "
        "or leave the line out.",
    ),
}


@pytest.mark.fault
@pytest.mark.parametrize("name", REFUSED)
def test_refusal_text(name):
    """Each slip is one line that names the place, what came and what is needed."""
    parts, expected = REFUSED[name]
    assert refusal_of(**parts) == expected
