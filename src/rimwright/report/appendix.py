"""The back of the report: cautions in full, evidence rows cited, settings in force, digest."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields, is_dataclass

from rimwright.anatomy import Plan, Status
from rimwright.evidence import EvidenceTable, Setting
from rimwright.report.blocks import Block, Cell, Facts, Items, Paragraph, Section, Table, Tone
from rimwright.report.first_page import doubts_that_matter, sentence
from rimwright.report.scan_words import source_details
from rimwright.report.wording import STATUS_SHAPES, plain, with_unit


def cautions_section(plan: Plan) -> Section:
    """Every doubt of the plan and of every option."""
    mark = STATUS_SHAPES[Status.CAUTION]
    items = list(doubts_that_matter(plan))
    seen = {item.text for item in items}
    for option in plan.options:
        for text in option.cautions:
            words = sentence(text)
            if words not in seen:
                items.append(Cell(text=f"{option.option.name}: {words}", mark=mark))
    blocks: tuple[Block, ...] = (Items(items=tuple(items)),)
    if not items:
        blocks = (Paragraph(cell=Cell(text="No doubt was raised. That is not proof of anything.")),)
    return Section(key="cautions", title="Cautions", blocks=blocks)


def evidence_section(ids: Iterable[str], *, evidence: EvidenceTable) -> Section:
    """The rows cited anywhere above, in full."""
    rows = []
    for id_ in sorted(set(ids), key=_order):
        if not evidence.has_row(id_):
            rows.append(
                (
                    Cell(text=id_, is_strong=True),
                    Cell(text="no such row in the tables"),
                    *[Cell(text="–")] * 4,
                )
            )
            continue
        row = evidence.row(id_)
        status = row.status.value + (f" ({row.status_note})" if row.status_note else "")
        rows.append(
            (
                Cell(text=id_, is_strong=True),
                Cell(text=row.quantity),
                Cell(text=with_unit(row)),
                Cell(text=row.population),
                Cell(text=row.source),
                Cell(text=status),
            )
        )
    header = ("Row", "Quantity", "Value", "Population", "Source", "How it was read")
    table = Table(
        caption="Evidence cited",
        header=header,
        rows=tuple(rows),
        wide=(1, 2, 3, 4, 5),
        is_evidence=True,
    )
    note = "A value that was not read in its source says so in the last column."
    blocks: tuple[Block, ...] = (Paragraph(cell=Cell(text=note), tone=Tone.NOTE), table)
    if not rows:
        blocks = (Paragraph(cell=Cell(text="No evidence is cited.")),)
    return Section(key="evidence", title="Evidence", blocks=blocks)


def settings_section(plan: Plan, *, evidence: EvidenceTable) -> Section:
    """Settings as used, what a clinic changed, what was measured, the digest of the inputs."""
    rows = []
    for name, value in plan.settings.items():
        if isinstance(value, Mapping):
            rows += [_setting_row(f"{name}: {key}", text, evidence) for key, text in value.items()]
            if not value:
                rows.append(_setting_row(name, "nothing", evidence))
        else:
            rows.append(_setting_row(name, value, evidence))
    blocks: list[Block] = []
    if rows:
        header = ("Setting", "Value", "Rests on", "Evidence")
        blocks.append(
            Table(caption="Settings in force", header=header, rows=tuple(rows), wide=(0, 1, 2, 3))
        )
    else:
        blocks.append(Paragraph(cell=Cell(text="No settings were recorded.")))
    digest = plan.digest or "not recorded"
    blocks.append(
        Facts(
            pairs=(
                *source_details(plan),
                ("Digest of the inputs", digest),
                ("Version of the plan", str(plan.version)),
            )
        )
    )
    return Section(key="settings", title="Settings and digest", blocks=tuple(blocks))


def _setting_row(name: str, value: object, evidence: EvidenceTable) -> tuple[Cell, ...]:
    """One setting: what it is, its value with unit, and what it rests on."""
    known = _setting(name, evidence)
    words = plain(known.name if known else name).rpartition(",")[0] or plain(name)
    if known is None:
        words = plain(name)
    shown = _shown(value)
    if known is not None and known.unit not in ("", "count"):
        shown = f"{shown}°" if known.unit == "deg" else f"{shown} {known.unit}"
    return (
        Cell(
            text=words,
            is_strong=True,
            detail=known.note if known else "",
            detail_name="what it is",
        ),
        Cell(text=shown),
        Cell(text=f"{known.status.value}: {known.source}" if known else "–"),
        Cell(
            text="rows" if known and known.evidence else "–",
            evidence=known.evidence if known else (),
        ),
    )


def cited_in(thing: object) -> tuple[str, ...]:
    """Evidence ids of every cell inside blocks, in order of appearance."""
    if isinstance(thing, Cell):
        return thing.evidence
    if isinstance(thing, (tuple, list)):
        return tuple(id_ for item in thing for id_ in cited_in(item))
    if is_dataclass(thing) and not isinstance(thing, type):
        return tuple(id_ for part in fields(thing) for id_ in cited_in(getattr(thing, part.name)))
    return ()


def _order(id_: str) -> tuple[str, ...]:
    """Rows in the order of their tables: 4.9 before 4.10."""
    book, _, number = id_.partition(":")
    return book, *(part.zfill(5) for part in number.split("."))


def _setting(name: str, evidence: EvidenceTable) -> Setting | None:
    """The setting in force of a printed name, which may leave its subject out."""
    if name in evidence.settings:
        return evidence.settings[name]
    found = [setting for key, setting in evidence.settings.items() if key.endswith(f".{name}")]
    return found[0] if len(found) == 1 else None


def _shown(value: object) -> str:
    """A setting as text."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:g}"
    if isinstance(value, (list, tuple)):
        return "; ".join(_shown(item) for item in value)
    if isinstance(value, Mapping):
        return ", ".join(_shown_part(str(name), item) for name, item in value.items())
    return str(value)


def _shown_part(name: str, value: object) -> str:
    """One entry of a table inside a setting: drill 1.8 mm; a kind needs no name."""
    words, _, unit = plain(name).partition(", ")
    return _shown(value) if name == "kind" else f"{words} {_shown(value)} {unit}".strip()
