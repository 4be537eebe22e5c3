"""Checks of what a rule file says, word by word, so that a mistake never acts silently."""

from __future__ import annotations

import difflib
import math
from collections.abc import Iterable, Mapping
from enum import StrEnum
from typing import Any, NoReturn, TypeVar

from rimwright.anatomy import Stance
from rimwright.errors import CaseRefusal
from rimwright.evidence import EvidenceTable
from rimwright.treatment.conditions import Choice, Comparison, Condition, Presence, Test
from rimwright.treatment.rule_facts import (
    HIP_NUMBERS,
    HIP_TRUTHS,
    HIP_WORDS,
    SECTOR_NUMBERS,
    SECTOR_TRUTHS,
    SECTOR_WORDS,
)

_UNKNOWN, _KNOWN = "unknown", "known"
_WORDS: Mapping[str, type[StrEnum]] = {**SECTOR_WORDS, **HIP_WORDS}
_TRUTHS = (*SECTOR_TRUTHS, *HIP_TRUTHS)
_NUMBERS = (*SECTOR_NUMBERS, *HIP_NUMBERS)
HIP_FIELDS = (*HIP_WORDS, *HIP_TRUTHS, *HIP_NUMBERS)
"""Findings a rule of the hip may turn on."""
SECTOR_FIELDS = (*SECTOR_WORDS, *SECTOR_TRUTHS, *SECTOR_NUMBERS, *HIP_FIELDS)
"""Findings a rule of a sector may turn on."""
_Word = TypeVar("_Word", bound=StrEnum)


class RuleChecks:
    """
    Takes the parts of a document; every refusal names the file, the rule and the key.

    Parameters
    ----------
    table
        The evidence that rules may name.
    file
        Name of the file.
    """

    def __init__(self, *, table: EvidenceTable, file: str) -> None:
        self.table = table
        self.file = file

    def text(self, entry: Mapping[str, Any], key: str, *, where: str) -> str:
        """A sentence or a name that is not empty."""
        value = entry[key]
        if not isinstance(value, str) or not value.strip():
            raise CaseRefusal(
                f"not text (got {value!r})", f"{where}, {key}", "Write a sentence between quotes."
            )
        return value

    def texts(self, entry: Mapping[str, Any], key: str, *, where: str) -> tuple[str, ...]:
        """A list of words."""
        value = entry[key]
        if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
            raise CaseRefusal(
                f"not a list of words (got {value!r})",
                f"{where}, {key}",
                'Write a list, as in ["one", "two"].',
            )
        return tuple(value)

    def truth(self, entry: Mapping[str, Any], key: str, *, where: str) -> bool:
        """A truth, false where it is left out."""
        value = entry.get(key, False)
        if not isinstance(value, bool):
            raise CaseRefusal(
                f"not true or false (got {value!r})", f"{where}, {key}", "Write true or false."
            )
        return value

    def entries(self, entry: Mapping[str, Any], key: str, *, where: str) -> list[dict[str, Any]]:
        """A list of tables; none where the key is left out."""
        value = entry.get(key, [])
        if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
            raise CaseRefusal(
                f"not a list of tables (got {type(value).__name__})",
                f"{where}, {key}",
                f"Write [[{key}]] above each.",
            )
        return value

    def table_of(self, entry: Mapping[str, Any], key: str, *, where: str) -> dict[str, Any]:
        """One table; empty where the key is left out."""
        value = entry.get(key, {})
        if not isinstance(value, dict):
            raise CaseRefusal(
                f"not a table (got {value!r})", f"{where}, {key}", "Write { name = value }."
            )
        return value

    def conditions(
        self, entry: Mapping[str, Any], *, fields: tuple[str, ...], where: str
    ) -> tuple[Condition, ...]:
        """The conditions of one rule over the fields it may turn on."""
        return tuple(
            self._condition(field, value, fields=fields, where=where)
            for field, value in entry.items()
        )

    def _condition(
        self, field: str, value: Any, *, fields: tuple[str, ...], where: str
    ) -> Condition:
        self.known(field, fields, where=where, kind="finding")
        here = f"{where}, {field}"
        if value == _KNOWN:
            return Presence(field=field)
        if isinstance(value, dict):
            return self._comparison(field, value, where=here)
        wanted = value if isinstance(value, list) else [value]
        accepted = [item for item in wanted if item != _UNKNOWN]
        if field in _WORDS:
            accepted = [self.word(_WORDS[field], item, where=here) for item in accepted]
        elif field in _TRUTHS:
            for item in accepted:
                if not isinstance(item, bool):
                    raise CaseRefusal(
                        f"not true or false (got {item!r})", here, "Write true or false."
                    )
        elif accepted:
            raise CaseRefusal(
                f"a number is compared, not matched (got {accepted[0]!r})",
                here,
                "Write a table, as in { at_least = 1 }.",
            )
        return Choice(
            field=field, values=tuple(accepted), accepts_unknown=len(accepted) < len(wanted)
        )

    def _comparison(self, field: str, value: Mapping[str, Any], *, where: str) -> Comparison:
        if field not in _NUMBERS or len(value) != 1:
            raise CaseRefusal(
                f"not a comparison of one number (got {dict(value)!r})",
                where,
                "Write one test on a number, as in { at_least = 1 }.",
            )
        ((test, limit),) = value.items()
        if isinstance(limit, str):
            self.known(limit, self.table.settings, where=where, kind="setting")
        elif (
            isinstance(limit, bool)
            or not isinstance(limit, int | float)
            or not math.isfinite(limit)
        ):
            raise CaseRefusal(
                f"not a number or a setting (got {limit!r})", where, "Write a number."
            )
        return Comparison(
            field=field,
            test=self.word(Test, test.replace("_", " "), where=where),
            limit=limit if isinstance(limit, str) else float(limit),
        )

    def evidence(self, entry: Mapping[str, Any], *, where: str) -> tuple[str, ...]:
        """Rows and conflicts that exist."""
        ids = self.texts(entry, "evidence", where=where)
        for row in ids:
            if not self.table.has_row(row):
                known = (*self.table.rows, *self.table.conflicts)
                self.refuse(row, known, where=where, kind="evidence row")
        return ids

    def some_evidence(self, entry: Mapping[str, Any], *, where: str) -> tuple[str, ...]:
        """Rows that exist, at least one."""
        rows = self.evidence(entry, where=where)
        if not rows:
            raise CaseRefusal(
                "names no evidence row",
                f"{where}, evidence",
                "Name at least one; a row from memory will do where nothing is supported.",
            )
        return rows

    def refuse_bare_support(self, stance: Stance, evidence: Iterable[str], *, where: str) -> None:
        """A supporting rule needs at least one row that was read somewhere."""
        if stance is not Stance.SUPPORTED:
            return
        if not any(self.table.row(row).status.was_read for row in evidence):
            raise CaseRefusal(
                "supports something on memory, habit or our own arithmetic alone",
                where,
                "Name a row that was read in a source, or write 'open'.",
            )

    def word(self, words: type[_Word], value: Any, *, where: str) -> _Word:
        """One of some words."""
        try:
            return words(value)
        except ValueError:
            self.refuse(str(value), [str(item) for item in words], where=where, kind="word")

    def keys(
        self,
        entry: Mapping[str, Any],
        *,
        needed: tuple[str, ...],
        where: str,
        optional: tuple[str, ...] = (),
    ) -> None:
        """No unknown key, no needed one left out."""
        for key in entry:
            self.known(key, (*needed, *optional), where=where, kind="key")
        for key in needed:
            if key not in entry:
                raise CaseRefusal(f"has no {key!r}", where, f"Add {key}.")

    def known(self, name: str, known: Iterable[str], *, where: str, kind: str) -> None:
        """A name that exists."""
        if name not in known:
            self.refuse(name, known, where=where, kind=kind)

    def refuse(self, name: str, known: Iterable[str], *, where: str, kind: str) -> NoReturn:
        """Refuse an unknown name, with the nearest known one."""
        close = difflib.get_close_matches(name, list(known), n=1, cutoff=0.0)
        remedy = f"The nearest known one is {close[0]!r}." if close else "None is known."
        raise CaseRefusal(f"unknown {kind} {name!r}", where, remedy)
