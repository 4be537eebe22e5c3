"""The rules of treatment as records; `rule_file` reads and checks them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
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
    """

    setting: str
    test: Test
    says: str
    roads: Mapping[Road, Stance]
    evidence: tuple[str, ...]


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
    """

    key: str
    label: str
    holds_for: tuple[Modality, ...]
    holds_for_method: str
    unknown: str
    limits: tuple[Limit, ...]


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
    """

    id: str
    actions: tuple[Action, ...]
    when: tuple[Condition, ...]
    verdict: Stance | None
    says: str
    evidence: tuple[str, ...]


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
class RuleSet:
    """
    All rules of one file.

    Parameters
    ----------
    measures, labrum, options
        In the order of the file.
    needs
        A sector needs something if any of these is met.
    sound
        A sector is sound if nothing is needed and this is met.
    questions
        Finding to the question that would answer it.
    """

    measures: tuple[Measure, ...]
    labrum: tuple[LabrumRule, ...]
    options: tuple[OptionPlan, ...]
    needs: tuple[tuple[Condition, ...], ...]
    sound: tuple[Condition, ...]
    questions: Mapping[str, str]
