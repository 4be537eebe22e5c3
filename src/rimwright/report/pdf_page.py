"""The report as a tagged PDF, set by typst from data: no text of a case is ever markup."""

from __future__ import annotations

import json
from datetime import date
from functools import cache
from importlib import resources
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from rimwright.report.blocks import (
    Block,
    Cell,
    Document,
    Facts,
    Heading,
    Items,
    Paragraph,
    Picture,
    Space,
    Table,
)
from rimwright.report.wording import NOTICE

ACCESSIBLE, ARCHIVAL = "ua-1", "a-2a"
"""PDF/UA-1 and PDF/A-2a: the compiler refuses a picture without alternative text, and an archival
file without a date."""


def render_pdf(document: Document) -> bytes:
    """The whole report as one PDF."""
    import typst  # heavy: only when a PDF is asked for

    # The compiler takes a folder in memory; its published types do not say so yet.
    files: Any = {
        f"{p.figure.name}.svg": p.figure.standalone().encode() for p in document.pictures()
    }
    files["document.json"] = json.dumps(as_data(document), ensure_ascii=False).encode()
    template = resources.files("rimwright.report").joinpath("report.typ")
    files["main"] = template.read_bytes()
    standards: Any = (
        [ACCESSIBLE] if issued_date(document.issued_on) is None else [ACCESSIBLE, ARCHIVAL]
    )
    made: bytes = typst.compile(
        files,
        font_paths=font_folders(),
        ignore_system_fonts=True,  # the same pages on every machine
        pdf_standards=standards,
    )
    return made


def issued_date(issued_on: str) -> tuple[int, int, int] | None:
    """Year, month and day of a date written as 2026-03-02; None for any other text."""
    try:
        day = date.fromisoformat(issued_on.strip())
    except ValueError:
        return None
    return day.year, day.month, day.day


@cache
def font_folders() -> list[str]:
    """Folder of the sans serif that comes with the drawing library, found without importing it."""
    spec = find_spec("matplotlib")
    if spec is None or not spec.submodule_search_locations:
        return []
    folder = Path(spec.submodule_search_locations[0]) / "mpl-data" / "fonts" / "ttf"
    return [str(folder)] if folder.is_dir() else []


def as_data(document: Document) -> dict[str, Any]:
    """The document as plain data for the template."""
    rows = [
        row[0].text
        for section in document.sections
        for block in section.blocks
        if isinstance(block, Table) and block.is_evidence
        for row in block.rows
    ]
    return {
        "title": document.title,
        "date": issued_date(document.issued_on),
        "running_head": document.running_head,
        "mark": document.mark,
        "notice": NOTICE,
        "is_plain": document.is_plain,
        "row_ids": {id_: f"row-{place}" for place, id_ in enumerate(rows)},
        "first": [_block(block) for block in document.first],
        "sections": [
            {"title": section.title, "blocks": [_block(block) for block in section.blocks]}
            for section in document.sections
        ],
    }


def _block(block: Block) -> dict[str, Any]:
    """One block as data."""
    match block:
        case Paragraph():
            return {"kind": "paragraph", "tone": block.tone.value, "cell": _cell(block.cell)}
        case Heading():
            return {"kind": "heading", "text": block.text, "mark": block.mark}
        case Facts():
            return {"kind": "facts", "pairs": [list(pair) for pair in block.pairs]}
        case Items():
            return {
                "kind": "items",
                "title": block.title,
                "is_numbered": block.is_numbered,
                "items": [_cell(cell) for cell in block.items],
            }
        case Picture():
            return {
                "kind": "picture",
                "file": f"{block.figure.name}.svg",
                "alt": block.figure.description,
                "title": block.figure.title,
                "caption": block.caption,
                "is_narrow": block.is_narrow,
            }
        case Space():
            return {"kind": "space", "title": block.title, "n_lines": block.n_lines}
        case Table():
            return {
                "kind": "table",
                "caption": block.caption,
                "header": list(block.header),
                "rows": [[_cell(cell) for cell in row] for row in block.rows],
                "widths": _widths(block),
                "is_evidence": block.is_evidence,
                "is_halved": block.is_halved,
            }


def _widths(table: Table) -> list[float]:
    """Share of the room left over for each wide column, by how much it has to say; 0 is narrow."""
    shares = [0.0] * len(table.header)
    for column in table.wide:
        lengths = [_letters(row[column]) for row in table.rows]
        shares[column] = max([4.0, *(length**0.5 for length in lengths)])
    return shares


def _letters(cell: Cell) -> float:
    """How much a cell has to say; small print counts for less."""
    return len(cell.text) + 0.6 * len(cell.detail) + 14.0 * len(cell.evidence)


def _cell(cell: Cell) -> dict[str, Any]:
    """One cell as data."""
    return {
        "text": cell.text,
        "mark": cell.mark,
        "detail": cell.detail,
        "evidence": list(cell.evidence),
        "is_strong": cell.is_strong,
    }
