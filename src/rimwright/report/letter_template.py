"""The template of a letter: a few kinds of lines, and names in braces that the plan fills in.

`# ` the title, `## ` a heading, `- ` an item of a list, `% ` a note that is not printed; an empty
line parts paragraphs. `{{` and `}}` are braces. What is filled in is never read as template again.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum

from rimwright.errors import CaseRefusal

EMPTY = "not recorded"
"""Printed where the plan has nothing to fill in."""
TOKEN = re.compile(r"\{\{|\}\}|\{([^{}\n]*)\}|[{}]")
LONGEST_TEMPLATE = 100_000
"""Letters; a longer text is no letter but a file taken by mistake."""

Values = Mapping[str, str | tuple[str, ...]]
"""Placeholder to text, or to several lines."""


class LineKind(StrEnum):
    """What a line of a template is."""

    TITLE = "title"
    HEADING = "heading"
    ITEM = "item"
    TEXT = "text"


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """
    A line of a template, or a paragraph of several.

    Parameters
    ----------
    kind
        What it is.
    text
        Words with their placeholders.
    number
        Line of the template, from 1.
    """

    kind: LineKind
    text: str
    number: int


def read_template(text: str, *, known: Iterable[str], where: str) -> tuple[Line, ...]:
    """
    Read a template and check every placeholder in it.

    Parameters
    ----------
    text
        The template.
    known
        Names of placeholders.
    where
        How the template is called in a refusal.

    Returns
    -------
    tuple of Line
        In order, notes left out.

    Raises
    ------
    CaseRefusal
        An unknown placeholder, a brace that is not closed, a second title, or no words at all.
    """
    if len(text) > LONGEST_TEMPLATE:
        raise CaseRefusal(
            f"too long for a letter (got {len(text)} letters, need at most {LONGEST_TEMPLATE})",
            where,
            "Give the text of the template",
        )
    names = tuple(known)
    lines: list[Line] = []
    follows = False
    for number, raw in enumerate(text.splitlines(), 1):
        stripped = raw.strip()
        if stripped.startswith("%"):
            continue
        _check(stripped, names=names, where=f"{where}, line {number}")
        if not stripped:
            follows = False
            continue
        kind, words = _kind(stripped)
        if kind is LineKind.TITLE and any(line.kind is kind for line in lines):
            raise CaseRefusal(
                "a second title (got two lines that begin with '# ', need one)",
                f"{where}, line {number}",
                "Begin headings with '## '",
            )
        if follows and kind is LineKind.TEXT:
            last = lines.pop()
            words = f"{last.text} {words}"
            number = last.number
        lines.append(Line(kind=kind, text=words, number=number))
        follows = kind is LineKind.TEXT
    if not any(line.kind is not LineKind.TITLE for line in lines):
        raise CaseRefusal(
            "no text (got no line but titles and notes, need at least one paragraph)",
            where,
            "Start from the shipped template",
        )
    return tuple(lines)


def filled(text: str, values: Values) -> tuple[str, ...]:
    """
    A line with its placeholders filled in; several where it holds one list and nothing else.

    Parameters
    ----------
    text
        Words with placeholders, checked.
    values
        What stands for each.

    Returns
    -------
    tuple of str
        At least one.
    """
    alone = TOKEN.fullmatch(text.strip())
    if alone is not None and alone[1] is not None:
        value = values[alone[1].strip()]
        shown = value if isinstance(value, tuple) else (value,)
        kept = tuple(line.strip() for line in shown if line.strip())
        return kept or (EMPTY,)
    return (TOKEN.sub(lambda token: _shown(token, values), text),)


def _shown(token: re.Match[str], values: Values) -> str:
    """What stands for one token inside a line."""
    if token[1] is None:
        return token[0][0]
    value = values[token[1].strip()]
    lines = value if isinstance(value, tuple) else (value,)
    words = "; ".join(line.strip().rstrip(".") for line in lines if line.strip())
    return words or EMPTY


def _kind(line: str) -> tuple[LineKind, str]:
    """What a line is, and its words."""
    for start, kind in (
        ("## ", LineKind.HEADING),
        ("# ", LineKind.TITLE),
        ("- ", LineKind.ITEM),
    ):
        if line.startswith(start):
            return kind, line.removeprefix(start).strip()
    return LineKind.TEXT, line


def _check(line: str, *, names: tuple[str, ...], where: str) -> None:
    """Every brace closed, every placeholder known."""
    for token in TOKEN.finditer(line):
        if token[0] in ("{{", "}}"):
            continue
        if token[1] is None:
            raise CaseRefusal(
                f"a brace that stands alone (got '{token[0]}', need '{{name}}')",
                where,
                "Write {{ or }} for a brace in the text",
            )
        name = token[1].strip()
        if name in names:
            continue
        near = get_close_matches(name, names, n=1, cutoff=0.0)
        raise CaseRefusal(
            f"unknown placeholder (got '{{{name}}}', need one of {len(names)} known ones; "
            f"nearest: '{{{near[0]}}}')",
            where,
            f"Write {{{near[0]}}}, or {{{{ and }}}} for braces in the text",
        )
