"""What came out of a scan, in words: the scan, its label map, density along a drill."""

from __future__ import annotations

from dataclasses import replace

import plan_fixture
import pytest

from rimwright.anatomy import Modality, Plan, ScanSource, Side
from rimwright.evidence import EvidenceTable
from rimwright.fixation.drill_density import FROM_DEPTH_MM
from rimwright.report.blocks import Facts, Items, Paragraph, Table
from rimwright.report.composition import compose
from rimwright.report.first_page import anchor_table, first_page
from rimwright.report.html_page import render_html
from rimwright.report.pdf_page import render_pdf
from rimwright.report.scan_words import DENSITY_NOTE
from rimwright.report.two_hips import compose_two_hips

SOURCE = ScanSource(
    modality=Modality.CT,
    spacing_mm=(0.7, 0.68, 1.0),
    n_slices=312,
    slice_thickness_mm=1.25,
    has_labels=True,
)


def scanned(plan: Plan, source: ScanSource = SOURCE) -> Plan:
    """The plan as if its hip came from a scan; the last drill is not wholly inside the block."""
    options = []
    for item in plan.options:
        anchors = tuple(
            replace(anchor, density_mean_hu=412.4, density_least_hu=-35.6)
            for anchor in item.anchors[:-1]
        )
        options.append(replace(item, anchors=(*anchors, *item.anchors[-1:])))
    return replace(plan, source=source, options=tuple(options))


def pairs(blocks) -> dict[str, str]:
    """Every pair of name and value in blocks."""
    return {name: value for b in blocks if isinstance(b, Facts) for name, value in b.pairs}


def test_a_source_is_printed_in_one_line() -> None:
    """Modality, spacing with as many decimals as it has, slices; nothing else."""
    assert str(SOURCE) == "CT, 0.7 × 0.68 × 1.0 mm, 312 slices"


@pytest.mark.parametrize(("has_labels", "words"), [(True, "label map used"), (False, "no label")])
def test_page_one_says_what_was_measured(has_labels: bool, words: str) -> None:
    """Page one names the scan and whether a label map was used; from surfaces it says nothing."""
    source = replace(SOURCE, has_labels=has_labels)
    page = pairs(first_page(scanned(plan_fixture.full_plan(), source)))
    assert page["measured in"].startswith("CT, 0.7 × 0.68 × 1.0 mm, 312 slices; " + words)
    assert "measured in" not in pairs(first_page(plan_fixture.full_plan()))


def test_the_back_says_it_in_full(evidence: EvidenceTable) -> None:
    """Slice thickness and label map stand behind; surfaces are named as such."""
    document = compose(scanned(plan_fixture.full_plan()), evidence=evidence)
    by_key = {section.key: pairs(section.blocks) for section in document.sections}
    for key in ("measurements", "settings"):
        assert by_key[key]["Slice thickness"] == "1.25 mm"
        assert by_key[key]["Label map"] == "used to tell the bones apart"
    bones = compose(plan_fixture.full_plan(), evidence=evidence)
    by_key = {section.key: pairs(section.blocks) for section in bones.sections}
    assert by_key["settings"]["Measured on"] == "surfaces of the bones, as given"


def test_density_has_its_column_only_where_it_is_known() -> None:
    """Mean and least in whole HU, a dash for a drill not wholly scanned; none from surfaces."""
    plan = scanned(plan_fixture.full_plan())
    table = anchor_table(plan.planned, plan=plan)
    column = table.header.index("Density\nHU")
    texts = [row[column].text for row in table.rows]
    assert texts == ["412 (−36)"] * (len(texts) - 1) + ["–"]
    assert "density along the drill (HU, this scan)" in table.caption
    bare = plan_fixture.full_plan()
    assert not any("HU" in name for name in anchor_table(bare.planned, plan=bare).header)
    assert all(len(row) == len(table.header) for row in table.rows)


def test_the_caution_stands_with_the_numbers() -> None:
    """Not calibrated, no cut-off, and from which depth: on page one, wherever HU are shown."""
    notes = [
        b.cell.text
        for b in first_page(scanned(plan_fixture.full_plan()))
        if isinstance(b, Paragraph)
    ]
    assert DENSITY_NOTE in notes
    assert "not calibrated between scanners" in DENSITY_NOTE
    assert f"{FROM_DEPTH_MM:g} mm below the entry" in DENSITY_NOTE
    bare = [b.cell.text for b in first_page(plan_fixture.full_plan()) if isinstance(b, Paragraph)]
    assert DENSITY_NOTE not in bare


def test_density_reaches_both_pages(evidence: EvidenceTable, tmp_path) -> None:
    """The column stands in the HTML, and the PDF is set with it."""
    document = compose(scanned(plan_fixture.full_plan()), evidence=evidence)
    assert "412 (−36)" in render_html(document)
    assert render_pdf(document).startswith(b"%PDF")


def test_two_hips_of_one_scan_and_of_two(evidence: EvidenceTable) -> None:
    """One scan is named once; a hip measured otherwise than the other is a doubt."""
    left = scanned(plan_fixture.full_plan(Side.LEFT))
    right = scanned(plan_fixture.full_plan(Side.RIGHT))
    one = compose_two_hips(left, right, evidence=evidence)
    assert "312 slices" in pairs(one.first)["measured in"]
    two = compose_two_hips(left, replace(right, source=None), evidence=evidence)
    assert "measured in" not in pairs(two.first)
    doubts = [c.text for b in two.first if isinstance(b, Items) for c in b.items]
    assert any("surfaces of the bones on the right, CT" in text for text in doubts)


def test_no_table_is_wider_than_its_header(evidence: EvidenceTable) -> None:
    """Every row of every table has a cell for each column, with density and without."""
    for plan in (plan_fixture.full_plan(), scanned(plan_fixture.full_plan())):
        document = compose(plan, evidence=evidence)
        blocks = [*document.first, *(b for s in document.sections for b in s.blocks)]
        for table in (b for b in blocks if isinstance(b, Table)):
            assert {len(row) for row in table.rows} <= {len(table.header)}
