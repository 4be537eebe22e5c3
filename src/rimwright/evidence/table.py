"""The evidence table: rows, conflicts, gaps and the settings in force."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from pathlib import Path
from types import MappingProxyType
from typing import Any

from rimwright.errors import CaseRefusal
from rimwright.evidence.overrides import read_overrides
from rimwright.evidence.row import Conflict, Definition, EvidenceRow, EvidenceStatus
from rimwright.evidence.setting import Alternative, Override, Setting


@dataclass(frozen=True, slots=True, kw_only=True)
class EvidenceTable:
    """
    Settings in force and the rows behind them; rows are read from file when first asked for.

    Parameters
    ----------
    settings
        Name to setting, overrides applied.
    overrides
        What a clinic's file changed.
    """

    settings: Mapping[str, Setting]
    overrides: tuple[Override, ...] = ()

    @property
    def rows(self) -> Mapping[str, EvidenceRow]:
        """Every row by id."""
        return _rows()

    @property
    def conflicts(self) -> Mapping[str, Conflict]:
        """Every conflict by id."""
        return _conflicts()

    @property
    def gaps(self) -> tuple[str, ...]:
        """What was looked for and not found."""
        return _gaps()

    @property
    def definitions(self) -> tuple[Definition, ...]:
        """How each measure is constructed."""
        return _definitions()

    def row(self, evidence_id: str) -> EvidenceRow:
        """
        The row of an evidence id; a conflict reads as a row too.

        Raises
        ------
        CaseRefusal
            There is no such row.
        """
        if evidence_id in self.rows:
            return self.rows[evidence_id]
        if evidence_id in self.conflicts:
            return _row_of_conflict(self.conflicts[evidence_id])
        raise _unknown("evidence id", evidence_id, (*self.rows, *self.conflicts))

    def has_row(self, evidence_id: str) -> bool:
        """Whether an evidence id exists, as a row or a conflict."""
        return evidence_id in self.rows or evidence_id in self.conflicts

    def setting(self, name: str) -> Setting:
        """
        One setting in force.

        Raises
        ------
        CaseRefusal
            There is no such setting.
        """
        try:
            return self.settings[name]
        except KeyError:
            raise _unknown("setting", name, tuple(self.settings)) from None

    def number(self, name: str) -> float:
        """The number of a setting in force, in its own unit."""
        return self.setting(name).value

    def count(self, name: str) -> int:
        """The whole number of a setting in force."""
        return round(self.setting(name).value)


def load_evidence(override_path: Path | None = None) -> EvidenceTable:
    """
    Read the shipped settings, and a clinic's own file over them.

    Parameters
    ----------
    override_path
        TOML of the clinic; None for the shipped settings alone (then the table is cached).

    Returns
    -------
    EvidenceTable
        Settings in force and the evidence rows.

    Raises
    ------
    Refusal
        The clinic's file cannot be used; the message names file and key.
    """
    if override_path is None:
        return _shipped()
    shipped = _shipped().settings
    overrides = read_overrides(Path(override_path), shipped)
    settings = dict(shipped)
    for change in overrides:
        settings[change.name] = replace(
            settings[change.name],
            value=change.value,
            status=EvidenceStatus.CLINIC,
            source=f"set by the clinic in {change.path.name} (shipped: {change.default:g})",
            note=change.note or settings[change.name].note,
        )
    return EvidenceTable(settings=MappingProxyType(settings), overrides=overrides)


@cache
def _shipped() -> EvidenceTable:
    document = _package_toml("settings.toml")
    settings = {}
    for subject, entries in document.items():
        if subject == "schema":
            continue
        for key, entry in entries.items():
            name = f"{subject}.{key}"
            settings[name] = _setting(name, entry)
    return EvidenceTable(settings=MappingProxyType(settings))


def _setting(name: str, entry: Mapping[str, Any]) -> Setting:
    return Setting(
        name=name,
        value=float(entry["value"]),
        unit=entry["unit"],
        low=float(entry["low"]),
        high=float(entry["high"]),
        status=EvidenceStatus(entry["status"]),
        source=entry["source"],
        evidence=tuple(entry["evidence"]),
        note=entry["note"],
        alternatives=tuple(
            Alternative(
                value=float(item["value"]),
                evidence=tuple(item["evidence"]),
                note=item["note"],
            )
            for item in entry.get("alternatives", ())
        ),
        is_count=isinstance(entry["value"], int),
    )


@cache
def _planning() -> dict[str, Any]:
    return _package_toml("planning.toml")


@cache
def _rows() -> Mapping[str, EvidenceRow]:
    document = _planning()
    sources = document["source"]
    rows = {}
    for section in document["section"]:
        for entry in section["row"]:
            row_id = f"planning:{entry['id']}"
            rows[row_id] = EvidenceRow(
                id=row_id,
                quantity=entry["quantity"],
                value=entry["value"],
                unit=entry["unit"],
                population=entry["population"],
                source=_citation(sources, entry),
                status=EvidenceStatus(entry["status"]),
                status_note=entry.get("status_note", ""),
                section=section["title"],
                numbers=MappingProxyType(
                    {key: float(value) for key, value in entry.get("numbers", {}).items()}
                ),
            )
    return MappingProxyType(rows)


def _citation(sources: Mapping[str, str], entry: Mapping[str, Any]) -> str:
    """Full citation of a row, with its place in the paper where one was noted."""
    text = "; ".join(sources[key] for key in entry["source"])
    note = entry.get("source_note", "")
    return f"{text} ({note})" if note else text


@cache
def _definitions() -> tuple[Definition, ...]:
    return tuple(Definition(**entry) for entry in _planning()["definition"])


@cache
def _conflicts() -> Mapping[str, Conflict]:
    conflicts = {}
    for entry in _planning()["conflict"]:
        conflict_id = f"planning:{entry['id']}"
        rows = tuple(f"planning:{row}" for row in entry["rows"])
        conflicts[conflict_id] = Conflict(id=conflict_id, text=entry["text"], rows=rows)
    return MappingProxyType(conflicts)


@cache
def _gaps() -> tuple[str, ...]:
    return tuple(_planning()["gaps"])


def _row_of_conflict(conflict: Conflict) -> EvidenceRow:
    """A conflict as a row: it is our own reading of several rows."""
    return EvidenceRow(
        id=conflict.id,
        quantity="conflict between sources",
        value=conflict.text,
        unit="",
        population="",
        source="our reading of rows " + ", ".join(conflict.rows),
        status=EvidenceStatus.DERIVED,
        section="Conflicts between sources",
    )


def _package_toml(name: str) -> dict[str, Any]:
    text = resources.files("rimwright.evidence").joinpath(name).read_text(encoding="utf-8")
    return tomllib.loads(text)


def _unknown(kind: str, name: str, known: tuple[str, ...]) -> CaseRefusal:
    close = difflib.get_close_matches(name, known, n=1, cutoff=0.0)
    remedy = f"The nearest known one is {close[0]!r}." if close else "None is known."
    return CaseRefusal(f"unknown {kind} {name!r}", f"evidence, {name}", remedy)
