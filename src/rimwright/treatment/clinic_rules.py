"""A clinic's own rules over the shipped ones: added, replaced or switched off, each with a why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from rimwright.errors import CaseRefusal, FileRefusal
from rimwright.evidence import EvidenceTable, load_evidence
from rimwright.treatment.rule_checks import RuleChecks
from rimwright.treatment.rule_file import shipped_rules, toml_document
from rimwright.treatment.rule_reader import RuleReader
from rimwright.treatment.rules import FactRule, LabrumRule, Measure, RuleChange, RuleSet

CLINIC_RULES_SCHEMA = "rimwright.clinic-rules/1"
_PARTS = ("measure", "fact", "labrum", "question", "off")
_Rule = TypeVar("_Rule", bound=Measure | FactRule | LabrumRule)


def load_rules(override_path: Path | None = None, *, table: EvidenceTable | None = None) -> RuleSet:
    """
    Read the shipped rules, and a clinic's own file over them.

    Parameters
    ----------
    override_path
        TOML of the clinic; None for the shipped rules alone.
    table
        The evidence in force; None for the shipped one.

    Returns
    -------
    RuleSet
        A rule with the id of a shipped one takes its place, another is added after them; what
        was changed stands in `changes`.

    Raises
    ------
    FileRefusal
        The file is missing, is no text or is not TOML.
    CaseRefusal
        A name in it is unknown, a rule says no why or stands twice, or supports something on
        memory or habit alone, or decides by the width.
    """
    if override_path is None:
        return shipped_rules()
    path = Path(override_path)
    document = toml_document(_text(path), schema=CLINIC_RULES_SCHEMA, where=path.name)
    used = table if table is not None else load_evidence()
    return _ClinicFile(document, table=used, file=path.name).over(shipped_rules())


class _ClinicFile:
    """One clinic document laid over a set of rules."""

    def __init__(self, document: Mapping[str, Any], *, table: EvidenceTable, file: str) -> None:
        self.document = document
        self.file = file
        self.checks = RuleChecks(table=table, file=file)
        self.reader = RuleReader(self.checks, by_clinic=True)
        self.checks.keys(document, needed=("schema",), optional=_PARTS, where=file)
        self.notes = {
            str(entry.get("id", entry.get("key"))): str(entry.get("note", ""))
            for part in ("measure", "fact", "labrum")
            for entry in self.checks.entries(document, part, where=file)
        }

    def over(self, rules: RuleSet) -> RuleSet:
        """The rules with those of the clinic in force."""
        off = self._off(rules)
        changes: list[RuleChange] = []
        laid = replace(
            rules,
            measures=self._laid(
                rules.measures, self.reader.measures(self.document), off=off, changes=changes
            ),
            facts=self._laid(
                rules.facts, self.reader.facts(self.document), off=off, changes=changes
            ),
            labrum=self._laid(
                rules.labrum, self.reader.labrum_rules(self.document), off=off, changes=changes
            ),
            questions={**rules.questions, **self.reader.questions(self.document)},
        )
        changes += [
            RuleChange(rule=name, what="switched off", note=note) for name, note in off.items()
        ]
        return replace(laid, changes=tuple(changes))

    def _off(self, rules: RuleSet) -> dict[str, str]:
        known = [
            *(_name(item) for item in rules.measures),
            *(_name(item) for item in rules.facts),
            *(_name(item) for item in rules.labrum),
        ]
        off: dict[str, str] = {}
        for entry in self.checks.entries(self.document, "off", where=self.file):
            where = f"{self.file}, [[off]] {entry.get('id', '?')}"
            self.checks.keys(entry, needed=("id", "note"), where=where)
            name = self.checks.text(entry, "id", where=where)
            self.checks.known(name, known, where=where, kind="rule")
            if name in self.notes:
                raise CaseRefusal(
                    "switches off a rule that this file writes too",
                    where,
                    "Keep one of the two.",
                )
            off[name] = self.checks.text(entry, "note", where=where)
        return off

    def _laid(
        self,
        shipped: Sequence[_Rule],
        own: Sequence[_Rule],
        *,
        off: Mapping[str, str],
        changes: list[RuleChange],
    ) -> tuple[_Rule, ...]:
        known = {_name(item) for item in shipped}
        by_name: dict[str, _Rule] = {}
        for item in own:
            name = _name(item)
            if name in by_name:
                raise CaseRefusal(
                    f"{name!r} stands twice", self.file, "Give each rule its own name."
                )
            by_name[name] = item
            what = "replaced" if name in known else "added"
            changes.append(RuleChange(rule=name, what=what, note=self.notes[name]))
        laid: list[_Rule] = [
            by_name.get(_name(item), item) for item in shipped if _name(item) not in off
        ]
        laid += [item for item in by_name.values() if _name(item) not in known]
        return tuple(laid)


def _name(rule: Measure | FactRule | LabrumRule) -> str:
    return rule.key if isinstance(rule, Measure) else rule.id


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except OSError as error:
        raise FileRefusal(
            f"cannot be read ({error.strerror})", str(path), "Check the path of the rule file."
        ) from None
    except UnicodeDecodeError:
        raise FileRefusal(
            "not a text file in UTF-8", str(path), "Save the rule file as UTF-8 text."
        ) from None
