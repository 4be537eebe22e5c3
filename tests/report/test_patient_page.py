"""The patient's page: one sheet, every choice on it, nothing advised, the side in words."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import bony_fixture
import plan_fixture
import pytest
from test_html_page import HOSTILE, outline
from test_pdf_page import pages_of

from rimwright.anatomy import LabrumMap, Plan, Side, Stance, Statement
from rimwright.evidence import EvidenceTable
from rimwright.report.blocks import Document, Space, Table
from rimwright.report.html_page import render_html
from rimwright.report.patient_page import compose_patient_page
from rimwright.report.pdf_page import render_pdf
from rimwright.report.plain_ring import draw_plain_ring, parts_of
from rimwright.report.plain_words import plain_roads
from rimwright.report.wording import NOTICE


def composed(plan: Plan, evidence: EvidenceTable) -> Document:
    """The page of a plan."""
    return compose_patient_page(plan, evidence=evidence, issued_on="2026-03-02")


def choices(document: Document) -> Table:
    """The table of choices."""
    return next(b for b in document.first if isinstance(b, Table))


def test_the_talk_fits_on_one_page(evidence: EvidenceTable, tmp_path: Path) -> None:
    """Every choice, the picture and the lines to write on; sources stand on the back."""
    for plan in (plan_fixture.full_plan(Side.RIGHT), bony_fixture.worked_plan(Side.LEFT)):
        pages = pages_of(render_pdf(composed(plan, evidence)), tmp_path)
        assert len(pages) == 2
        assert all(road.name.split()[0] in pages[0] for road in plain_roads())
        assert "Your notes and questions" in pages[0]
        assert "Where the reports come from" in pages[1]


def test_every_choice_stands_beside_the_others(any_plan: Plan, evidence: EvidenceTable) -> None:
    """All nine whatever is known; none is marked, none is set apart, no operation is first."""
    table = choices(composed(any_plan, evidence))
    assert [row[0].text for row in table.rows] == [road.name for road in plain_roads()]
    assert not any(cell.mark for row in table.rows for cell in row)
    assert all(cell.text for row in table.rows for cell in row)


def test_the_option_shown_first_is_not_held_out_to_the_patient(evidence: EvidenceTable) -> None:
    """Two plans that differ in the option shown first alone give the same page."""
    one = composed(plan_fixture.full_plan(planned="augmentation"), evidence)
    two = composed(plan_fixture.full_plan(planned="debridement"), evidence)
    assert render_html(one) == render_html(two)


def test_stances_are_this_hips(evidence: EvidenceTable) -> None:
    """In the last column, in plain words; a road that nothing brings up says so."""
    nothing = Statement(
        statement="Osteotomy of the femur: nothing that is known speaks for it", stance=Stance.OPEN
    )
    plan = replace(plan_fixture.full_plan(), candidacy=(nothing,))
    said = {row[0].text: row[-1].text for row in choices(composed(plan, evidence)).rows}
    assert said["Turn the thigh bone"] == "Nothing found in this hip brings it up."
    assert said["Mend the ring"] == "Not possible here. Ask why."
    assert said["No operation"] == "Stays open to you."
    assert said["Artificial joint"] == "Not judged here."


def test_nothing_advises_promises_or_scores(any_plan: Plan, evidence: EvidenceTable) -> None:
    """In no word of the page, and no per cent anywhere."""
    html = render_html(composed(any_plan, evidence))
    words = " ".join(data for tag, data in outline(html).text if tag not in ("style", "script"))
    words = words.replace("It does not advise or promise anything.", "")
    assert not re.search(
        r"recommend|\bsafe|should|\bscore|\badvise|\bpromise|best\b|%", words, re.IGNORECASE
    )


def test_sources_are_numbered_as_cited(evidence: EvidenceTable) -> None:
    """Each number in brackets on page one is a row of the list on the back, and the other way."""
    document = composed(plan_fixture.full_plan(), evidence)
    cited = {
        int(n)
        for row in choices(document).rows
        for group in re.findall(r"\[([\d, ]+)\]", row[2].text)
        for n in group.split(",")
    }
    listed = next(b for b in document.sections[0].blocks if isinstance(b, Table))
    assert cited == {int(row[0].text) for row in listed.rows}
    first = plain_roads()[1]
    place = int(re.findall(r"\[(\d+)", choices(document).rows[1][2].text)[0])
    assert listed.rows[place - 1][3].text == first.evidence[0]


@pytest.mark.parametrize("side", Side)
def test_side_name_and_notice(side: Side, evidence: EvidenceTable) -> None:
    """The side in words, a line for the name where none is known, the notice, room to write."""
    document = composed(plan_fixture.full_plan(side), evidence)
    html = render_html(document)
    assert f"<h1>Your {side.value} hip: what could be done</h1>" in html
    assert f"{side.other.value} hip" not in html
    assert f"{side.other.value.upper()} hip" not in html
    assert NOTICE in html
    assert '<dd class="blank"></dd>' in html
    assert any(isinstance(b, Space) and b.n_lines >= 3 for b in document.first)
    named = replace(plan_fixture.full_plan(side), person="P-17")
    assert '<dd class="blank"></dd>' not in render_html(composed(named, evidence))


def test_what_the_patient_told_is_told_back(evidence: EvidenceTable) -> None:
    """Duration, what was tried and what it did, earlier operations of this hip."""
    html = render_html(composed(bony_fixture.worked_plan(), evidence))
    assert "It has hurt for 2.5 years." in html
    assert "Tried: physiotherapy (did not help)." in html
    assert "Operated on before: 2021." in html
    assert "You told us" not in render_html(composed(plan_fixture.full_plan(), evidence))


def test_the_picture_says_what_is_not_known(evidence: EvidenceTable) -> None:
    """A map without sectors is one part, not known; unknown parts share one number."""
    bare = parts_of(LabrumMap())
    assert [part.look.value for part in bare] == ["not known"]
    assert "does not mean healthy" in bare[0].words
    plan = plan_fixture.full_plan()
    parts = parts_of(plan.labrum)
    assert len({part.number for part in parts}) == len(plan.labrum.sectors) + 1
    assert not re.search(r"\d (mm|°)", draw_plain_ring(plan).description)


def test_front_is_drawn_where_it_is(evidence: EvidenceTable) -> None:
    """Seen from its own side the front of a right hip lies to the right, of a left to the left."""
    places = {}
    for side in Side:
        body = draw_plain_ring(plan_fixture.full_plan(side)).body
        spots = {w: float(x) for x, w in re.findall(r'x="([\d.]+)"[^>]*>(front|back)<', body)}
        places[side] = spots["front"] - spots["back"]
    assert places[Side.RIGHT] > 0 > places[Side.LEFT]


def test_hostile_text_stays_text(evidence: EvidenceTable) -> None:
    """A case name that is markup changes no element of the page."""
    calm = outline(render_html(composed(plan_fixture.full_plan(), evidence)))
    plan = replace(plan_fixture.full_plan(), case_id=HOSTILE, person=HOSTILE)
    read = outline(render_html(composed(plan, evidence)))
    assert read.faults == []
    assert [tag for tag, _ in read.elements] == [tag for tag, _ in calm.elements]
