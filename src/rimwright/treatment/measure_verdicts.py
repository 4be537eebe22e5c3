"""What the cut-offs in force say of every quantity, beside the other cut-offs in print."""

from __future__ import annotations

from rimwright.evidence import EvidenceTable
from rimwright.treatment.cut_offs import CutOff, beside, cut_offs_of, rows_of
from rimwright.treatment.fact_verdicts import judge_facts
from rimwright.treatment.findings import Findings, Reading
from rimwright.treatment.judged import OF_THE_CLINIC, JudgedMeasure, MeasureState
from rimwright.treatment.measure_readings import (
    MeasureReadings,
    as_seen,
    made_on,
    readings_of,
)
from rimwright.treatment.rules import Measure, RuleSet


def judge_measures(
    findings: Findings, table: EvidenceTable, *, rules: RuleSet
) -> tuple[JudgedMeasure, ...]:
    """
    Every quantity of the rules, then every fact, in their order.

    Parameters
    ----------
    findings, table, rules
        What is known, the settings in force, the rules in force.

    Returns
    -------
    tuple of JudgedMeasure
        A fact whose rule is not met, and a fact nobody asks for, is left out.
    """
    judged = tuple(_judge(measure, findings=findings, table=table) for measure in rules.measures)
    return judged + judge_facts(findings, table, rules=rules)


def _judge(measure: Measure, *, findings: Findings, table: EvidenceTable) -> JudgedMeasure:
    readings = readings_of(measure, findings)
    if readings.applicable:
        return _applied(measure, readings, table=table)
    if readings.others:
        return _not_applied(measure, readings, table=table)
    return JudgedMeasure(
        key=measure.key, label=measure.label, state=MeasureState.UNKNOWN, text=measure.unknown
    )


def _applied(measure: Measure, readings: MeasureReadings, *, table: EvidenceTable) -> JudgedMeasure:
    """The least favourable reading speaks: another reading never takes a caution away."""
    values = [(_first_met(measure, item, table=table), item) for item in readings.applicable]
    position, reading = min(values, key=lambda pair: pair[0])
    cut_offs = [cut_offs_of(item, table, value=reading.value) for item in measure.limits]
    flat = tuple(item for group in cut_offs for item in group)
    settings = [table.setting(item.setting) for item in measure.limits]
    seen = as_seen(measure, reading, unit=settings[0].unit)
    also = _also_read(measure, readings, reading, unit=settings[0].unit)
    by_clinic = OF_THE_CLINIC if measure.set_by_clinic else ""
    if position == len(measure.limits):
        others = "; ".join(beside(group) for group in cut_offs)
        return JudgedMeasure(
            key=measure.key,
            label=measure.label,
            state=MeasureState.WITHIN,
            text=f"{seen}: meets none of the cut-offs in force ({others}){by_clinic}{also}",
            seen=seen,
            reading=reading,
            cut_offs=flat,
            evidence=rows_of(settings),
        )
    limit = measure.limits[position]
    short = f"{seen}: {limit.says}{by_clinic}"
    roads = ", ".join(f"{road}: {stance}" for road, stance in limit.roads.items())
    return JudgedMeasure(
        key=measure.key,
        label=measure.label,
        state=MeasureState.MET,
        text=f"{short} ({beside(cut_offs[position])}){also}. {roads}",
        short=short + _mark(cut_offs[position][0]),
        seen=seen,
        reading=reading,
        cut_offs=flat,
        evidence=tuple(dict.fromkeys((*limit.evidence, *rows_of([settings[position]])))),
        roads=limit.roads,
        refers=limit.refers,
    )


def _not_applied(
    measure: Measure, readings: MeasureReadings, *, table: EvidenceTable
) -> JudgedMeasure:
    reading = readings.others[0]
    settings = [table.setting(item.setting) for item in measure.limits]
    in_force = [cut_offs_of(item, table, value=None)[0] for item in measure.limits]
    seen = as_seen(measure, reading, unit=settings[0].unit)
    text = (
        f"{seen}: not held against the cut-offs in force "
        f"({', '.join(item.text for item in in_force)}), {readings.obstacle}"
    )
    return JudgedMeasure(
        key=measure.key,
        label=measure.label,
        state=MeasureState.NOT_APPLIED,
        text=f"{text}; {_if_it_were(measure, reading, in_force)}{measure.unknown}",
        seen=seen,
        reading=reading,
        cut_offs=tuple(
            item for limit in measure.limits for item in cut_offs_of(limit, table, value=None)
        ),
        evidence=rows_of(settings),
    )


def _mark(in_force: CutOff) -> str:
    """What a cut-off in force rests on, where nobody read it."""
    if in_force.chosen_by == "clinic":
        return " (cut-off set by the clinic)"
    if in_force.status is None or in_force.status.was_read:
        return ""
    return f" (cut-off {in_force.status})"


def _if_it_were(measure: Measure, reading: Reading, in_force: list[CutOff]) -> str:
    """What the same number would mean where the cut-offs were made: a reason to go and read it."""
    if reading.modality is None or reading.modality in measure.holds_for:
        return ""
    for item in in_force:
        if item.test.holds(reading.value, limit=item.value):
            return f"the same number on {made_on(measure)} would be {item.text}; "
    return ""


def _first_met(measure: Measure, reading: Reading, *, table: EvidenceTable) -> int:
    """Position of the first cut-off a reading meets; their number where it meets none."""
    for position, limit in enumerate(measure.limits):
        if limit.test.holds(reading.value, limit=table.number(limit.setting)):
            return position
    return len(measure.limits)


def _also_read(measure: Measure, readings: MeasureReadings, used: Reading, *, unit: str) -> str:
    """The other readings of the quantity, and the sites nobody read."""
    others = [item for item in readings.applicable if item is not used]
    text = ""
    if others:
        listed = ", ".join(as_seen(measure, item, unit=unit, with_label=False) for item in others)
        text = f"; also read: {listed}"
    read = {item.quantity for item in readings.applicable}
    if measure.key in read:
        return text
    unread = [site for key, site in measure.sites.items() if key not in read]
    if unread:
        text += f"; not read: {', '.join(unread)}, and any site counts"
    return text
