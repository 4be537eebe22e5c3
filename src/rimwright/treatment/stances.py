"""Stances in their order, and how several become one."""

from __future__ import annotations

from collections.abc import Iterable

from rimwright.anatomy import Reason, Stance
from rimwright.evidence import EvidenceStatus, EvidenceTable

_ORDER = (Stance.SUPPORTED, Stance.OPEN, Stance.ADVISED_AGAINST, Stance.NOT_POSSIBLE)


def worst_stance(stances: Iterable[Stance], *, default: Stance = Stance.OPEN) -> Stance:
    """The least favourable of several stances; the default where there is none."""
    return max(stances, key=_ORDER.index, default=default)


def is_acceptable(stance: Stance) -> bool:
    """Whether a stance excludes nothing."""
    return stance in (Stance.SUPPORTED, Stance.OPEN)


def marked_reason(text: str, *, evidence: tuple[str, ...], table: EvidenceTable) -> Reason:
    """A reason that names those of its rows which rest on memory or habit."""
    marks = []
    for row_id in evidence:
        status = table.row(row_id).status
        if status in (EvidenceStatus.MEMORY, EvidenceStatus.COMMON_PRACTICE):
            marks.append(f"{row_id}: {status}")
    if marks:
        text = f"{text} ({'; '.join(marks)})"
    return Reason(text=text, evidence=evidence)
