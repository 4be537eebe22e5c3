"""What a letter can be filled with: each placeholder, what it is, and its words from a plan."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from rimwright.anatomy import Plan
from rimwright.evidence import EvidenceTable
from rimwright.report.clinic_words import (
    care_words,
    examination_words,
    imaging_words,
    injection_words,
    operation_words,
    score_words,
    symptom_words,
)
from rimwright.report.colleague_page import (
    ROADS_SHOWN,
    anchor_words,
    bone_words,
    graft_words,
    worse_words,
)
from rimwright.report.first_page import doubts_that_matter, sentence
from rimwright.report.labrum_words import whole_words
from rimwright.report.letter_template import Values
from rimwright.report.revision_section import revision_words
from rimwright.report.wording import (
    MEASUREMENT_NAMES,
    NOTICE,
    measured,
    side_words,
    spread_of,
)

LINE_TO_WRITE_ON = "_" * 32
"""Stands for {line}."""
PLACEHOLDERS = {
    "actions": "what is done where",
    "anchors": "number, size and hours of the anchors",
    "bony_work": "what is taken from rim and neck",
    "care_so_far": "care without an operation",
    "case_id": "the case",
    "doubts": "doubts of the plan",
    "earlier_operations": "earlier operations with side and year",
    "equipment": "what to book",
    "examination": "examinations with their dates",
    "graft": "graft stock",
    "imaging": "findings on images",
    "injections": "injections and what they did",
    "issued_on": "the date given",
    "labrum": "what was found of the labrum, by sector",
    "line": "a line to write on",
    "measurements": "what was measured on bone",
    "notice": "the sentence at the foot of every page",
    "option": "the option shown first",
    "other_options": "the other labral options with their stance",
    "patient": "facts of the patient",
    "person": "what names the person",
    "reasons": "reasons of the option shown first, with evidence ids",
    "referral_summary": "summary for a surgeon of another road",
    "revision": "what earlier surgery left",
    "roads": "no operation, arthroscopy, osteotomy, arthroplasty",
    "scores": "scores of questionnaires",
    "side": "the side in capitals",
    "sources": "the rows that reasons and roads rest on",
    "stance": "what the evidence says of the option",
    "symptoms": "site, duration and onset",
    "version": "version of the plan",
    "worse_case": "what more is needed if the remnant is not usable",
}
"""Placeholder to what it is filled with."""


def letter_placeholders() -> Mapping[str, str]:
    """
    Every name a template may hold in braces, with what it is filled with.

    Returns
    -------
    Mapping
        Name to description, sorted by name.
    """
    return MappingProxyType(PLACEHOLDERS)


def letter_values(plan: Plan, *, evidence: EvidenceTable, issued_on: str) -> Values:
    """
    Words for every placeholder; empty where the plan has nothing.

    Parameters
    ----------
    plan
        What casework computed.
    evidence
        Rows in force, for the sources.
    issued_on
        Date as it shall be printed.

    Returns
    -------
    dict
        Placeholder to text, or to several lines.
    """
    planned = plan.planned
    option = planned.option if planned else None
    reasons = option.reasons if option else ()
    roads = plan.candidacy[:ROADS_SHOWN]
    rows = [*(reason.evidence for reason in reasons), *(road.evidence for road in roads)]
    cited = dict.fromkeys(id_ for ids in rows for id_ in ids)
    return {
        "actions": tuple(f"{a.action.value} {a.sector}" for a in option.actions) if option else (),
        "anchors": anchor_words(plan),
        "bony_work": bone_words(plan),
        "care_so_far": care_words(plan.clinic),
        "case_id": plan.case_id,
        "doubts": tuple(cell.text for cell in doubts_that_matter(plan)),
        "earlier_operations": operation_words(plan.clinic),
        "equipment": tuple(f"{item.count} × {item.item}" for item in plan.equipment_list),
        "examination": examination_words(plan.clinic),
        "graft": graft_words(plan),
        "imaging": imaging_words(plan.clinic),
        "injections": injection_words(plan.clinic),
        "issued_on": issued_on,
        "labrum": tuple(f"{found.sector}: {whole_words(found)}" for found in plan.labrum.sectors),
        "line": LINE_TO_WRITE_ON,
        "measurements": _measurements(plan),
        "notice": NOTICE,
        "option": option.name.capitalize() if option else "",
        "other_options": tuple(
            f"{item.option.name}: {item.option.stance.value}"
            for item in plan.options
            if item is not planned
        ),
        "patient": "; ".join(f"{name} {value}" for name, value in plan.patient.items()),
        "person": plan.person or "person's name: not recorded",
        "reasons": tuple(_cited(reason.text, reason.evidence) for reason in reasons),
        "referral_summary": plan.referral,
        "revision": tuple(revision_words(item) for item in plan.revision),
        "roads": tuple(
            _cited(f"{item.statement.rstrip('.')} ({item.stance.value})", item.evidence)
            for item in roads
        ),
        "scores": score_words(plan.clinic),
        "side": side_words(plan.side),
        "sources": tuple(_source(id_, evidence) for id_ in cited),
        "stance": option.stance.value if option else "",
        "symptoms": symptom_words(plan.clinic),
        "version": str(plan.version),
        "worse_case": worse_words(plan),
    }


def _measurements(plan: Plan) -> tuple[str, ...]:
    """What was measured, each with spread and status; refused ones left out."""
    if plan.hip is None:
        return ()
    return tuple(
        f"{MEASUREMENT_NAMES[key]} {measured(found)} ({spread_of(found)}, {found.status.value})"
        for key, found in plan.hip.measurements.items()
        if found.value is not None and key in MEASUREMENT_NAMES
    )


def _cited(text: str, evidence: Iterable[str]) -> str:
    """A sentence with its rows."""
    rows = ", ".join(evidence)
    return sentence(text) + (f" [{rows}]" if rows else "")


def _source(id_: str, evidence: EvidenceTable) -> str:
    """A row of evidence as one line."""
    if not evidence.has_row(id_):
        return f"{id_}: no such row in the tables"
    row = evidence.row(id_)
    return f"{id_}: {row.source} ({row.status.value})"
