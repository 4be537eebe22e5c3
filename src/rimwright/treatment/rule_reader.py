"""Rules from a checked document: measures, facts, labrum, options."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rimwright.anatomy import MEASUREMENT_KEYS, Action, OptionName, Stance
from rimwright.errors import CaseRefusal
from rimwright.treatment.conditions import Condition, Test
from rimwright.treatment.findings import JOINT_SPACE_SITES, Modality
from rimwright.treatment.rule_checks import HIP_FIELDS, SECTOR_FIELDS, RuleChecks
from rimwright.treatment.rule_facts import HIP_NUMBERS
from rimwright.treatment.rules import (
    FactRule,
    LabrumRule,
    Limit,
    Measure,
    OptionPlan,
    Road,
    RuleSet,
)

NOTE = "note"
"""The verdict of a rule that says something and decides nothing."""

_WIDTHS = ("width_mm", "thickness_mm")
_ALSO = ("would_change", "note")


class RuleReader:
    """
    Reads the rules of one document.

    Parameters
    ----------
    checks
        Takes the words apart and refuses.
    by_clinic
        Whether the document is a clinic's; then each rule needs a note that says why.
    """

    def __init__(self, checks: RuleChecks, *, by_clinic: bool = False) -> None:
        self.checks = checks
        self.by_clinic = by_clinic

    def rule_set(self, document: Mapping[str, Any]) -> RuleSet:
        """All rules of a whole document."""
        checks, file = self.checks, self.checks.file
        checks.keys(
            document,
            needed=("schema", "measure", "fact", "sector", "question", "labrum", "option"),
            where=file,
        )
        sector_at = f"{file}, [sector]"
        sector = checks.table_of(document, "sector", where=file)
        checks.keys(sector, needed=("needs", "sound"), where=sector_at)
        options = tuple(
            self._option(entry) for entry in checks.entries(document, "option", where=file)
        )
        if [item.name for item in options] != list(OptionName):
            raise CaseRefusal(
                f"options are {', '.join(item.name for item in options)} "
                f"(need {', '.join(OptionName)})",
                f"{file}, [[option]]",
                "List all five, in this order.",
            )
        return RuleSet(
            measures=self.measures(document),
            facts=self.facts(document),
            labrum=self.labrum_rules(document),
            options=options,
            needs=tuple(
                checks.conditions(entry, fields=SECTOR_FIELDS, where=sector_at)
                for entry in checks.entries(sector, "needs", where=sector_at)
            ),
            sound=checks.conditions(
                checks.table_of(sector, "sound", where=sector_at),
                fields=SECTOR_FIELDS,
                where=sector_at,
            ),
            questions=self.questions(document),
        )

    def measures(self, document: Mapping[str, Any]) -> tuple[Measure, ...]:
        """The measures of a document, in its order."""
        entries = self.checks.entries(document, "measure", where=self.checks.file)
        return tuple(self._measure(entry) for entry in entries)

    def facts(self, document: Mapping[str, Any]) -> tuple[FactRule, ...]:
        """The rules on facts of the hip of a document, in its order."""
        entries = self.checks.entries(document, "fact", where=self.checks.file)
        return tuple(self._fact(entry) for entry in entries)

    def labrum_rules(self, document: Mapping[str, Any]) -> tuple[LabrumRule, ...]:
        """The labral rules of a document, in its order."""
        entries = self.checks.entries(document, "labrum", where=self.checks.file)
        return tuple(self._labrum_rule(entry) for entry in entries)

    def questions(self, document: Mapping[str, Any]) -> Mapping[str, str]:
        """Finding to question."""
        where = f"{self.checks.file}, [question]"
        questions = self.checks.table_of(document, "question", where=self.checks.file)
        for field in questions:
            self.checks.known(field, SECTOR_FIELDS, where=where, kind="finding")
            self.checks.text(questions, field, where=where)
        return questions

    def _measure(self, entry: Mapping[str, Any]) -> Measure:
        checks = self.checks
        where = self._where(entry, "measure", key="key")
        needed = ("key", "label", "holds_for", "unknown", "limit")
        self._keys(entry, needed, optional=("holds_for_method", "sites"), where=where)
        sites = checks.table_of(entry, "sites", where=where)
        for site in sites:
            checks.text(sites, site, where=f"{where}, sites")
        holds_for = checks.texts(entry, "holds_for", where=where)
        key = checks.text(entry, "key", where=where)
        images = (*MEASUREMENT_KEYS, *JOINT_SPACE_SITES)
        plain = (*HIP_NUMBERS, "femoral_cartilage_grade")
        checks.known(key, images if holds_for else plain, where=f"{where}, key", kind="finding")
        for site in sites:
            checks.known(site, images, where=f"{where}, sites", kind="finding")
        limits = checks.entries(entry, "limit", where=where)
        if not limits:
            raise CaseRefusal("holds no cut-off", where, "Write a [[measure.limit]] under it.")
        method = ""
        if "holds_for_method" in entry:
            method = checks.text(entry, "holds_for_method", where=where)
        return Measure(
            key=key,
            label=checks.text(entry, "label", where=where),
            holds_for=tuple(checks.word(Modality, item, where=where) for item in holds_for),
            holds_for_method=method,
            unknown=checks.text(entry, "unknown", where=where),
            limits=tuple(self._limit(item, where=where) for item in limits),
            sites=sites,
            would_change=self._would_change(entry, where=where),
            set_by_clinic=self.by_clinic,
        )

    def _limit(self, entry: Mapping[str, Any], *, where: str) -> Limit:
        checks = self.checks
        needed = ("setting", "test", "says", "roads", "evidence")
        checks.keys(entry, needed=needed, optional=("refers",), where=where)
        setting = checks.text(entry, "setting", where=where)
        checks.known(setting, checks.table.settings, where=where, kind="setting")
        evidence = checks.evidence(entry, where=where)
        rows = (*evidence, *checks.table.setting(setting).evidence)
        return Limit(
            setting=setting,
            test=checks.word(Test, entry["test"], where=where),
            says=checks.text(entry, "says", where=where),
            roads=self._roads(entry, rows, where=where),
            evidence=evidence,
            refers=checks.truth(entry, "refers", where=where),
        )

    def _fact(self, entry: Mapping[str, Any]) -> FactRule:
        checks = self.checks
        where = self._where(entry, "fact")
        needed = ("id", "label", "when", "roads", "says", "evidence")
        self._keys(entry, needed, optional=("unknown",), where=where)
        evidence = checks.some_evidence(entry, where=where)
        return FactRule(
            id=checks.text(entry, "id", where=where),
            label=checks.text(entry, "label", where=where),
            when=self._when(entry, fields=HIP_FIELDS, where=where),
            roads=self._roads(entry, evidence, where=where),
            says=checks.text(entry, "says", where=where),
            evidence=evidence,
            unknown=checks.text(entry, "unknown", where=where) if "unknown" in entry else "",
            would_change=self._would_change(entry, where=where),
            set_by_clinic=self.by_clinic,
        )

    def _labrum_rule(self, entry: Mapping[str, Any]) -> LabrumRule:
        checks = self.checks
        where = self._where(entry, "labrum")
        needed = ("id", "actions", "when", "verdict", "says", "evidence")
        self._keys(entry, needed, where=where)
        evidence = checks.some_evidence(entry, where=where)
        verdict = None
        if entry["verdict"] != NOTE:
            verdict = checks.word(Stance, entry["verdict"], where=where)
            checks.refuse_bare_support(verdict, evidence, where=where)
        when = self._when(entry, fields=SECTOR_FIELDS, where=where)
        if verdict is not None and any(item.field in _WIDTHS for item in when):
            raise CaseRefusal(
                "decides by the width",
                where,
                "Give it verdict = 'note': cut-offs of the width differ by modality, and nothing "
                "is decided by it.",
            )
        return LabrumRule(
            id=checks.text(entry, "id", where=where),
            actions=tuple(
                checks.word(Action, item, where=where)
                for item in checks.texts(entry, "actions", where=where)
            ),
            when=when,
            verdict=verdict,
            says=checks.text(entry, "says", where=where),
            evidence=evidence,
            would_change=self._would_change(entry, where=where),
            set_by_clinic=self.by_clinic,
        )

    def _option(self, entry: Mapping[str, Any]) -> OptionPlan:
        checks = self.checks
        where = self._where(entry, "option", key="name")
        needed = ("name", "lead", "others", "says", "evidence")
        checks.keys(entry, needed=needed, optional=("whole_rim",), where=where)
        return OptionPlan(
            name=checks.word(OptionName, entry["name"], where=where),
            lead=checks.word(Action, entry["lead"], where=where),
            others=tuple(
                checks.word(Action, item, where=where)
                for item in checks.texts(entry, "others", where=where)
            ),
            whole_rim=checks.truth(entry, "whole_rim", where=where),
            says=checks.text(entry, "says", where=where),
            evidence=checks.evidence(entry, where=where),
        )

    def _when(
        self, entry: Mapping[str, Any], *, fields: tuple[str, ...], where: str
    ) -> tuple[Condition, ...]:
        when = self.checks.conditions(
            self.checks.table_of(entry, "when", where=where), fields=fields, where=where
        )
        if not when:
            raise CaseRefusal(
                "holds for everything", f"{where}, when", "Name at least one finding."
            )
        return when

    def _roads(
        self, entry: Mapping[str, Any], evidence: tuple[str, ...], *, where: str
    ) -> dict[Road, Stance]:
        roads = {}
        for name, word in self.checks.table_of(entry, "roads", where=where).items():
            stance = self.checks.word(Stance, word, where=where)
            roads[self.checks.word(Road, name, where=where)] = stance
            self.checks.refuse_bare_support(stance, evidence, where=where)
        return roads

    def _keys(
        self,
        entry: Mapping[str, Any],
        needed: tuple[str, ...],
        *,
        where: str,
        optional: tuple[str, ...] = (),
    ) -> None:
        """Keys of a rule; a clinic says why, so that its own plan can print it."""
        if self.by_clinic:
            needed = (*needed, "note")
        self.checks.keys(entry, needed=needed, optional=(*optional, *_ALSO), where=where)
        if "note" in entry:
            self.checks.text(entry, "note", where=where)

    def _would_change(self, entry: Mapping[str, Any], *, where: str) -> str:
        if "would_change" not in entry:
            return ""
        return self.checks.text(entry, "would_change", where=where)

    def _where(self, entry: Mapping[str, Any], kind: str, *, key: str = "id") -> str:
        return f"{self.checks.file}, [[{kind}]] {entry.get(key, '?')}"
