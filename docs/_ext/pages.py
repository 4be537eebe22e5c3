"""Writing a generated page: only when its text changed, so that a second build is quick."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path


def write_page(path: Path, lines: Iterable[str]) -> None:
    """Write the page unless it already reads so."""
    text = "\n".join(lines).rstrip() + "\n"
    path.parent.mkdir(parents=True, exist_ok=True)
    if not path.is_file() or path.read_text(encoding="utf-8") != text:
        path.write_text(text, encoding="utf-8")


def remove_others(folder: Path, kept: Iterable[str]) -> None:
    """Take away pages of an earlier build that no longer have a source."""
    names = set(kept)
    for page in folder.glob("*.md"):
        if page.name not in names:
            page.unlink()


def cell(text: object) -> str:
    """Text as it may stand in a cell of a table: no bar, no line break, no markup by chance."""
    plain = " ".join(str(text).split())
    for mark in ("\\", "|", "*", "_", "`", "<", "$", "[", "]"):
        plain = plain.replace(mark, "\\" + mark)
    return plain


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> list[str]:
    """Lines of a Markdown table; the cells are ready to stand."""
    lines = ["| " + " | ".join(head) + " |", "|" + " --- |" * len(head)]
    lines += ["| " + " | ".join(row) + " |" for row in rows]
    return lines
