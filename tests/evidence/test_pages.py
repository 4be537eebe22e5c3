"""The evidence pages hold every row and setting, and their tables keep their columns."""

from __future__ import annotations

import re

from rimwright.evidence import anchor_of, evidence_pages, load_evidence
from rimwright.evidence.pages import _escaped

PAGES = evidence_pages()
TABLE = load_evidence()


def test_index_lists_every_page():
    """The table of contents names each page once."""
    for name in PAGES:
        if name != "index.md":
            assert PAGES["index.md"].count(f"\n{name.removesuffix('.md')}\n") == 1


def test_every_row_has_one_anchor_and_shows_its_status():
    """A row can be linked to, and stands with the status it has."""
    lines = [line for text in PAGES.values() for line in text.splitlines()]
    for row in TABLE.rows.values():
        found = [line for line in lines if f'<a id="{anchor_of(row.id)}"></a>' in line]
        assert len(found) == 1
        assert f"| {row.status}" in found[0]


def test_every_setting_is_shown():
    """No default acts without standing on a page."""
    for name in TABLE.settings:
        assert f"`{name}`" in PAGES["settings.md"]


def test_links_reach_an_anchor():
    """Each link between the pages ends at an anchor on the page it names."""
    for text in PAGES.values():
        for page, anchor in re.findall(r'href="([a-z-]+)\.html#([A-Za-z0-9-]+)"', text):
            assert f'<a id="{anchor}"></a>' in PAGES[f"{page}.md"]


def test_tables_keep_their_columns():
    """A bar inside a cell would shift the columns: every line of a table has the same number."""
    for name, text in PAGES.items():
        widths: set[int] = set()
        for line in text.splitlines():
            if line.startswith("|"):
                widths.add(len(re.findall(r"(?<!\\)\|", line)))
            elif widths:
                assert len(widths) == 1, name
                widths = set()


def test_marks_of_markup_are_escaped():
    """Bars, stars and signs of comparison in a cell are text."""
    assert _escaped("a | b * c < d") == "a \\| b \\* c &lt; d"
    assert _escaped('<a id="x"></a>1') == '<a id="x"></a>1'


def test_comparison_signs_are_not_read_as_markup():
    """A '<' of a cut-off is text; only our own anchors are markup."""
    for text in PAGES.values():
        assert not re.search(r"<(?!/?a\b)", text)
