"""One quantity or fact of the hip held against the rules."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from rimwright.anatomy import Stance
from rimwright.treatment.cut_offs import CutOff
from rimwright.treatment.findings import Reading
from rimwright.treatment.rules import Road

OF_THE_CLINIC = " (rule of the clinic)"
"""Said wherever a rule of a clinic's own file acts."""


class MeasureState(StrEnum):
    """What became of one quantity."""

    MET = "a cut-off is met"
    WITHIN = "inside the limits in force"
    NOT_APPLIED = "no cut-off is applied"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class JudgedMeasure:
    """
    One quantity held against its cut-offs, or one fact against its rule.

    Parameters
    ----------
    key, label, state
        Its key, its name and what became of it.
    text
        The whole sentence; for an unknown quantity, what to do.
    short
        The sentence without the other cut-offs in print.
    seen
        The value as it was read; '' for a fact and for what is unknown.
    reading
        What was held against the cut-offs; None for a fact and for what is unknown.
    cut_offs
        Side by side, those in force and those in print.
    evidence
        Rows behind it.
    roads
        What it does to the roads; empty unless a cut-off is met.
    refers
        Whether it calls for a summary for a surgeon who does osteotomies.
    """

    key: str
    label: str
    state: MeasureState
    text: str
    short: str = ""
    seen: str = ""
    reading: Reading | None = None
    cut_offs: tuple[CutOff, ...] = ()
    evidence: tuple[str, ...] = ()
    roads: Mapping[Road, Stance] = field(default_factory=dict)
    refers: bool = False
