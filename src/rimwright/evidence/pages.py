"""The evidence tables as Markdown pages for the documentation."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from rimwright.evidence.row import EvidenceRow, EvidenceStatus
from rimwright.evidence.setting import Setting
from rimwright.evidence.table import EvidenceTable, load_evidence

_SETTING_HEAD = ("setting", "value", "range", "status", "rests on", "note")
_ROW_HEAD = ("id", "quantity", "value", "unit", "population or method", "source", "status")


def evidence_pages() -> dict[str, str]:
    """
    Write every evidence page.

    Returns
    -------
    dict
        File name to Markdown (MyST); 'index.md' lists the others in a toctree. Row 5.13 can be
        linked to as '#planning-5-13'.
    """
    table = load_evidence()
    sections: dict[str, list[EvidenceRow]] = {}
    for row in table.rows.values():
        sections.setdefault(row.section, []).append(row)
    pages = {
        "settings.md": _settings_page(table),
        "definitions.md": _definitions_page(table),
    }
    for title, rows in sections.items():
        pages[f"{_file_stem(title)}.md"] = _section_page(title, rows)
    pages["conflicts.md"] = _conflicts_page(table)
    pages["gaps.md"] = _gaps_page(table)
    return {"index.md": _index_page(pages), **pages}


def anchor_of(evidence_id: str) -> str:
    """The HTML anchor of an evidence id: 'planning:5.13' is 'planning-5-13'."""
    return re.sub(r"[^A-Za-z0-9]+", "-", evidence_id)


def page_of(evidence_id: str) -> str:
    """The page an evidence id stands on, without its ending: 'planning:4.20' is on 'labrum'."""
    rows = load_evidence().rows
    return _file_stem(rows[evidence_id].section) if evidence_id in rows else "conflicts"


def _index_page(pages: Iterable[str]) -> str:
    lines = [
        "# Evidence",
        "",
        "Every number with a clinical meaning stands here, with where it was read. No full paper "
        "was read end to end, and no value has been clinically validated for this program.",
        "",
        "## What the status words mean",
        "",
        *_markdown_table(
            ("status", "meaning"), [(status, status.meaning) for status in EvidenceStatus]
        ),
        "",
        "A row made of parts of different status carries the weakest of them.",
        "",
        "## How a clinic sets its own values",
        "",
        "A file of its own names only what it changes; the report prints what was changed. "
        "An unknown name, another unit or a value out of its range is refused.",
        "",
        "```toml",
        'schema = "rimwright.settings/1"',
        "[fixation]",
        "margin_joint_mm = 2.5",
        'spacing_mm = { value = 9.0, unit = "mm", note = "as agreed in our department" }',
        "```",
        "",
        "## Pages",
        "",
        "```{toctree}",
        ":maxdepth: 1",
        "",
        *(name.removesuffix(".md") for name in pages),
        "```",
        "",
    ]
    return "\n".join(lines)


def _settings_page(table: EvidenceTable) -> str:
    subjects: dict[str, list[Setting]] = {}
    for setting in table.settings.values():
        subjects.setdefault(setting.name.split(".")[0], []).append(setting)
    lines = ["# Settings in force", "", "The defaults; a clinic's own file overrides them.", ""]
    for subject, settings in subjects.items():
        lines += [f"## {subject.replace('_', ' ')}", ""]
        lines += _markdown_table(_SETTING_HEAD, [_setting_cells(item) for item in settings])
        lines.append("")
    return "\n".join(lines)


def _setting_cells(setting: Setting) -> tuple[str, ...]:
    rests_on = setting.source
    if setting.evidence:
        rests_on += " (" + ", ".join(_link(row) for row in setting.evidence) + ")"
    note = setting.note
    for other in setting.alternatives:
        links = ", ".join(_link(row) for row in other.evidence)
        note += f" Also in print: {other.value:g} ({other.note}; {links})."
    return (
        f"`{setting.name}`",
        f"{setting.value:g} {setting.unit}",
        f"{setting.low:g} to {setting.high:g}",
        setting.status,
        rests_on,
        note,
    )


def _definitions_page(table: EvidenceTable) -> str:
    cells = [(item.measure, item.construction, item.sign) for item in table.definitions]
    head = ("measure", "construction", "sign")
    return "\n".join(["# Definitions of the measures", "", *_markdown_table(head, cells), ""])


def _section_page(title: str, rows: Sequence[EvidenceRow]) -> str:
    cells = [
        (
            f'<a id="{anchor_of(row.id)}"></a>{row.id}',
            row.quantity,
            row.value,
            row.unit,
            row.population,
            row.source,
            f"{row.status} ({row.status_note})" if row.status_note else row.status,
        )
        for row in rows
    ]
    return "\n".join([f"# {title}", "", *_markdown_table(_ROW_HEAD, cells), ""])


def _conflicts_page(table: EvidenceTable) -> str:
    cells = [
        (
            f'<a id="{anchor_of(item.id)}"></a>{item.id}',
            item.text,
            ", ".join(_link(row) for row in item.rows),
        )
        for item in table.conflicts.values()
    ]
    lines = [
        "# Conflicts between sources",
        "",
        "Where sources disagree, the program shows the choice it makes beside the others.",
        "",
        *_markdown_table(("id", "conflict", "rows"), cells),
        "",
    ]
    return "\n".join(lines)


def _gaps_page(table: EvidenceTable) -> str:
    lines = ["# What was looked for and not found", ""]
    lines += [f"- {_escaped(gap)}" for gap in table.gaps]
    return "\n".join([*lines, ""])


def _link(evidence_id: str) -> str:
    """A link to a row, wherever its page is."""
    return f'<a href="{page_of(evidence_id)}.html#{anchor_of(evidence_id)}">{evidence_id}</a>'


def _file_stem(title: str) -> str:
    """File name of a section: the words before a colon, a comma or a bracket, with hyphens."""
    return re.sub(r"[^a-z0-9]+", "-", re.split(r"[:,(]", title)[0].lower()).strip("-")


def _markdown_table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    lines = ["| " + " | ".join(head) + " |", "|" + "---|" * len(head)]
    lines += ["| " + " | ".join(_escaped(cell) for cell in row) + " |" for row in rows]
    return lines


def _escaped(text: str) -> str:
    """Text that stays inside its cell and is not read as markup; our own anchors pass."""
    text = re.sub(r"<(?!/?a\b)", "&lt;", text)
    return text.replace("|", "\\|").replace("*", "\\*").replace("$", "\\$")
