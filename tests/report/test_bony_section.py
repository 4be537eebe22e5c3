"""Work on bone: limits and statuses in words, charts that end where the numbers do."""

from __future__ import annotations

import re
from dataclasses import replace

import bony_fixture
import numpy as np
import plan_fixture
import pytest

from rimwright.anatomy import Plan, Side
from rimwright.evidence import EvidenceTable
from rimwright.report.blocks import Items, Section, Table
from rimwright.report.bony_section import bony_section, with_rows
from rimwright.report.cam_charts import deepest_hour, draw_cam_contour, draw_cam_hours
from rimwright.report.composition import compose
from rimwright.report.html_page import render_html
from rimwright.report.revision_section import revision_section
from rimwright.report.trim_charts import draw_trim_hours, draw_trim_steps
from rimwright.report.worse_section import worse_section


def section_of(plan: Plan) -> Section:
    """The section of a plan that has one."""
    found = bony_section(plan)
    assert found is not None
    return found


def rows(section: Section, caption: str) -> list[tuple[str, ...]]:
    """Rows of a table as text."""
    table = next(b for b in section.blocks if isinstance(b, Table) and b.caption == caption)
    return [tuple(cell.text for cell in row) for row in table.rows]


def test_what_is_not_planned_has_no_section(evidence: EvidenceTable) -> None:
    """A plan without bony work, revision or worse case is printed without them."""
    plan = plan_fixture.full_plan()
    assert bony_section(plan) is None
    assert revision_section(plan) is None
    assert worse_section(plan) is None
    keys = {section.key for section in compose(plan, evidence=evidence).sections}
    assert not keys & {"bone", "revision", "worse"}
    whole = compose(bony_fixture.worked_plan(), evidence=evidence)
    assert {"bone", "revision", "worse"} <= {section.key for section in whole.sections}


def test_limits_stand_with_room_status_and_unit() -> None:
    """2.5 mm at 1°/mm from 27° is 24.5°, under 25°, which is met at 2.0 mm; per cent stay so."""
    said = rows(section_of(bony_fixture.worked_plan()), "Limits of coverage in force")
    assert said[0][1:] == ("25.0°", "27.0°", "24.5°", "2.0 mm", "no", "from memory")
    assert said[1][1:] == ("20.0°", "26.0°", "21.0°", "3.0 mm", "yes", "from memory")
    assert said[2][1:] == ("25.0 %", "21.0 %", "23.5 %", "4.0 mm", "yes", "from memory")


def test_published_figures_stand_beside_the_hip_with_their_status() -> None:
    """As text; one from memory says so, and one without a number has none made up."""
    said = rows(
        section_of(bony_fixture.worked_plan()),
        "Published figures at this depth, beside this hip's geometry",
    )
    assert said[0][1:] == ("−3.4°", "−2.5°", "from memory")
    assert said[1][1:] == ("no number", "–", "abstract read")


def test_warnings_come_before_the_charts() -> None:
    """A limit that is crossed is read before any picture."""
    kinds = [type(block).__name__ for block in section_of(bony_fixture.worked_plan()).blocks]
    assert kinds.index("Items") < kinds.index("Picture")
    section = section_of(bony_fixture.worked_plan())
    first = next(b for b in section.blocks if isinstance(b, Items))
    assert first.items[0].text == "The lateral centre-edge angle falls under its limit."


def test_steps_are_drawn_to_their_ends() -> None:
    """Three panels; the description holds the first and last value and where the limit is met."""
    figure = draw_trim_steps(bony_fixture.made_trim_effect())
    assert figure is not None
    assert "27.0° at 0 mm, 21.0° at 6 mm; limit 25.0°, met at 2.0 mm." in figure.description
    assert figure.body.count("f-limit") == 3
    assert "planned 2.5 mm" in figure.body
    curve = re.findall(r'<path d="M([^"]+)" class="f-line"', figure.body)[0]
    heights = [float(spot.split()[1]) for spot in curve.split("L")]
    assert heights == sorted(heights), "an angle that falls is drawn falling"


def test_nothing_trimmed_draws_nothing() -> None:
    """No steps, no chart; the section says that nothing is taken."""
    effect = replace(bony_fixture.made_trim_effect(0.0), trims=(), steps=())
    assert draw_trim_steps(effect) is None
    assert draw_trim_hours(effect) is None
    plan = bony_fixture.worked_plan(trim_effect=effect, cam_plan=None)
    assert "Planned: nothing is taken." in [
        block.cell.text for block in section_of(plan).blocks if hasattr(block, "cell")
    ]


def test_hours_tell_the_deepest_and_the_most_lost() -> None:
    """2.4° for each of 2.5 mm is 6.0°, first reached at the start of the plateau, 12:30."""
    figure = draw_trim_hours(bony_fixture.made_trim_effect())
    assert figure is not None
    assert figure.description == ("Deepest 2.5 mm at 12:30; most coverage lost 6.0° at 12:30.")


def test_cam_charts_tell_target_depth_and_femoral_clock() -> None:
    """3 mm at femoral 1:30, alpha 75° there before and 50° after."""
    cam = bony_fixture.made_cam_plan()
    figure = draw_cam_hours(cam)
    assert figure is not None
    assert figure.description == (
        "Largest alpha before 75.0° at femoral hour 1:30, after 50.0°; target 50.0°. "
        "Deepest 3.0 mm at femoral hour 1:30."
    )
    assert "FEMORAL hour" in figure.body
    contour = draw_cam_contour(cam)
    assert contour is not None
    assert "at most 3.0 mm is taken" in contour.description


def test_the_contour_is_to_scale() -> None:
    """The bar of 5 mm is as long as 5 mm of the contour: the head is 24 mm over the axis."""
    cam = bony_fixture.made_cam_plan()
    figure = draw_cam_contour(cam)
    assert figure is not None
    bar = re.findall(r'<path d="M([\d.]+) 70L([\d.]+) 70" class="f-rim"', figure.body)[0]
    units_per_mm = (float(bar[1]) - float(bar[0])) / 5.0
    after = re.findall(r'<path d="M([^"]+)" class="f-line"', figure.body)[-1]
    highest = min(float(spot.split()[1]) for spot in after.split("L"))
    axis = float(re.findall(r'<path d="M[\d.]+ ([\d.]+)L[^"]+" class="f-axis"', figure.body)[0])
    # on a circle of 24 mm sampled each degree the top is met within 0.01 mm
    assert axis - highest == pytest.approx(24.0 * units_per_mm, abs=0.05 * units_per_mm)


def test_a_cam_that_is_not_there_draws_no_contour() -> None:
    """Nothing taken, nothing drawn; alpha is still told."""
    cam = bony_fixture.made_cam_plan()
    none = replace(
        cam, depth_mm=np.zeros(len(cam.femoral_hours)), resected_hours=np.zeros(0, dtype=int)
    )
    assert deepest_hour(none) is None
    assert draw_cam_contour(none) is None
    figure = draw_cam_hours(none)
    assert figure is not None
    assert "No bone has to go for this target." in figure.description


def test_rows_named_in_a_sentence_are_linked() -> None:
    """Only where the brackets end it and hold nothing but rows."""
    cell = with_rows("sources disagree (planning:2.35, planning:C8)")
    assert (cell.text, cell.evidence) == ("Sources disagree.", ("planning:2.35", "planning:C8"))
    cell = with_rows("weakens it (from memory, planning:2.35)", mark="▲")
    assert (cell.text, cell.evidence) == ("Weakens it (from memory, planning:2.35).", ())
    assert cell.mark == "▲"


def test_revision_says_what_an_empty_image_does_not_prove() -> None:
    """Each finding with place, size and what it is seen on; an unknown place blocks nothing."""
    section = revision_section(bony_fixture.worked_plan())
    assert section is not None
    note = section.blocks[0]
    assert "does not prove a free rim" in note.cell.text  # type: ignore[union-attr]
    said = rows(section, "Findings")
    assert said[0][:4] == ("anchor", "1:10", "2.9 mm across, 15.0 mm into bone", "CT")
    assert said[1][:4] == ("earlier trim", "12:00 to 2:00", "2.0 mm deep", "operation note")
    assert (said[0][4], said[1][4]) == ("drills keep clear of it", "told, blocks no drill")
    assert said[2][1] == "place not known"
    assert said[2][4] == "blocks nothing: its place is not known"


@pytest.mark.parametrize("side", Side)
def test_the_report_with_everything_names_no_other_side(
    side: Side, evidence: EvidenceTable
) -> None:
    """Nor does it call anything safe; every row cited stands in it."""
    document = compose(bony_fixture.worked_plan(side), evidence=evidence)
    html = render_html(document)
    assert f"{side.other.value.upper()} hip" not in html
    for id_ in re.findall(r'href="#(row-[^"]+)"', html):
        assert f'id="{id_}"' in html
    own = replace(document, sections=tuple(s for s in document.sections if s.key != "evidence"))
    assert not re.search(r"\b(safe|safely|recommend\w*)\b", render_html(own), re.IGNORECASE)
