"""Page one: what stops the plan stands there, and no graft is asked for by a cut length."""

from __future__ import annotations

from dataclasses import replace

import plan_fixture
import pytest

from rimwright.anatomy import Plan, Stance, Statement, spoken_hour
from rimwright.report.blocks import Facts, Items, Table
from rimwright.report.first_page import (
    anchor_table,
    blocking_facts,
    doubts_that_matter,
    first_page,
    graft_sentence,
    lead,
    patient_facts,
    sentence,
)


def test_every_anchor_has_its_row(any_plan: Plan) -> None:
    """As many rows as anchors, in order, each with hour, numbers and state."""
    table = anchor_table(any_plan.planned, plan=any_plan)
    assert [row[1].text for row in table.rows] == [spoken_hour(a.hour) for a in any_plan.anchors]
    for row, anchor in zip(table.rows, any_plan.anchors, strict=True):
        assert row[-1].text.startswith(anchor.status.value)
        assert row[-1].mark
        assert row[5].text == f"{anchor.clearance_joint_mm:.1f}"
    assert table.rows or table.caption.startswith("No anchors: ")


def test_distance_from_the_last_anchor_is_the_arc(plan: Plan) -> None:
    """From 11:06 to 11:42 on a rim of 48 mm: 0.6 h of 12.57 mm, a little more on its wave."""
    table = anchor_table(plan.planned, plan=plan)
    assert table.rows[0][2].text == "–"
    # Source of 12.57 mm per hour: geometry, π·48/12; the 2 mm wave adds up to 2 %.
    assert 7.5 <= float(table.rows[1][2].text) <= 7.75


def test_graft_is_stock_never_a_length_to_cut(any_plan: Plan) -> None:
    """Wherever a graft is planned: at least so much, and the surplus is cut last, in place."""
    for item in any_plan.options:
        words = graft_sentence(item)
        if item.graft is None:
            assert "none" in words or "no stock" in words
            continue
        assert f"at least {item.graft.stock_length_mm:.0f} mm" in words
        assert "not cut to length beforehand" in words
        assert words.endswith("the surplus is cut last, in place.")


def test_refused_anchor_and_stance_against_stand_on_page_one(plan: Plan) -> None:
    """A refused anchor, a statement against, and the option's own stance are told."""
    statement = Statement(statement="Arthroscopy: Tönnis grade 2", stance=Stance.ADVISED_AGAINST)
    texts = [cell.text for cell in blocking_facts(replace(plan, candidacy=(statement,)))]
    assert "Arthroscopy: Tönnis grade 2" in texts
    assert "Anchor 6 at 2:05, refused: no portal reaches this hour." in texts
    against = blocking_facts(plan_fixture.full_plan(planned="debridement"))
    assert any(cell.text == "debridement: advised against." for cell in against)


def test_a_layout_that_failed_says_why() -> None:
    """No anchors where anchors are needed: the reason of the layout stands on page one."""
    plan = plan_fixture.full_plan(planned="repair")
    assert "3:00 is blocked by the joint" in anchor_table(plan.planned, plan=plan).caption
    assert any("no anchors are laid out" in cell.text for cell in blocking_facts(plan))
    assert not any("3:00 is blocked" in cell.text for cell in doubts_that_matter(plan))


def test_doubts_beyond_page_one_are_counted(plan: Plan) -> None:
    """None is dropped in silence."""
    many = replace(plan, cautions=tuple(f"doubt number {n}" for n in range(12)))
    items = [block for block in first_page(many) if isinstance(block, Items)]
    rest = len(doubts_that_matter(many)) - 6
    assert items[-1].items[-1].text == f"{rest} more under Cautions."


def test_doubts_on_the_hip_come_before_notes_on_files(plan: Plan) -> None:
    """A triangle left out of a file never pushes a portal off page one."""
    said = replace(plan, cautions=("pelvis.stl: 4 triangles left out", "no portals: no femur"))
    texts = [cell.text for cell in doubts_that_matter(said)]
    assert texts[-1] == "pelvis.stl: 4 triangles left out."
    assert "No portals: no femur." in texts[:-1]


@pytest.mark.parametrize(
    ("patient", "asks"),
    [({"age": "34"}, True), ({"Name": "A. Person"}, False), ({"hospital number": "7"}, False)],
)
def test_a_second_identifier_is_asked_for_where_it_lacks(
    patient: dict[str, str], asks: bool
) -> None:
    """Two identifiers: the case and one more, or a line to write it on."""
    pairs = patient_facts(replace(plan_fixture.full_plan(), patient=patient))
    assert any(value.strip() == "" for _, value in pairs) is asks


def test_page_one_has_identity_strip_anchors_graft_and_signature(any_plan: Plan) -> None:
    """In this order, whatever is known."""
    kinds = [type(block).__name__ for block in first_page(any_plan)]
    assert kinds[:6] == ["Facts", "Paragraph", "Paragraph", "Picture", "Table", "Paragraph"]
    last = first_page(any_plan)[-1]
    assert isinstance(last, Facts)
    assert last.pairs[0][0] == "Read and signed by"
    assert isinstance(first_page(any_plan)[4], Table)


def test_an_option_that_is_missing_is_said() -> None:
    """A planned option of unknown name is no traceback."""
    assert "was not laid out" in lead(plan_fixture.unknown_plan()).text


def test_sentences_begin_large_and_end_with_a_stop() -> None:
    """But a word with its own capitals keeps its spelling."""
    assert sentence("skin is assumed") == "Skin is assumed."
    assert sentence("mMR was read") == "mMR was read."
    assert sentence("Done.") == "Done."
