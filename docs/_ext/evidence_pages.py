"""Evidence pages from the TOML of the package: every row, every default, as the code reads them."""

from __future__ import annotations

import re
from itertools import groupby
from pathlib import Path

from pages import cell, remove_others, table, write_page
from sphinx.application import Sphinx

from rimwright.evidence import EvidenceStatus, EvidenceTable, load_evidence

TOP = """# Evidence

What the tool knows from outside, written from the files that the code reads. The status says how
far a value may be trusted; a value from memory decides nothing by itself.
"""


def anchor(evidence_id: str) -> str:
    """Name of the place of a row on its page."""
    return "row-" + re.sub(r"[^a-z0-9]+", "-", evidence_id.lower()).strip("-")


def link(evidence_id: str) -> str:
    """A link to the row from a page of the same folder."""
    return f"[{cell(evidence_id)}](#{anchor(evidence_id)})"


def place(evidence_id: str) -> str:
    """A cell that names the row and can be linked to."""
    return f"[{cell(evidence_id)}]{{#{anchor(evidence_id)}}}"


def index_page(sections: list[str]) -> list[str]:
    """The first page: what the words mean, and the way to the others."""
    words = table(
        ("status", "meaning"), ((cell(s.value), cell(s.meaning)) for s in EvidenceStatus)
    )
    entries = ["settings", "rows", "conflicts"]
    return [TOP, *words, "", "```{toctree}", ":maxdepth: 2", "", *entries, "```"]


def settings_page(evidence: EvidenceTable) -> list[str]:
    """Every clinical default that code uses, by subject."""
    lines = ["# Settings", ""]
    lines += [
        "Every default with a clinical meaning. A clinic may set any of them in its own file",
        "within the range given, which is plausibility and no clinical authority; the report",
        "prints what was changed.",
        "",
    ]
    ordered = sorted(evidence.settings.values(), key=lambda s: s.name)
    for subject, entries in groupby(ordered, key=lambda s: s.name.split(".")[0]):
        lines += [f"## {subject}", ""]
        rows = [
            (
                f"`{s.name}`",
                cell(f"{s.value:g} {s.unit}".strip()),
                cell(f"{s.low:g} to {s.high:g}"),
                cell(s.status.value),
                cell(s.source) + (" (" + ", ".join(map(link, s.evidence)) + ")") * bool(s.evidence),
                cell(s.note),
            )
            for s in entries
        ]
        lines += table(("name", "value", "range", "status", "source", "why"), rows) + [""]
    return lines


def rows_page(evidence: EvidenceTable) -> list[str]:
    """Every row by section."""
    lines = ["# Rows", ""]
    for section, rows in groupby(evidence.rows.values(), key=lambda row: row.section):
        lines += [f"## {section or 'Other rows'}", ""]
        cells = [
            (
                place(row.id),
                cell(row.quantity),
                cell(f"{row.value} {row.unit}".strip()),
                cell(row.population),
                cell(row.source),
                cell(row.status.value + (f"; {row.status_note}" if row.status_note else "")),
            )
            for row in rows
        ]
        lines += table(("id", "quantity", "value", "population", "source", "status"), cells) + [""]
    return lines


def conflicts_page(evidence: EvidenceTable) -> list[str]:
    """Where sources do not agree, and what was looked for and not found."""
    lines = ["# Conflicts and gaps", "", "## Sources that do not agree", ""]
    cells = [
        (place(c.id), cell(c.text), ", ".join(link(row) for row in c.rows))
        for c in evidence.conflicts.values()
    ]
    lines += table(("id", "conflict", "rows"), cells)
    lines += ["", "## Looked for and not found", ""]
    lines += [f"- {cell(gap)}" for gap in evidence.gaps]
    return lines


def write_pages(app: Sphinx) -> None:
    """Write the folder before Sphinx reads it."""
    folder = Path(app.srcdir) / "reference" / "evidence"
    evidence = load_evidence()
    pages = {
        "index.md": index_page([]),
        "settings.md": settings_page(evidence),
        "rows.md": rows_page(evidence),
        "conflicts.md": conflicts_page(evidence),
    }
    for name, lines in pages.items():
        write_page(folder / name, lines)
    remove_others(folder, pages)


def setup(app: Sphinx) -> dict[str, object]:
    """Write the pages when a build begins."""
    app.connect("builder-inited", write_pages)
    return {"parallel_read_safe": True, "parallel_write_safe": True}
