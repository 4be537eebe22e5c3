"""Two hips: only of one person, one of each side, differences with their spread."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import bony_fixture
import plan_fixture
import pytest
from test_html_page import outline
from test_pdf_page import pages_of

from rimwright.anatomy import Measurement, Plan, Side
from rimwright.errors import CaseRefusal
from rimwright.evidence import EvidenceTable
from rimwright.report import write_two_hips
from rimwright.report.blocks import Document, Items, Table
from rimwright.report.html_page import render_html
from rimwright.report.pdf_page import render_pdf
from rimwright.report.two_hips import compose_two_hips, difference_words
from rimwright.report.wording import NOTICE


def both(**changes: object) -> tuple[Plan, Plan]:
    """Left and right; changes go to the right one."""
    right = plan_fixture.full_plan(Side.RIGHT, planned="repair")
    return plan_fixture.full_plan(Side.LEFT), replace(right, **changes)  # type: ignore[arg-type]


def composed(left: Plan, right: Plan, evidence: EvidenceTable) -> Document:
    """The page of two plans."""
    return compose_two_hips(left, right, evidence=evidence, issued_on="2026-03-02")


def table(document: Document, caption: str) -> dict[str, tuple[str, ...]]:
    """Rows of a table by their name."""
    found = next(b for b in document.first if isinstance(b, Table) and b.caption == caption)
    return {row[0].text: tuple(cell.text for cell in row[1:]) for row in found.rows}


def reading(value: float | None, spread: float | None = 1.0, method: str = "m") -> Measurement:
    """A measurement in degrees."""
    if value is None:
        return Measurement.refused("deg", "not seen")
    return Measurement(value=value, unit="deg", method=method, spread=spread)


@pytest.mark.parametrize(
    ("right", "left", "words"),
    [
        # two SD of the difference of two readings of 1° each are 2·√2 = 2.83°
        (reading(32.8), reading(30.0), "2.8°, within the spread"),
        (reading(32.9), reading(30.0), "2.9°, beyond the spread"),
        (reading(27.1), reading(30.0), "−2.9°, beyond the spread"),
        (reading(30.0, None), reading(29.0), "1.0°, spread not made"),
        (reading(30.0, method="a"), reading(29.0), "1.0°, taken by different methods"),
        (reading(None), reading(29.0), "–"),
        (None, reading(29.0), "–"),
    ],
)
def test_a_difference_is_told_with_its_spread(
    right: Measurement | None, left: Measurement | None, words: str
) -> None:
    """Right minus left; beyond two standard deviations of both together it is one."""
    assert difference_words(right, left) == words


def test_each_column_is_its_own_hip(evidence: EvidenceTable) -> None:
    """Option, anchors and measures stand under the side they belong to."""
    left, right = both()
    assert left.hip is not None
    other = dict(left.hip.measurements)
    other["tonnis_angle"] = replace(other["tonnis_angle"], value=99.0)
    left = replace(left, hip=replace(left.hip, measurements=other))
    document = composed(left, right, evidence)
    plans = table(document, "Plans and stances")
    assert plans["Shown first"] == ("repair", "augmentation")
    assert plans["Anchors"][0] == "None laid out."
    assert plans["Anchors"][1].startswith("7 anchors")
    measures = table(document, "Measurements")
    assert measures["Tönnis angle"][1].startswith("99.0°")
    assert not measures["Tönnis angle"][0].startswith("99.0°")


@pytest.mark.fault
def test_two_plans_of_one_side_are_refused() -> None:
    """Said which side was given and which is needed."""
    left, right = both()
    with pytest.raises(CaseRefusal) as caught:
        compose_two_hips(right, left, evidence=None)  # type: ignore[arg-type]
    assert str(caught.value) == (
        "case demo-01: the plan given as the left hip is of the other side (got right, need left). "
        "Give one plan of each side, the left one first."
    )
    with pytest.raises(CaseRefusal, match="given as the right hip"):
        compose_two_hips(left, left, evidence=None)  # type: ignore[arg-type]


@pytest.mark.fault
@pytest.mark.parametrize("name", ["person", "hospital number"])
def test_two_persons_are_refused_without_naming_them(name: str, tmp_path: Path) -> None:
    """No name is repeated in the message, nothing is written."""
    left, right = both()
    if name == "person":
        left, right = replace(left, person="Ada"), replace(right, person="Bea")
    else:
        left = replace(left, patient={name: "Ada"})
        right = replace(right, patient={name: "Bea"})
    with pytest.raises(CaseRefusal) as caught:
        write_two_hips(left, right, tmp_path / "new")
    assert f"different persons (got two values of '{name}'" in str(caught.value)
    assert "Ada" not in str(caught.value)
    assert not (tmp_path / "new").exists()


def test_what_one_person_cannot_have_twice_is_said(evidence: EvidenceTable) -> None:
    """Two ages or other settings are no refusal, but a doubt."""
    left, right = both(patient={"age": "50"}, settings={"margin_joint_mm": 3.0})
    document = composed(left, right, evidence)
    found = next(
        b for b in document.first if isinstance(b, Items) and b.title.startswith("The two plans")
    )
    words = " ".join(cell.text for cell in found.items)
    assert "Age: 50 in the plan of the right hip, 34 in that of the left." in words
    assert "margin_joint_mm" in words


def test_hips_without_images_still_stand_side_by_side(evidence: EvidenceTable) -> None:
    """A hip that was not measured says so in every row."""
    document = composed(
        plan_fixture.full_plan(Side.LEFT), plan_fixture.map_only_plan(Side.RIGHT), evidence
    )
    rows = table(document, "Measurements")
    assert {row[0] for row in rows.values()} == {"not measured"}
    assert {row[2] for row in rows.values()} == {"–"}


def test_page_and_print_are_sound(evidence: EvidenceTable, tmp_path: Path) -> None:
    """Elements nest, both sides and the notice head and foot every page, links arrive."""
    left, right = bony_fixture.worked_plan(Side.LEFT), bony_fixture.worked_plan(Side.RIGHT)
    document = composed(left, right, evidence)
    read = outline(render_html(document))
    assert read.faults == []
    assert read.open == []
    ids = {attrs.get("id") for _, attrs in read.elements}
    assert all((a["href"] or "")[1:] in ids for tag, a in read.elements if tag == "a")
    for page in pages_of(render_pdf(document), tmp_path):
        assert NOTICE in page
        assert "RIGHT hip and LEFT hip · case demo-01 · versions 2 (right), 2 (left)" in page
    own = render_html(replace(document, sections=()))
    assert not re.search(r"\b(safe|recommend\w*)\b", own, re.IGNORECASE)
