"""A clinical default that code uses, with what it rests on and what a clinic may change."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from rimwright.evidence.row import EvidenceStatus


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """
    Another value in print for the same setting.

    Parameters
    ----------
    value
        Same unit as the setting.
    evidence
        Evidence ids.
    note
        Who uses it.
    """

    value: float
    evidence: tuple[str, ...]
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Setting:
    """
    One default with a clinical meaning.

    Parameters
    ----------
    name
        E.g. 'fixation.margin_joint_mm'.
    value, unit
        The number in force.
    low, high
        Range an override may lie in, ends included: plausibility, no clinical authority.
    status, source, evidence, note
        What the number rests on; for an overridden one, `source` names the clinic's file.
    alternatives
        Other values in print.
    is_count
        Whether only whole numbers make sense.
    """

    name: str
    value: float
    unit: str
    low: float
    high: float
    status: EvidenceStatus
    source: str
    evidence: tuple[str, ...]
    note: str
    alternatives: tuple[Alternative, ...] = ()
    is_count: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Override:
    """
    One setting that a clinic's file changed; the report prints it.

    Parameters
    ----------
    name, unit
        Of the setting.
    default, value
        Before and after.
    path
        The clinic's file.
    note
        The clinic's reason; '' where none was given.
    """

    name: str
    unit: str
    default: float
    value: float
    path: Path
    note: str = ""
