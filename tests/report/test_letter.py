"""Letters: shipped templates fill from any plan, the side always stands, nothing is billed."""

from __future__ import annotations

import re
from pathlib import Path

import bony_fixture
import plan_fixture
import pytest
from test_pdf_page import HOSTILE, pages_of

from rimwright.anatomy import Plan, Side
from rimwright.errors import CaseRefusal
from rimwright.evidence import EvidenceTable
from rimwright.report import LetterKind, letter_placeholders, shipped_template, write_letter
from rimwright.report.blocks import Cell, Facts, Heading, Items, Paragraph
from rimwright.report.letter import compose_letter
from rimwright.report.letter_values import letter_values
from rimwright.report.pdf_page import render_pdf
from rimwright.report.wording import NOTICE


def words_of(plan: Plan, template: str, evidence: EvidenceTable) -> list[str]:
    """Text of every block of a letter."""
    document = compose_letter(
        plan, template, kind=LetterKind.REFERRAL, evidence=evidence, issued_on="2026-03-02"
    )
    found: list[str] = [document.title]
    for block in document.first:
        if isinstance(block, Paragraph):
            found.append(block.cell.text)
        if isinstance(block, Heading):
            found.append(block.text)
        if isinstance(block, Items):
            found += [cell.text for cell in block.items if isinstance(cell, Cell)]
    return found


@pytest.mark.parametrize("kind", LetterKind)
def test_shipped_templates_fill_from_any_plan(
    kind: LetterKind, any_plan: Plan, evidence: EvidenceTable, tmp_path: Path
) -> None:
    """Side, case and notice on every page, a line for the signature, no placeholder left."""
    document = compose_letter(
        any_plan, shipped_template(kind), kind=kind, evidence=evidence, issued_on="2026-03-02"
    )
    pages = pages_of(render_pdf(document), tmp_path)
    for page in pages:
        assert NOTICE in page
        assert f"{any_plan.side.value.upper()} hip · case {any_plan.case_id}" in page
    words = " ".join(pages)
    assert "{" not in words
    assert "Read and signed by" in words
    assert isinstance(document.first[-1], Facts)
    assert not re.search(r"\b(safe|recommend\w*|bill\w*|tariff)\b", words, re.IGNORECASE)


def test_every_placeholder_has_a_value(any_plan: Plan, evidence: EvidenceTable) -> None:
    """The list a clinic writes its template from is the list that is filled."""
    values = letter_values(any_plan, evidence=evidence, issued_on="")
    assert list(values) == list(letter_placeholders())
    assert list(letter_placeholders()) == sorted(letter_placeholders())


def test_the_guide_lists_every_placeholder() -> None:
    """What a clinic reads before it writes a template is what the program fills."""
    guide = Path(__file__).parents[2] / "docs" / "how-to" / "letter-templates.md"
    rows = re.findall(r"^\| `\{(\w+)\}` \| (.+) \|$", guide.read_text(encoding="utf-8"), re.M)
    assert dict(rows) == dict(letter_placeholders())


def test_an_empty_plan_says_not_recorded(evidence: EvidenceTable) -> None:
    """Nothing known, nothing made up."""
    words = words_of(
        plan_fixture.unknown_plan(), "{symptoms}\n\nAge: {patient}. {reasons}", evidence
    )
    assert words[1:] == ["not recorded", "Age: not recorded. not recorded"]


def test_the_clinics_record_is_told_with_its_dates(evidence: EvidenceTable) -> None:
    """Worked out by hand from the made record."""
    template = "\n\n".join(
        f"{{{name}}}"
        for name in (
            "symptoms",
            "examination",
            "injections",
            "care_so_far",
            "scores",
            "earlier_operations",
            "referral_summary",
            "worse_case",
            "bony_work",
        )
    )
    assert words_of(bony_fixture.worked_plan(), template, evidence)[1:] == [
        "groin, for 2.5 years, onset gradual (2026-01-05)",
        "flexion 100°, internal rotation at 90° of flexion 10°, impingement sign positive, "
        "apprehension sign negative, laxity score 3 of 9 (2026-01-05)",
        "local anaesthetic, relief partial",
        "physiotherapy, 12 weeks, effect none",
        "iHOT-12 41 points (2026-01-05)",
        "left hip, 2021, labrum sutured",
        "Low coverage: opinion of a surgeon who does osteotomies.",
        "If the remnant is not usable: 2 more anchors, 15 mm more graft.",
        "Bone: rim trimmed 12:00 to 2:00 to 2.5 mm; cam taken from femoral 11:45 "
        "to 3:15, at most 3.0 mm.",
    ]


def test_a_title_without_the_side_gets_it(evidence: EvidenceTable) -> None:
    """Whatever a clinic writes, the head of the letter says which hip."""
    plan = plan_fixture.full_plan(Side.RIGHT)
    assert words_of(plan, "# To whom it concerns\n\nx", evidence)[0] == (
        "To whom it concerns, RIGHT hip"
    )
    assert words_of(plan, "# The {side}\n\nx", evidence)[0] == "The RIGHT hip"
    assert words_of(plan, "x", evidence)[0] == "Letter of referral: RIGHT hip"


def test_every_row_cited_has_its_source(plan: Plan, evidence: EvidenceTable) -> None:
    """Rows named by reasons and roads stand under the sources, with how they were read."""
    words = words_of(plan, "- {reasons}\n- {roads}\n\n{sources}", evidence)
    cited = {id_ for text in words for id_ in re.findall(r"planning:[\d.]*\d(?=[\],])", text)}
    listed = {text.split(": ")[0] for text in words if re.match(r"planning:[\d.]+: ", text)}
    assert cited == listed
    assert any(text.endswith("(from memory)") for text in words)


@pytest.mark.fault
def test_a_bad_template_writes_nothing(plan: Plan, tmp_path: Path) -> None:
    """Refused by the name of its file; the folder stays as it was."""
    with pytest.raises(CaseRefusal, match=r"own\.txt, line 1: unknown placeholder"):
        write_letter(plan, "{sidee}", tmp_path / "new", kind=LetterKind.REFERRAL, where="own.txt")
    assert not (tmp_path / "new").exists()


@pytest.mark.fault
def test_hostile_template_is_printed_as_it_stands(
    plan: Plan, evidence: EvidenceTable, tmp_path: Path
) -> None:
    """Characters that mean something to the typesetter mean nothing in a template."""
    text = HOSTILE.replace("{", "{{").replace("}", "}}")
    document = compose_letter(
        plan, f"Text: {text}", kind=LetterKind.REFERRAL, evidence=evidence, issued_on="2026-03-02"
    )
    flat = " ".join(pages_of(render_pdf(document), tmp_path)).replace(" ", "")
    assert HOSTILE.replace(" ", "") in flat
