"""The rules of treatment as records; `rule_file` reads and checks them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from rimwright.anatomy import Action, OptionName, Stance
from rimwright.treatment.conditions import Condition, Test
from rimwright.treatment.findings import Modality


class Road(StrEnum):
    """The roads that always stand beside each other."""

    NO_OPERATION = "no operation"
    ARTHROSCOPY = "arthroscopy"
    PELVIC_OSTEOTOMY = "osteotomy of the pelvis"
    FEMORAL_OSTEOTOMY = "osteotomy of the femur"
    ARTHROPLASTY = "arthroplasty"


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """
    One cut-off on a measure.

    Parameters
    ----------
    setting
        Name of the setting that holds the number in force.
    test
        How a value meets it.
    says
        What a value that meets it is.
    roads
        What it does to the roads it speaks of.
    evidence
        Rows beside those of the setting.
    refers
        Whether a value that meets it calls for a summary for a surgeon who does osteotomies.
    """

    setting: str
    test: Test
    says: str
    roads: Mapping[Road, Stance]
    evidence: tuple[str, ...]
    refers: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure:
    """
    One quantity with its cut-offs, the worst first.

    Parameters
    ----------
    key, label
        Key of the finding, and its name in a sentence.
    holds_for
        Modalities the cut-offs were made on; empty for a plain fact.
    holds_for_method
        Words the method of a reading must hold; '' for any.
    unknown
        What to do where it is unknown.
    limits
        First that is met speaks.
    sites
        Quantities of readings at single sites, with the site in words; any of them counts.
    would_change
        What would change the rule.
    set_by_clinic
        Whether it is a rule of the clinic.
    """

    key: str
    label: str
    holds_for: tuple[Modality, ...]
    holds_for_method: str
    unknown: str
    limits: tuple[Limit, ...]
    sites: Mapping[str, str] = field(default_factory=dict)
    would_change: str = ""
    set_by_clinic: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FactRule:
    """
    What a fact that is no measure does to the roads.

    Parameters
    ----------
    id, label
        Its name, and its name in a sentence.
    when
        All must hold.
    roads
        What it does to the roads it speaks of; empty where it only says something.
    says, evidence
        The sentence and its rows.
    unknown
        What to do where a finding it turns on is unknown; '' where nothing is asked.
    would_change, set_by_clinic
        As of a measure.
    """

    id: str
    label: str
    when: tuple[Condition, ...]
    roads: Mapping[Road, Stance]
    says: str
    evidence: tuple[str, ...]
    unknown: str = ""
    would_change: str = ""
    set_by_clinic: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class LabrumRule:
    """
    What findings of one sector say of some actions on it.

    Parameters
    ----------
    id
        Its name.
    actions
        What it speaks of.
    when
        All must hold.
    verdict
        None for a note, which decides nothing.
    says, evidence
        The sentence and its rows.
    would_change, set_by_clinic
        As of a measure.
    """

    id: str
    actions: tuple[Action, ...]
    when: tuple[Condition, ...]
    verdict: Stance | None
    says: str
    evidence: tuple[str, ...]
    would_change: str = ""
    set_by_clinic: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class OptionPlan:
    """
    How one option deals with the sectors that need something.

    Parameters
    ----------
    name
        Trade name.
    lead
        Its leading action.
    others
        What a sector gets where the leading action does not fit, in order.
    whole_rim
        Whether the leading action takes the whole rim outside the notch.
    says, evidence
        What is always said of it.
    """

    name: OptionName
    lead: Action
    others: tuple[Action, ...]
    whole_rim: bool
    says: str
    evidence: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleChange:
    """
    One rule that a clinic's file changed; the plan prints it.

    Parameters
    ----------
    rule
        Its id, or the key of a measure.
    what
        'added', 'replaced' or 'switched off'.
    note
        The clinic's reason.
    """

    rule: str
    what: str
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class RuleSet:
    """
    All rules of one file.

    Parameters
    ----------
    measures, labrum, options
        In the order of the file.
    facts
        Rules on facts of the hip that are no measure.
    needs
        A sector needs something if any of these is met.
    sound
        A sector is sound if nothing is needed and this is met.
    questions
        Finding to the question that would answer it.
    changes
        What a clinic's file changed.
    """

    measures: tuple[Measure, ...]
    labrum: tuple[LabrumRule, ...]
    options: tuple[OptionPlan, ...]
    needs: tuple[tuple[Condition, ...], ...]
    sound: tuple[Condition, ...]
    questions: Mapping[str, str]
    facts: tuple[FactRule, ...] = ()
    changes: tuple[RuleChange, ...] = ()
