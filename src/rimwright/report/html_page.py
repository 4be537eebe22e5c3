"""The report as one HTML file: nothing fetched, readable without its script, printable."""

from __future__ import annotations

import re
from importlib import resources

from rimwright.report.blocks import (
    Block,
    Cell,
    Document,
    Facts,
    Heading,
    Items,
    Paragraph,
    Picture,
    Section,
    Space,
    Table,
)
from rimwright.report.markup import Markup, element, join
from rimwright.report.palette import DARK, LIGHT, figure_rules, variables
from rimwright.report.wording import NOTICE

FILLED_IN = re.compile(r"^\s*$")


def render_html(document: Document) -> str:
    """The whole page as text."""
    head = element(
        "head",
        element("meta", charset="utf-8"),
        element("meta", name="viewport", content="width=device-width, initial-scale=1"),
        element("meta", name="color-scheme", content="light dark"),
        element("title", f"{document.title}, {document.running_head}"),
        element("style", Markup(_style(document))),
    )
    body = element(
        "body",
        element("a", "Skip to the text", href="#plan", class_="skip"),
        _across(document),
        _header(document),
        element("main", _first(document), [_section(s) for s in document.sections], id="plan"),
        element("footer", element("p", NOTICE), element("p", document.running_head)),
        element("script", Markup(_package_text("page.js"))),
        class_="plain" if document.is_plain else None,
    )
    return f'<!doctype html>\n<html lang="en">{head}{body}</html>\n'


def css_text(words: str) -> str:
    """Text for a CSS string: everything but plain letters written as a code point."""
    return "".join(
        c if c.isascii() and (c.isalnum() or c in " .,-") else f"\\{ord(c):x} " for c in words
    )


def _style(document: Document) -> str:
    """Style of the page with both palettes, and head and foot of printed pages."""
    light, dark = variables(LIGHT), variables(DARK)
    palettes = (
        f":root{{{light}}}"
        f"@media (prefers-color-scheme:dark){{:root:not([data-theme=light]){{{dark}}}}}"
        f":root[data-theme=dark]{{{dark}}}"
        f"@media print{{:root:root:root:root{{{light}}}}}"
    )
    page = (
        "@page{size:A4;margin:15mm 12mm 21mm;"
        f'@top-left{{content:"{css_text(document.running_head)}";font:bold 9pt sans-serif;'
        "vertical-align:bottom;padding-bottom:3mm;white-space:nowrap}"
        f'@bottom-left{{content:"{css_text(NOTICE)}";font:7.5pt/1.3 sans-serif;width:158mm;'
        "vertical-align:top;padding-top:3mm;text-align:left}"
        '@bottom-right{content:"page " counter(page) " of " counter(pages);font:8pt sans-serif;'
        "vertical-align:top;padding-top:3mm}}"
    )
    return palettes + figure_rules() + _package_text("page.css") + page


def _package_text(name: str) -> str:
    """A text file of this package."""
    return resources.files("rimwright.report").joinpath(name).read_text(encoding="utf-8")


def _across(document: Document) -> Markup:
    """Draft or superseded across every printed page."""
    if not document.mark:
        return Markup("")
    return element("div", document.mark, class_="across", aria_hidden="true")


def _header(document: Document) -> Markup:
    """Side, identity, version, state; buttons that need the script are hidden without it."""
    mark = element("strong", document.mark, class_="state") if document.mark else None
    parts = [f"Case {document.case_id}", document.shown_version]
    parts.append(document.issued_on or "date not given")
    buttons = element(
        "div",
        element("button", "Light or dark", type="button", data_act="theme"),
        element("button", "Print", type="button", data_act="print"),
        class_="acts",
        hidden=True,
    )
    return element(
        "header",
        element("h1", document.title),
        element("p", " · ".join(parts), " " if mark else None, mark, class_="identity"),
        buttons,
    )


def _first(document: Document) -> Markup:
    """Page one and the way to the rest."""
    links = [element("li", element("a", s.title, href=f"#{s.key}")) for s in document.sections]
    return join(
        [
            element(
                "section",
                element("h2", document.first_title, id="short"),
                [_block(block) for block in document.first],
                class_="first",
                aria_labelledby="short",
            ),
            element("nav", element("ul", links), aria_label="Parts of the page") if links else "",
        ]
    )


def _section(section: Section) -> Markup:
    """One part."""
    title = element("h2", section.title, id=f"{section.key}-title")
    blocks = [_block(block) for block in section.blocks]
    return element("section", title, blocks, id=section.key, aria_labelledby=f"{section.key}-title")


def _block(block: Block) -> Markup:
    """One block."""
    match block:
        case Paragraph():
            return element("p", _cell(block.cell), class_=block.tone.value)
        case Heading():
            mark = (
                element("span", block.mark, aria_hidden="true", class_="mark")
                if block.mark
                else None
            )
            return element("h3", mark, " " if mark else None, block.text)
        case Facts():
            return element(
                "dl", [_fact(name, value) for name, value in block.pairs], class_="facts"
            )
        case Items():
            entries = [element("li", _cell(cell)) for cell in block.items]
            title = element("h3", block.title) if block.title else None
            marked = "marked" if all(cell.mark for cell in block.items) else None
            kind = "ol" if block.is_numbered else "ul"
            return join([title, element(kind, entries, class_=marked)])
        case Picture():
            return _picture(block)
        case Space():
            lines = [element("div", class_="rule") for _ in range(block.n_lines)]
            title = element("h3", block.title)
            return element("div", title, lines, class_="space")
        case Table():
            return _table(block)


def _fact(name: str, value: str) -> Markup:
    """A pair; a blank value is a line to write on."""
    blank = FILLED_IN.match(value) is not None
    shown = element("dd", "" if blank else value, class_="blank" if blank else None)
    return element("div", element("dt", name), shown)


def _picture(picture: Picture) -> Markup:
    """A drawing; on a narrow screen it scrolls in its own frame, by keyboard too."""
    frame = element(
        "div",
        picture.figure.inline(),
        class_="frame narrow" if picture.is_narrow else "frame",
        tabindex="0",
        role="group",
        aria_label=f"{picture.figure.title}, drawing",
    )
    title = element("strong", f"{picture.figure.title}. ")
    return element("figure", frame, element("figcaption", title, picture.caption))


def _table(table: Table) -> Markup:
    """A table; one without rows is its caption alone."""
    if not table.rows:
        return element("p", element("strong", table.caption))
    wide = dict.fromkeys(table.wide, "wide")
    head = element("tr", [element("th", _lines(h), scope="col") for h in table.header])
    rows = []
    for place, row in enumerate(table.rows, 1):
        first = element("th", _cell(row[0]), scope="row", class_=wide.get(0))
        rest = [element("td", _cell(c), class_=wide.get(k)) for k, c in enumerate(row[1:], 1)]
        anchor = str(place) if table.anchor_rows else None
        row_id = evidence_id(row[0].text) if table.is_evidence else None
        rows.append(element("tr", first, rest, data_anchor=anchor, id=row_id))
    inner = element(
        "div",
        element(
            "table",
            element("caption", table.caption),
            element("thead", head),
            element("tbody", rows),
        ),
        class_="scroll",
        tabindex="0",
        role="group",
        aria_label=table.caption,
    )
    if not table.is_folded:
        return inner
    return element("details", element("summary", f"Table: {table.caption}"), inner)


def _lines(words: str) -> list[Markup]:
    """Words with their line breaks."""
    first, *rest = words.split("\n")
    return [join(first), *(join([element("br"), line]) for line in rest)]


def evidence_id(id_: str) -> str:
    """The id of an evidence row on the page."""
    return "row-" + re.sub(r"[^A-Za-z0-9]+", "-", id_)


def _cell(cell: Cell) -> Markup:
    """Shape, words, rows of evidence, and the longer text one click away."""
    parts: list[Markup] = []
    if cell.mark:
        parts.append(element("span", cell.mark, class_="mark", aria_hidden="true"))
        parts.append(Markup(" "))
    parts.append(element("strong", cell.text) if cell.is_strong else join(cell.text))
    for id_ in cell.evidence:
        parts.append(Markup(" "))
        parts.append(element("a", id_, href=f"#{evidence_id(id_)}", class_="cite"))
    if cell.detail:
        summary = element("summary", cell.detail_name)
        parts.append(element("details", summary, element("p", cell.detail), class_="method"))
    return join(parts)
