"""The colleague's page: five lines, every measurement with spread and status, reasons with rows."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import bony_fixture
import plan_fixture
from test_pdf_page import pages_of

from rimwright.anatomy import MEASUREMENT_KEYS, Plan, Stance, Statement
from rimwright.evidence import EvidenceTable
from rimwright.report.blocks import Document, Items, Table
from rimwright.report.colleague_page import (
    compose_colleague_page,
    five_lines,
    status_notes,
    worse_words,
)
from rimwright.report.html_page import render_html
from rimwright.report.pdf_page import render_pdf


def composed(plan: Plan, evidence: EvidenceTable) -> Document:
    """The page of a plan."""
    return compose_colleague_page(plan, evidence=evidence, issued_on="2026-03-02")


def items(document: Document, title: str) -> Items:
    """The list of a title."""
    return next(b for b in document.first if isinstance(b, Items) and b.title == title)


def test_it_is_one_page_with_its_rows_behind(evidence: EvidenceTable, tmp_path: Path) -> None:
    """Plan, measurements, reasons and doubts on page one; the evidence cited starts page two."""
    pages = pages_of(render_pdf(composed(bony_fixture.worked_plan(), evidence)), tmp_path)
    for words in ("Plan in five lines", "Measurements", "Reasons", "Roads", "Doubts", "Symptoms"):
        assert words in pages[0]
    assert pages[1].partition("draft")[2].find("Evidence") >= 0
    assert "Evidence cited" not in pages[0]


def test_the_plan_is_five_lines(any_plan: Plan) -> None:
    """Labrum, anchors, graft, bone and the worse case, whatever is known."""
    lines = five_lines(any_plan)
    assert len(lines) == 5
    assert lines[2].text.startswith("Graft: ")
    assert lines[3].text.startswith("Bone: ")


def test_lines_are_this_plans(evidence: EvidenceTable) -> None:
    """Worked out by hand from the made plan: 7 anchors, two of them not ok, 15 hours of cam."""
    lines = [cell.text for cell in five_lines(bony_fixture.worked_plan())]
    assert lines[1:] == [
        "7 anchors (1.8 mm by 20 mm) at 11:05, 11:40, 12:20, 12:55, 1:30, 2:05, 2:25; 2 not ok.",
        "Graft: tibialis tendon allograft, 6.0 mm, stock at least 74 mm; cut last.",
        "Bone: rim trimmed 12:00 to 2:00 to 2.5 mm; cam taken from femoral 11:45 to 3:15, at most "
        "3.0 mm.",
        "If the remnant is not usable: 2 more anchors, 15 mm more graft.",
    ]


def test_a_worse_case_that_is_missing_is_said() -> None:
    """An option that rests on a remnant says that nothing was computed; another that none rests."""
    assert worse_words(plan_fixture.full_plan()).endswith("not computed.")
    replaced = plan_fixture.full_plan(planned="segmental reconstruction")
    assert worse_words(replaced) == "Nothing in this option rests on a remnant."
    worse = bony_fixture.worked_plan().worse_plan
    assert worse is not None
    none = replace(worse, anchors_more=0, graft_more_mm=0.0)
    assert worse_words(bony_fixture.worked_plan(worse_plan=none)) == (
        "If the remnant is not usable: no more anchors, no more graft."
    )
    unknown = replace(worse, graft_more_mm=None)
    said = worse_words(bony_fixture.worked_plan(worse_plan=unknown))
    assert said.endswith("2 more anchors, graft length not known.")


def test_every_measurement_has_spread_and_status(plan: Plan, evidence: EvidenceTable) -> None:
    """All of them, one row each; why one is a caution stands under the table."""
    table = next(b for b in composed(plan, evidence).first if isinstance(b, Table))
    assert len(table.rows) == len(MEASUREMENT_KEYS)
    for row in table.rows:
        assert re.search(r"\d(°| mm| %)$|^–$", row[1].text)
        assert row[3].mark
    assert "no sourcil on a mesh" in status_notes(plan).lower()


def test_reasons_and_roads_carry_their_rows(plan: Plan, evidence: EvidenceTable) -> None:
    """And what stands against stays in full, however long it is."""
    assert items(composed(plan, evidence), "Reasons").items[0].evidence == ("planning:4.20",)
    long = "Arthroscopy: " + "a very long ground " * 20
    for stance, is_full in ((Stance.ADVISED_AGAINST, True), (Stance.OPEN, False)):
        statement = Statement(statement=long, stance=stance, evidence=("planning:4.23",))
        document = composed(replace(plan, candidacy=(statement,)), evidence)
        road = items(document, "Roads beside each other").items[0]
        assert (len(road.text) > 300) is is_full
        assert stance.value in road.text
        assert road.evidence == ("planning:4.23",)


def test_links_arrive_and_nothing_is_called_safe(any_plan: Plan, evidence: EvidenceTable) -> None:
    """Every row cited stands behind the page."""
    document = composed(any_plan, evidence)
    html = render_html(document)
    for id_ in re.findall(r'href="#(row-[^"]+)"', html):
        assert f'id="{id_}"' in html
    own = render_html(replace(document, sections=()))
    assert not re.search(r"\b(safe|safely|recommend\w*)\b", own, re.IGNORECASE)
