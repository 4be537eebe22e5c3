"""One row of the evidence tables, and how far its value may be trusted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum


class EvidenceStatus(StrEnum):
    """Where a value was read; the order is that of falling trust."""

    SOURCE_TEXT = "read in source text"
    ABSTRACT = "abstract read"
    ABSTRACT_CUT = "abstract read (copy cut short)"
    SECONDARY = "secondary page read"
    DERIVED = "derived"
    COMMON_PRACTICE = "common practice"
    MEMORY = "from memory"
    CLINIC = "set by the clinic"
    NOT_FOUND = "not found"

    @property
    def was_read(self) -> bool:
        """Whether the value was read somewhere: the least a supporting stance needs."""
        return self in (
            EvidenceStatus.SOURCE_TEXT,
            EvidenceStatus.ABSTRACT,
            EvidenceStatus.ABSTRACT_CUT,
            EvidenceStatus.SECONDARY,
        )

    @property
    def meaning(self) -> str:
        """What the word means, as a sentence for the reader."""
        return _MEANINGS[self]


_MEANINGS = {
    EvidenceStatus.SOURCE_TEXT: "The value stood in a table or text page of the paper itself.",
    EvidenceStatus.ABSTRACT: "The value stood in the abstract; the full paper was not read.",
    EvidenceStatus.ABSTRACT_CUT: (
        "The value stood in the abstract, but the copy read ended before the abstract did: "
        "other results of that paper are missing here."
    ),
    EvidenceStatus.SECONDARY: "Read on a page that quotes a paper; the paper itself was not read.",
    EvidenceStatus.DERIVED: "Our own arithmetic, geometry or choice; no clinical authority.",
    EvidenceStatus.COMMON_PRACTICE: "Customary; no paper stands behind the number.",
    EvidenceStatus.MEMORY: (
        "No text was found; recalled. Check against a source before it decides anything."
    ),
    EvidenceStatus.CLINIC: "A clinic's own file set it; the shipped default stands beside it.",
    EvidenceStatus.NOT_FOUND: "Looked for and not found; there is no number.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceRow:
    """
    One row: what was measured, on whom, by whom, and how it was read.

    Parameters
    ----------
    id
        E.g. 'planning:5.13'.
    quantity, value, unit, population
        As printed; `value` is text.
    source
        Short title, journal, year, DOI or PMID; or 'common practice'.
    status
        The weakest status of the row's parts.
    status_note
        Which part was read where, for rows of mixed status; else ''.
    section
        Title of the section the row stands in.
    numbers
        Name to number for the parts that code or tests use (mean, sd, low, high …).
    """

    id: str
    quantity: str
    value: str
    unit: str
    population: str
    source: str
    status: EvidenceStatus
    status_note: str = ""
    section: str = ""
    numbers: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Conflict:
    """
    Sources that do not agree; the tool shows the choice it makes.

    Parameters
    ----------
    id
        E.g. 'planning:C3'.
    text
        What they disagree on.
    rows
        Ids of the rows.
    """

    id: str
    text: str
    rows: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Definition:
    """
    How one measure is constructed.

    Parameters
    ----------
    measure
        Its name.
    construction
        Exact enough to compute.
    sign
        What counts as positive; '' where it has no sign.
    """

    measure: str
    construction: str
    sign: str
