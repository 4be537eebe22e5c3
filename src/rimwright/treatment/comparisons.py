"""Cut-offs that sources do not agree on, each beside the one in force, for this hip."""

from __future__ import annotations

from dataclasses import dataclass

from rimwright.evidence import EvidenceTable
from rimwright.treatment.cut_offs import CutOff
from rimwright.treatment.findings import Findings
from rimwright.treatment.measure_verdicts import judge_measures
from rimwright.treatment.rule_file import shipped_rules
from rimwright.treatment.rules import RuleSet


@dataclass(frozen=True, slots=True, kw_only=True)
class CutOffComparison:
    """
    One quantity of this hip and every cut-off on it.

    Parameters
    ----------
    label, seen
        Its name, and the value as it was read.
    cut_offs
        Grouped by setting, the one in force first in each.
    conflicts
        Ids of the conflicts behind them.
    is_applied
        Whether the value was held against them.
    is_in_dispute
        Whether some other number in print answers otherwise than the one in force.
    """

    label: str
    seen: str
    cut_offs: tuple[CutOff, ...]
    conflicts: tuple[str, ...]
    is_applied: bool
    is_in_dispute: bool


def compare_cut_offs(
    findings: Findings, table: EvidenceTable, *, rules: RuleSet | None = None
) -> tuple[CutOffComparison, ...]:
    """
    Lay the cut-offs in print beside those in force, for every quantity that is known.

    Parameters
    ----------
    findings, table
        What is known; settings in force.
    rules
        None for the shipped rules.

    Returns
    -------
    tuple of CutOffComparison
        In the order of the rules; a quantity on which only one number is in print is left out.
    """
    used = rules if rules is not None else shipped_rules()
    comparisons = []
    for item in judge_measures(findings, table, rules=used):
        if all(cut_off.in_force for cut_off in item.cut_offs):
            continue
        rows = {row for cut_off in item.cut_offs for row in cut_off.evidence} | set(item.evidence)
        comparisons.append(
            CutOffComparison(
                label=item.label,
                seen=item.seen,
                cut_offs=item.cut_offs,
                conflicts=tuple(row for row in table.conflicts if row in rows),
                is_applied=any(cut_off.is_met is not None for cut_off in item.cut_offs),
                is_in_dispute=_is_in_dispute(item.cut_offs),
            )
        )
    return tuple(comparisons)


def _is_in_dispute(cut_offs: tuple[CutOff, ...]) -> bool:
    in_force = {item.setting: item.is_met for item in cut_offs if item.in_force}
    return any(item.is_met is not in_force[item.setting] for item in cut_offs)
