"""Is this a hip for arthroscopy? The roads side by side, each with what speaks of it."""

from __future__ import annotations

from collections.abc import Iterable

from rimwright.anatomy import Reason, Stance, Statement
from rimwright.evidence import EvidenceTable
from rimwright.treatment.findings import Findings
from rimwright.treatment.judged import JudgedMeasure, MeasureState
from rimwright.treatment.measure_verdicts import judge_measures
from rimwright.treatment.rule_file import shipped_rules
from rimwright.treatment.rules import Road, RuleSet
from rimwright.treatment.stances import worst_stance

_NOTHING_SAID = {
    Road.NO_OPERATION: (
        "No operation: stays a choice at every stage; no row of the evidence compares an operation "
        "with none"
    ),
    Road.ARTHROSCOPY: "Arthroscopy: nothing that is known speaks against it",
    Road.PELVIC_OSTEOTOMY: "Osteotomy of the pelvis: nothing that is known speaks for it",
    Road.FEMORAL_OSTEOTOMY: "Osteotomy of the femur: nothing that is known speaks for it",
    Road.ARTHROPLASTY: "Arthroplasty: nothing that is known brings it into the discussion",
}
_STATE_ORDER = (MeasureState.MET, MeasureState.WITHIN, MeasureState.NOT_APPLIED)


def assess_candidacy(
    findings: Findings, table: EvidenceTable, *, rules: RuleSet | None = None
) -> tuple[Statement, ...]:
    """
    Say of every road what is known, and name what is unknown.

    Parameters
    ----------
    findings
        What is known of patient and hip.
    table
        Settings in force and evidence rows.
    rules
        None for the shipped rules.

    Returns
    -------
    tuple of Statement
        First the five roads (no operation, arthroscopy, osteotomy of pelvis and of femur,
        arthroplasty), then one for each quantity: cut-offs met, held, not applied because they
        were made on another modality; then the rules a clinic changed; last what is unknown.
    """
    used = rules if rules is not None else shipped_rules()
    judged = judge_measures(findings, table, rules=used)
    statements = [_road_statement(road, judged) for road in Road]
    for state in _STATE_ORDER:
        statements += [_measure_statement(item) for item in judged if item.state is state]
    if used.changes:
        changed = "; ".join(f"{item.rule} {item.what} ({item.note})" for item in used.changes)
        statements.append(
            Statement(statement=f"Rules changed by the clinic: {changed}", stance=Stance.OPEN)
        )
    unknown = [item for item in judged if item.state is MeasureState.UNKNOWN]
    if unknown:
        todo = "; ".join(f"{item.label} ({item.text})" for item in unknown)
        statements.append(Statement(statement=f"Unknown: {todo}", stance=Stance.OPEN))
    return tuple(statements)


def arthroscopy_stance(
    findings: Findings, table: EvidenceTable, *, rules: RuleSet
) -> Reason | None:
    """The reason where the road of arthroscopy is advised against; None where it is not."""
    judged = judge_measures(findings, table, rules=rules)
    against = _speaking(Road.ARTHROSCOPY, judged, stance=Stance.ADVISED_AGAINST)
    if not against:
        return None
    return Reason(
        text="arthroscopy itself is advised against in this hip: "
        + "; ".join(item.text for item in against),
        evidence=_evidence(against),
    )


def _road_statement(road: Road, judged: Iterable[JudgedMeasure]) -> Statement:
    speaking = _speaking(road, judged)
    if not speaking:
        return Statement(statement=_NOTHING_SAID[road], stance=Stance.OPEN)
    name = f"{road[0].upper()}{road[1:]}"
    return Statement(
        statement=f"{name}: " + "; ".join(item.short for item in speaking),
        stance=worst_stance(item.roads[road] for item in speaking),
        evidence=_evidence(speaking),
    )


def _measure_statement(item: JudgedMeasure) -> Statement:
    return Statement(
        statement=item.text,
        stance=worst_stance(item.roads.values()),
        evidence=item.evidence,
    )


def _speaking(
    road: Road, judged: Iterable[JudgedMeasure], *, stance: Stance | None = None
) -> list[JudgedMeasure]:
    return [
        item
        for item in judged
        if road in item.roads and (stance is None or item.roads[road] is stance)
    ]


def _evidence(judged: Iterable[JudgedMeasure]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(row for item in judged for row in item.evidence))
