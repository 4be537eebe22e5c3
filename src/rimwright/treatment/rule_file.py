"""Rules are read from TOML and checked name by name, so that a mistake never acts silently."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterable, Mapping
from enum import StrEnum
from functools import cache
from importlib import resources
from typing import Any, NoReturn, TypeVar

from rimwright.anatomy import (
    Action,
    Attachment,
    Fibres,
    OptionName,
    SeenBy,
    Stance,
    Tear,
    Tissue,
)
from rimwright.errors import CaseRefusal, FileRefusal
from rimwright.evidence import EvidenceTable, load_evidence
from rimwright.treatment.conditions import Choice, Comparison, Condition, Presence, Test
from rimwright.treatment.findings import Modality
from rimwright.treatment.rules import LabrumRule, Limit, Measure, OptionPlan, Road, RuleSet

RULES_SCHEMA = "rimwright.rules/1"
NOTE = "note"
_UNKNOWN, _KNOWN = "unknown", "known"
_WORDS: Mapping[str, type[StrEnum]] = {
    "tissue": Tissue,
    "attachment": Attachment,
    "fibres": Fibres,
    "tear": Tear,
    "seen_by": SeenBy,
}
_TRUTHS = ("seals", "calcified", "prior_suture")
_NUMBERS = ("width_mm", "thickness_mm", "age_years", "bmi_kg_m2", "previous_hip_arthroscopy")
_FIELDS = (*_WORDS, *_TRUTHS, *_NUMBERS)
_Word = TypeVar("_Word", bound=StrEnum)


@cache
def shipped_rules() -> RuleSet:
    """The rules shipped with the program, checked against the shipped evidence; cached."""
    text = resources.files("rimwright.treatment").joinpath("rules.toml").read_text("utf-8")
    return parse_rules(text, table=load_evidence(), where="rules.toml")


def parse_rules(text: str, *, table: EvidenceTable, where: str) -> RuleSet:
    """
    Read rules from TOML and check every name in them.

    Parameters
    ----------
    text
        TOML.
    table
        The evidence that rules may name.
    where
        Name of the file, for refusals.

    Returns
    -------
    RuleSet
        In the order of the file.

    Raises
    ------
    FileRefusal
        The text is not TOML.
    CaseRefusal
        A key, a word, a setting or an evidence row is unknown, or a rule supports something on
        memory or habit alone.
    """
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise FileRefusal(f"not TOML ({error})", where, "Correct the line that is named.") from None
    if document.get("schema") != RULES_SCHEMA:
        raise CaseRefusal(
            f"not a version this program reads (got {document.get('schema')!r}, "
            f"need {RULES_SCHEMA!r})",
            f"{where}, schema",
            f"Write schema = {RULES_SCHEMA!r}.",
        )
    return _Reader(table=table, file=where).rule_set(document)


class _Reader:
    """Reads one document; every refusal names the file, the rule and the key."""

    def __init__(self, *, table: EvidenceTable, file: str) -> None:
        self.table = table
        self.file = file

    def rule_set(self, document: Mapping[str, Any]) -> RuleSet:
        self._keys(
            document,
            needed=("schema", "measure", "sector", "question", "labrum", "option"),
            where=self.file,
        )
        sector_at = f"{self.file}, [sector]"
        self._keys(document["sector"], needed=("needs", "sound"), where=sector_at)
        questions = document["question"]
        for field in questions:
            self._known(field, _FIELDS, where=f"{self.file}, [question]", kind="finding")
        options = tuple(self._option(entry) for entry in document["option"])
        if [item.name for item in options] != list(OptionName):
            raise CaseRefusal(
                f"options are {', '.join(item.name for item in options)} "
                f"(need {', '.join(OptionName)})",
                f"{self.file}, [[option]]",
                "List all five, in this order.",
            )
        return RuleSet(
            measures=tuple(self._measure(entry) for entry in document["measure"]),
            labrum=tuple(self._labrum_rule(entry) for entry in document["labrum"]),
            options=options,
            needs=tuple(
                self._conditions(entry, where=sector_at) for entry in document["sector"]["needs"]
            ),
            sound=self._conditions(document["sector"]["sound"], where=sector_at),
            questions=questions,
        )

    def _measure(self, entry: Mapping[str, Any]) -> Measure:
        where = f"{self.file}, [[measure]] {entry.get('key', '?')}"
        self._keys(
            entry,
            needed=("key", "label", "holds_for", "unknown", "limit"),
            optional=("holds_for_method",),
            where=where,
        )
        return Measure(
            key=entry["key"],
            label=entry["label"],
            holds_for=tuple(self._word(Modality, item, where=where) for item in entry["holds_for"]),
            holds_for_method=entry.get("holds_for_method", ""),
            unknown=entry["unknown"],
            limits=tuple(self._limit(item, where=where) for item in entry["limit"]),
        )

    def _limit(self, entry: Mapping[str, Any], *, where: str) -> Limit:
        self._keys(entry, needed=("setting", "test", "says", "roads", "evidence"), where=where)
        self._known(entry["setting"], self.table.settings, where=where, kind="setting")
        roads = {}
        for road, stance in entry["roads"].items():
            found = self._word(Stance, stance, where=where)
            roads[self._word(Road, road, where=where)] = found
            rows = (*entry["evidence"], *self.table.setting(entry["setting"]).evidence)
            self._refuse_bare_support(found, rows, where=where)
        return Limit(
            setting=entry["setting"],
            test=self._word(Test, entry["test"], where=where),
            says=entry["says"],
            roads=roads,
            evidence=self._evidence(entry["evidence"], where=where),
        )

    def _labrum_rule(self, entry: Mapping[str, Any]) -> LabrumRule:
        where = f"{self.file}, [[labrum]] {entry.get('id', '?')}"
        self._keys(
            entry, needed=("id", "actions", "when", "verdict", "says", "evidence"), where=where
        )
        evidence = self._evidence(entry["evidence"], where=where)
        verdict = None
        if entry["verdict"] != NOTE:
            verdict = self._word(Stance, entry["verdict"], where=where)
            self._refuse_bare_support(verdict, evidence, where=where)
        when = self._conditions(entry["when"], where=where)
        if verdict is not None and any(item.field == "width_mm" for item in when):
            raise CaseRefusal(
                "decides by the width",
                where,
                "Give it verdict = 'note': cut-offs of the width differ by modality, and nothing "
                "is decided by it.",
            )
        return LabrumRule(
            id=entry["id"],
            actions=tuple(self._word(Action, item, where=where) for item in entry["actions"]),
            when=when,
            verdict=verdict,
            says=entry["says"],
            evidence=evidence,
        )

    def _option(self, entry: Mapping[str, Any]) -> OptionPlan:
        where = f"{self.file}, [[option]] {entry.get('name', '?')}"
        self._keys(
            entry,
            needed=("name", "lead", "others", "says", "evidence"),
            optional=("whole_rim",),
            where=where,
        )
        return OptionPlan(
            name=self._word(OptionName, entry["name"], where=where),
            lead=self._word(Action, entry["lead"], where=where),
            others=tuple(self._word(Action, item, where=where) for item in entry["others"]),
            whole_rim=bool(entry.get("whole_rim", False)),
            says=entry["says"],
            evidence=self._evidence(entry["evidence"], where=where),
        )

    def _conditions(self, entry: Mapping[str, Any], *, where: str) -> tuple[Condition, ...]:
        return tuple(self._condition(field, value, where=where) for field, value in entry.items())

    def _condition(self, field: str, value: Any, *, where: str) -> Condition:
        self._known(field, _FIELDS, where=where, kind="finding")
        here = f"{where}, {field}"
        if value == _KNOWN:
            return Presence(field=field)
        if isinstance(value, dict):
            return self._comparison(field, value, where=here)
        wanted = value if isinstance(value, list) else [value]
        accepted = [item for item in wanted if item != _UNKNOWN]
        if field in _WORDS:
            accepted = [self._word(_WORDS[field], item, where=here) for item in accepted]
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
            self._known(limit, self.table.settings, where=where, kind="setting")
        elif isinstance(limit, bool) or not isinstance(limit, int | float):
            raise CaseRefusal(
                f"not a number or a setting (got {limit!r})", where, "Write a number."
            )
        return Comparison(
            field=field,
            test=self._word(Test, test.replace("_", " "), where=where),
            limit=limit if isinstance(limit, str) else float(limit),
        )

    def _evidence(self, ids: Iterable[str], *, where: str) -> tuple[str, ...]:
        for row in ids:
            if not self.table.has_row(row):
                known = (*self.table.rows, *self.table.conflicts)
                self._refuse(row, known, where=where, kind="evidence row")
        return tuple(ids)

    def _refuse_bare_support(self, stance: Stance, evidence: Iterable[str], *, where: str) -> None:
        """A supporting rule needs at least one row that was read somewhere."""
        if stance is not Stance.SUPPORTED:
            return
        if not any(self.table.row(row).status.was_read for row in evidence):
            raise CaseRefusal(
                "supports something on memory, habit or our own arithmetic alone",
                where,
                "Name a row that was read in a source, or write 'open'.",
            )

    def _word(self, words: type[_Word], value: Any, *, where: str) -> _Word:
        try:
            return words(value)
        except ValueError:
            self._refuse(str(value), [str(item) for item in words], where=where, kind="word")

    def _keys(
        self,
        entry: Mapping[str, Any],
        *,
        needed: tuple[str, ...],
        where: str,
        optional: tuple[str, ...] = (),
    ) -> None:
        for key in entry:
            self._known(key, (*needed, *optional), where=where, kind="key")
        for key in needed:
            if key not in entry:
                raise CaseRefusal(f"has no {key!r}", where, f"Add {key}.")

    def _known(self, name: str, known: Iterable[str], *, where: str, kind: str) -> None:
        if name not in known:
            self._refuse(name, known, where=where, kind=kind)

    def _refuse(self, name: str, known: Iterable[str], *, where: str, kind: str) -> NoReturn:
        close = difflib.get_close_matches(name, list(known), n=1, cutoff=0.0)
        raise CaseRefusal(
            f"unknown {kind} {name!r}", where, f"The nearest known one is {close[0]!r}."
        )
