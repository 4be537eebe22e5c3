"""Pages for people: two files each, the same each time, valid as archive, all or none."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path

import bony_fixture
import pytest
from test_html_page import outline

from rimwright.anatomy import Plan, Side
from rimwright.errors import FileRefusal
from rimwright.report import (
    LetterKind,
    PageFiles,
    PlanMark,
    page_writing,
    shipped_template,
    write_colleague_page,
    write_letter,
    write_patient_page,
    write_two_hips,
)


def write_all(
    plan: Plan, folder: Path, *, issued_on: str = "2026-03-02", mark: PlanMark = PlanMark.DRAFT
) -> list[PageFiles]:
    """Every page of a left hip."""
    right = bony_fixture.worked_plan(Side.RIGHT)
    return [
        write_patient_page(plan, folder, issued_on=issued_on, mark=mark),
        write_colleague_page(plan, folder, issued_on=issued_on, mark=mark),
        *(
            write_letter(
                plan, shipped_template(kind), folder, kind=kind, issued_on=issued_on, mark=mark
            )
            for kind in LetterKind
        ),
        write_two_hips(plan, right, folder, issued_on=issued_on, mark=mark),
    ]


def test_each_page_is_html_and_pdf(tmp_path: Path) -> None:
    """Under its own name; sound elements, no level of heading skipped, archival where dated."""
    made = write_all(bony_fixture.worked_plan(), tmp_path / "new")
    names = {file.name for page in made for file in (page.html, page.pdf)}
    assert names == {
        f"{name}.{kind}"
        for name in (
            "patient",
            "colleague",
            "letter-authorisation",
            "letter-referral",
            "two-hips",
        )
        for kind in ("html", "pdf")
    }
    assert {path.name for path in (tmp_path / "new").iterdir()} == names
    for page in made:
        read = outline(page.html.read_text(encoding="utf-8"))
        assert read.faults == []
        levels = [int(t[1]) for t, _ in read.elements if t in ("h1", "h2", "h3")]
        assert levels[0] == 1
        assert max(b - a for a, b in pairwise(levels)) <= 1
        pdf = page.pdf.read_bytes()
        assert b"pdfuaid:part" in pdf
        assert b"pdfaid:part" in pdf


def test_the_same_plan_gives_the_same_bytes(tmp_path: Path) -> None:
    """No clock is read."""
    plan = bony_fixture.worked_plan()
    one = write_all(plan, tmp_path / "one", issued_on="")
    two = write_all(plan, tmp_path / "two", issued_on="")
    for first, second in zip(one, two, strict=True):
        assert first.html.read_bytes() == second.html.read_bytes()
        assert first.pdf.read_bytes() == second.pdf.read_bytes()
        assert "date not given" in first.html.read_text(encoding="utf-8")


def test_marks_stand_across_every_page(tmp_path: Path) -> None:
    """Draft and superseded across, nothing once signed."""
    plan = bony_fixture.worked_plan()
    for mark, words in (
        (PlanMark.DRAFT, ">draft</div>"),
        (PlanMark.SUPERSEDED, ">superseded</div>"),
    ):
        for page in write_all(plan, tmp_path / mark.value, mark=mark):
            assert words in page.html.read_text(encoding="utf-8")
    for page in write_all(plan, tmp_path / "signed", mark=PlanMark.SIGNED):
        assert 'class="across"' not in page.html.read_text(encoding="utf-8")


@pytest.mark.fault
def test_a_print_that_fails_leaves_the_old_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither file is replaced, no temporary stays."""
    plan = bony_fixture.worked_plan()
    before = write_patient_page(plan, tmp_path).html.read_bytes()

    def broken(document: object) -> bytes:
        raise RuntimeError("typesetter gone")

    monkeypatch.setattr(page_writing, "render_pdf", broken)
    with pytest.raises(RuntimeError):
        write_patient_page(bony_fixture.worked_plan(Side.RIGHT), tmp_path)
    assert (tmp_path / "patient.html").read_bytes() == before
    assert {path.name for path in tmp_path.iterdir()} == {"patient.html", "patient.pdf"}


@pytest.mark.fault
def test_a_place_that_is_a_file_is_refused(tmp_path: Path) -> None:
    """In one line that names the place."""
    (tmp_path / "taken").write_text("x")
    with pytest.raises(FileRefusal, match=r"taken: cannot be written \(File exists\)"):
        write_colleague_page(bony_fixture.worked_plan(), tmp_path / "taken")
