"""The PDF: tagged, archival where dated, the same bytes each time, and no text of a case acts."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import plan_fixture
import pytest

from rimwright.anatomy import Plan, Side, spoken_hour
from rimwright.evidence import EvidenceTable
from rimwright.report.composition import compose
from rimwright.report.pdf_page import as_data, font_folders, issued_date, render_pdf
from rimwright.report.wording import NOTICE

HOSTILE = '#panic("x") $x^2$ @label *b* _i_ `raw` \\u{41} // gone /* gone */ <tag> #let a = 1 ] } ['


def pages_of(pdf: bytes, folder: Path) -> list[str]:
    """Text of each page, blanks made single."""
    path = folder / "read.pdf"
    path.write_bytes(pdf)
    reader = shutil.which("pdftotext")
    if reader is not None:
        made = subprocess.run([reader, "-raw", path, "-"], check=True, capture_output=True)
        pages = made.stdout.decode().split("\f")[:-1]
    else:
        pypdf = pytest.importorskip("pypdf", reason="neither pdftotext nor pypdf to read a PDF")
        pages = [page.extract_text() for page in pypdf.PdfReader(path).pages]
    return [" ".join(page.split()) for page in pages]


def pdf_of(plan: Plan, evidence: EvidenceTable, issued_on: str = "2026-03-02") -> bytes:
    """The PDF of a plan."""
    return render_pdf(compose(plan, evidence=evidence, issued_on=issued_on))


def test_every_plan_gives_an_accessible_file(any_plan: Plan, evidence: EvidenceTable) -> None:
    """The compiler holds PDF/UA-1 (alternative texts, levels of headings) and PDF/A-2a."""
    made = pdf_of(any_plan, evidence)
    assert made.startswith(b"%PDF-")
    assert b"/MarkInfo" in made
    assert b"pdfuaid:part" in made
    assert b"pdfaid:part" in made


def test_without_a_date_it_is_accessible_but_not_archival(
    plan: Plan, evidence: EvidenceTable
) -> None:
    """An archival file needs a date, and the clock is not read for one."""
    made = pdf_of(plan, evidence, issued_on="")
    assert b"pdfuaid:part" in made
    assert b"pdfaid:part" not in made
    assert not re.search(rb"CreationDate", made)


def test_the_same_plan_gives_the_same_bytes(plan: Plan, evidence: EvidenceTable) -> None:
    """No clock, no random id."""
    assert pdf_of(plan, evidence) == pdf_of(plan, evidence)


def test_every_page_carries_side_case_version_mark_and_notice(
    any_plan: Plan, evidence: EvidenceTable, tmp_path: Path
) -> None:
    """Head and foot of each page."""
    pages = pages_of(pdf_of(any_plan, evidence), tmp_path)
    side = f"{any_plan.side.value.upper()} hip"
    head = f"{side} · case {any_plan.case_id} · version {any_plan.version} · 2026-03-02 · draft"
    for number, words in enumerate(pages, 1):
        assert NOTICE in words
        assert head in words
        assert f"page {number} of {len(pages)}" in words
        assert f"{any_plan.side.other.value.upper()} hip" not in words


def test_page_one_holds_all_anchors_and_the_graft(
    plan: Plan, evidence: EvidenceTable, tmp_path: Path
) -> None:
    """Seven anchors, doubts and the signature line fit on the first page."""
    first = pages_of(pdf_of(plan, evidence), tmp_path)[0]
    table = first.partition("Anchors, augmentation")[2]
    for place, anchor in enumerate(plan.anchors, 1):
        assert re.search(rf"\b{place} {spoken_hour(anchor.hour)}\b", table)
    assert "Graft stock to have in the room: at least 74 mm" in first
    assert "Read and signed by" in first
    assert "Labrum by the clock" not in first


def test_long_anchor_tables_keep_their_rows_whole(evidence: EvidenceTable, tmp_path: Path) -> None:
    """Fourteen anchors: all of them stand in the file, whatever page they fall on."""
    plan = plan_fixture.full_plan(Side.RIGHT, planned="circumferential reconstruction")
    words = " ".join(pages_of(pdf_of(plan, evidence), tmp_path))
    for place, anchor in enumerate(plan.anchors, 1):
        assert f"{place} {spoken_hour(anchor.hour)} " in words


def test_hostile_text_is_printed_as_it_stands(
    plan: Plan, evidence: EvidenceTable, tmp_path: Path
) -> None:
    """Characters that mean something to the typesetter mean nothing here."""
    hostile = replace(
        plan,
        case_id=HOSTILE,
        patient={HOSTILE: HOSTILE},
        cautions=(HOSTILE,),
        digest=HOSTILE,
        orders_of_work=tuple(replace(o, name=HOSTILE) for o in plan.orders_of_work),
    )
    words = " ".join(pages_of(pdf_of(hostile, evidence), tmp_path))
    flat = words.replace(" ", "")
    assert flat.count(HOSTILE.replace(" ", "")) >= 4


def test_data_for_the_template_is_plain(any_plan: Plan, evidence: EvidenceTable) -> None:
    """Every picture has its alternative text, every table as many cells as columns."""
    data = as_data(compose(any_plan, evidence=evidence))
    blocks = [*data["first"], *(b for s in data["sections"] for b in s["blocks"])]
    for block in blocks:
        if block["kind"] == "picture":
            assert block["alt"].strip()
        if block["kind"] == "table":
            assert all(len(row) == len(block["header"]) for row in block["rows"])
            assert len(block["widths"]) == len(block["header"])


def test_dates_are_read_as_written() -> None:
    """Only a whole date counts; other words are printed but make no archival file."""
    assert issued_date("2026-03-02") == (2026, 3, 2)
    assert issued_date("spring 2026") is None
    assert issued_date("2026-13-02") is None


def test_the_font_is_found_without_importing_the_drawing_library() -> None:
    """The sans serif comes as files of an installed package."""
    folders = font_folders()
    assert folders
    assert (Path(folders[0]) / "DejaVuSans.ttf").is_file()


def test_a_long_table_leaves_the_signature_on_page_one(
    evidence: EvidenceTable, tmp_path: Path
) -> None:
    """With fourteen anchors and many doubts, page one still ends with who read it."""
    plan = plan_fixture.full_plan(planned="circumferential reconstruction")
    many = replace(plan, cautions=tuple(f"doubt number {n}" for n in range(12)))
    first = pages_of(pdf_of(many, evidence), tmp_path)[0]
    assert "Read and signed by" in first
    assert "more under Cautions" in first
