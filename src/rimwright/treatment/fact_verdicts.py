"""What the rules on facts of the hip say: signs, care so far, earlier surgery."""

from __future__ import annotations

from rimwright.evidence import EvidenceTable
from rimwright.treatment.conditions import verify
from rimwright.treatment.findings import Findings
from rimwright.treatment.judged import OF_THE_CLINIC, JudgedMeasure, MeasureState
from rimwright.treatment.rule_facts import facts_of_hip
from rimwright.treatment.rules import RuleSet
from rimwright.treatment.stances import marked_reason


def judge_facts(
    findings: Findings, table: EvidenceTable, *, rules: RuleSet
) -> tuple[JudgedMeasure, ...]:
    """
    Every rule on facts that is met, and every one whose facts are unknown and asked for.

    Parameters
    ----------
    findings, table, rules
        What is known, the settings in force, the rules in force.

    Returns
    -------
    tuple of JudgedMeasure
        In the order of the rules.
    """
    facts = facts_of_hip(findings)
    limits = {name: setting.value for name, setting in table.settings.items()}
    judged = []
    for rule in rules.facts:
        verification = verify(rule.when, facts=facts, limits=limits)
        if verification.met:
            text = f"{rule.label[0].upper()}{rule.label[1:]}: {rule.says}"
            if rule.set_by_clinic:
                text += OF_THE_CLINIC
            reason = marked_reason(text, evidence=rule.evidence, table=table)
            roads = ", ".join(f"{road}: {stance}" for road, stance in rule.roads.items())
            judged.append(
                JudgedMeasure(
                    key=rule.id,
                    label=rule.label,
                    state=MeasureState.MET,
                    text=f"{reason.text}. {roads}" if roads else reason.text,
                    short=reason.text,
                    evidence=rule.evidence,
                    roads=rule.roads,
                )
            )
        elif verification.met is None and rule.unknown:
            judged.append(
                JudgedMeasure(
                    key=rule.id, label=rule.label, state=MeasureState.UNKNOWN, text=rule.unknown
                )
            )
    return tuple(judged)
