"""A summary for a surgeon who does osteotomies, where coverage is low by the limit in force."""

from __future__ import annotations

from dataclasses import dataclass

from rimwright.anatomy import Reason
from rimwright.evidence import EvidenceTable
from rimwright.treatment.findings import Findings
from rimwright.treatment.judged import JudgedMeasure, MeasureState
from rimwright.treatment.measure_verdicts import judge_measures
from rimwright.treatment.rule_file import shipped_rules
from rimwright.treatment.rules import Road, RuleSet

_OSTEOTOMIES = (Road.PELVIC_OSTEOTOMY, Road.FEMORAL_OSTEOTOMY)
_ADDRESSED_TO = "a surgeon who does osteotomies of pelvis and femur"
_ASKS = (
    "Coverage of this hip is low by the limit in force. What is asked is an opinion on whether an "
    "osteotomy comes into question, which one, and whether labral surgery has a place before, "
    "with or after it."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferralMeasurement:
    """
    One line of the measurements.

    Parameters
    ----------
    label
        Name of the quantity.
    seen
        The value with unit, modality and doubt.
    against
        The cut-offs in force, each with who chose it; says so where none is applied.
    evidence
        Rows behind the cut-offs.
    """

    label: str
    seen: str
    against: str
    evidence: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Referral:
    """
    The parts of a referral summary; nothing in it names a person.

    Parameters
    ----------
    addressed_to, asks
        To whom, and what is asked.
    reasons
        What brings an osteotomy into the discussion, each with its rows.
    measurements
        Every quantity that is known.
    unknown
        What is not known, with what would answer it.
    """

    addressed_to: str
    asks: str
    reasons: tuple[Reason, ...]
    measurements: tuple[ReferralMeasurement, ...]
    unknown: tuple[str, ...] = ()

    def paragraphs(self) -> tuple[str, ...]:
        """The summary as plain paragraphs, evidence ids in brackets."""
        parts = [f"For {self.addressed_to}.", self.asks]
        parts += [
            f"{item.text} [{', '.join(item.evidence)}]." if item.evidence else f"{item.text}."
            for item in self.reasons
        ]
        measured = "; ".join(f"{item.seen}: {item.against}" for item in self.measurements)
        parts.append(f"Measured: {measured}.")
        if self.unknown:
            parts.append(f"Not known: {'; '.join(self.unknown)}.")
        return tuple(parts)


def referral_summary(
    findings: Findings, table: EvidenceTable, *, rules: RuleSet | None = None
) -> Referral | None:
    """
    The parts of a summary for a surgeon who does osteotomies.

    Parameters
    ----------
    findings, table
        What is known; settings in force.
    rules
        None for the shipped rules.

    Returns
    -------
    Referral or None
        None where no cut-off that calls for one is met; a reading to which no cut-off is
        applied calls for none.
    """
    used = rules if rules is not None else shipped_rules()
    judged = judge_measures(findings, table, rules=used)
    if not any(item.refers for item in judged):
        return None
    speaking = [item for item in judged if any(road in item.roads for road in _OSTEOTOMIES)]
    speaking.sort(key=lambda item: not item.refers)  # what calls for the summary stands first
    return Referral(
        addressed_to=_ADDRESSED_TO,
        asks=_ASKS,
        reasons=tuple(Reason(text=item.short, evidence=item.evidence) for item in speaking),
        measurements=tuple(_line(item) for item in judged if item.reading is not None),
        unknown=tuple(
            f"{item.label} ({item.text})" for item in judged if item.state is MeasureState.UNKNOWN
        ),
    )


def _line(item: JudgedMeasure) -> ReferralMeasurement:
    in_force = [cut_off for cut_off in item.cut_offs if cut_off.in_force]
    limits = ", ".join(f"{cut_off.text} ({cut_off.chosen_by})" for cut_off in in_force)
    if item.state is MeasureState.NOT_APPLIED:
        against = f"no cut-off is applied to it (in force: {limits})"
    else:
        against = f"cut-offs in force {limits}"
    return ReferralMeasurement(
        label=item.label, seen=item.seen, against=against, evidence=item.evidence
    )
