"""Every drawing: well-formed, labelled, in words too, and inside its frame."""

from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import plan_fixture
import pytest

from rimwright.anatomy import Plan, Side, spoken_hour
from rimwright.evidence import EvidenceRow, EvidenceStatus, EvidenceTable
from rimwright.report.composition import compose
from rimwright.report.corridor_chart import draw_corridors
from rimwright.report.curves import draw_alpha, draw_coverage
from rimwright.report.figure import EM, Figure, Lanes, text_width, wrap
from rimwright.report.hour_axes import broken_at_gaps
from rimwright.report.pegs import BADGE_RADIUS, badge_spots, lean_deg, peg_tip
from rimwright.report.ring import draw_ring
from rimwright.report.strip import LEFT, RIGHT, draw_strip
from rimwright.report.unrolled import Unrolled

SVG = "{http://www.w3.org/2000/svg}"


def drawings(plan: Plan, evidence: EvidenceTable) -> list[Figure]:
    """Every drawing of a plan."""
    return [picture.figure for picture in compose(plan, evidence=evidence).pictures()]


def words_in(figure: Figure) -> list[str]:
    """Texts of a drawing, read back from its file."""
    root = ET.fromstring(figure.standalone())
    return ["".join(node.itertext()) for node in root.iter(f"{SVG}text")]


def test_every_drawing_stands_alone_and_says_what_it_is(
    any_plan: Plan, evidence: EvidenceTable
) -> None:
    """Well-formed, role img, title and description named by aria-labelledby, nothing fetched."""
    for figure in drawings(any_plan, evidence):
        root = ET.fromstring(figure.standalone())
        named = {
            node.get("id"): node.text for node in root if node.tag in (f"{SVG}title", f"{SVG}desc")
        }
        assert root.get("role") == "img"
        assert set(root.get("aria-labelledby", "").split()) == set(named)
        assert all((words or "").strip() for words in named.values())
        outside = figure.standalone().replace("http://www.w3.org/2000/svg", "")
        assert "http" not in outside
        assert "url(" not in outside
        assert "NaN" not in outside
        assert "nan" not in re.findall(r'"[^"]*"', outside)


def test_every_word_lies_inside_its_drawing(any_plan: Plan, evidence: EvidenceTable) -> None:
    """No text begins or ends outside the frame (widths are upper estimates: 10 % of grace)."""
    for figure in drawings(any_plan, evidence):
        for node in ET.fromstring(figure.standalone()).iter(f"{SVG}text"):
            words, x, y = "".join(node.itertext()), float(node.get("x", 0)), float(node.get("y", 0))
            classes = (node.get("class") or "").split()
            width = 0.9 * text_width(words)
            left = x - width / 2 if "f-m" in classes else x - width if "f-e" in classes else x
            assert left >= -4, (figure.name, words)
            assert left + width <= figure.width + 4, (figure.name, words)
            assert EM * 0.7 <= y <= figure.height, (figure.name, words)


def test_colour_is_never_the_only_sign(plan: Plan) -> None:
    """States that are not ok stand as words and shapes in the strip."""
    words = words_in(draw_strip(plan))
    assert "12:20 ▲ caution" in words
    assert "2:05 ✕ refused" in words
    assert {"calcified", "unstable tear", "stable tear", "old anchor or tunnel"} <= set(words)


@pytest.mark.parametrize("side", Side)
def test_strip_and_ring_say_anterior_and_posterior(side: Side) -> None:
    """Both words stand in both drawings, on both sides."""
    plan = plan_fixture.full_plan(side)
    strip = " ".join(words_in(draw_strip(plan)))
    assert "9 posterior" in strip
    assert "3 anterior" in strip
    ring = " ".join(words_in(draw_ring(plan)))
    assert "anterior" in ring
    assert "posterior" in ring


@pytest.mark.parametrize(("side", "hand"), [(Side.LEFT, "left"), (Side.RIGHT, "right")])
def test_ring_shows_anterior_on_the_hand_a_lateral_viewer_sees_it(side: Side, hand: str) -> None:
    """The hour 3, the word anterior and the description agree."""
    figure = draw_ring(plan_fixture.full_plan(side))
    nodes = {
        "".join(node.itertext()): float(node.get("x", 0))
        for node in ET.fromstring(figure.standalone()).iter(f"{SVG}text")
        if "f-b" in (node.get("class") or "")
    }
    middle = figure.width / 2
    assert (nodes["3"] < middle) is (hand == "left")
    assert ("← anterior" if hand == "left" else "anterior →") in nodes
    assert (nodes.get("← anterior", middle) < middle) is (hand == "left")
    assert (nodes["9"] < middle) is (hand == "right")
    assert f"anterior on the {hand}" in figure.description


def test_strip_never_mirrors_with_the_side() -> None:
    """Hours increase from left to right on both sides: 9 before 12 before 3."""
    for side in Side:
        root = ET.fromstring(draw_strip(plan_fixture.full_plan(side)).standalone())
        at = {"".join(n.itertext()): float(n.get("x", 0)) for n in root.iter(f"{SVG}text")}
        assert at["9 posterior"] < at["12 cranial"] < at["3 anterior"]


def test_peg_has_the_depth_and_lean_of_its_drill(plan: Plan) -> None:
    """The tip lies the drill's depth away from the rim, leaning as the direction does."""
    rim = plan.hip.rim if plan.hip else None
    assert rim is not None
    track = Unrolled(rim=rim, left=LEFT, right=RIGHT)
    for anchor in plan.anchors:
        tip = np.array(peg_tip(track, rim, anchor=anchor))
        foot = np.array(track.point((anchor.hour - 6) % 12))
        long_mm = np.linalg.norm(tip - foot) / track.units_per_mm
        assert long_mm == pytest.approx(anchor.depth_mm, abs=1e-6)
    # At 1:30 the wave of the rim is level, so its tangent is that of the circle: asin(0.15 /
    # sqrt(1 + 0.15²)) = 8.53 degrees; 0.1 for the tangent taken over two tenths of an hour.
    level = next(anchor for anchor in plan.anchors if anchor.hour == 1.5)
    assert lean_deg(rim, level.hour, level.direction) == pytest.approx(8.53, abs=0.1)


def test_badges_of_pegs_that_converge_do_not_cover_each_other(plan: Plan) -> None:
    """Two drills that meet at their tips still show both numbers, each on its own peg."""
    rim = plan.hip.rim if plan.hip else None
    assert rim is not None
    one, two = plan.anchors[0], plan.anchors[1]
    meeting = (rim.point_at(one.hour) + rim.point_at(two.hour)) / 2 + 15 * rim.bone_inward_at(11.4)
    anchors = [replace(a, direction=meeting - a.entry_mm, depth_mm=15.5) for a in (one, two)]
    track = Unrolled(rim=rim, left=LEFT, right=RIGHT)
    tips = [peg_tip(track, rim, anchor=anchor) for anchor in anchors]
    assert math.dist(*tips) < 2 * BADGE_RADIUS
    first, second = badge_spots(track, rim, anchors=anchors)
    assert math.dist(first, second) >= 2 * BADGE_RADIUS


def test_every_anchor_is_told_in_words(any_plan: Plan) -> None:
    """The description lists each anchor with hour and state."""
    description = draw_strip(any_plan).description
    for place, anchor in enumerate(any_plan.anchors, 1):
        assert (
            f"Anchor {place} at {spoken_hour(anchor.hour)}, {anchor.status.value}." in description
        )


def test_without_a_rim_the_strip_claims_no_millimetres() -> None:
    """It says so, and neither scale nor 'to scale' appears."""
    words = words_in(draw_strip(plan_fixture.map_only_plan()))
    assert any("no rim measured" in line for line in words)
    assert "labrum, width to scale" not in words
    assert "0 mm" not in words
    assert "mm" not in words


def test_unknown_is_said_not_left_out() -> None:
    """A plan of which nothing is known draws hatching and says 'not known'."""
    figure = draw_strip(plan_fixture.unknown_plan())
    assert "not known" in words_in(figure)
    assert 'class="f-hatch"' in figure.standalone()


def test_blocked_hours_name_what_stops_the_drill(plan: Plan) -> None:
    """Cross and word in the chart, sentence in the description; drill and tolerance named."""
    figure = draw_corridors(plan, aiming_error_deg=5.0)
    assert figure is not None
    words = words_in(figure)
    assert "joint" in words
    assert "old anchor" in words
    assert "aiming error 5°" in words
    assert "hour on the rim; drill 1.8 mm, 20 mm deep" in words
    assert "Nothing fits at 3:00: joint." in figure.description


def test_no_corridors_no_chart() -> None:
    """A case without bone has no chart to misread."""
    assert draw_corridors(plan_fixture.map_only_plan(), aiming_error_deg=5.0) is None


def test_curves_break_at_the_notch() -> None:
    """A value that is missing is a gap, not a line across it."""
    hours = np.array([6.0, 7.0, 8.0, 9.0, 10.0, 11.0])
    values = np.array([1.0, 2.0, np.nan, 3.0, 4.0, np.nan])
    assert broken_at_gaps(hours, values) == [[(0.0, 1.0), (1.0, 2.0)], [(3.0, 3.0), (4.0, 4.0)]]
    hip = plan_fixture.made_hip(Side.LEFT)
    figure = draw_coverage(hip)
    assert figure is not None
    assert figure.standalone().count('class="f-line"') == 1


def test_a_curve_runs_on_through_six() -> None:
    """A value at 6 ends the curve as it begins it."""
    runs = broken_at_gaps(np.arange(0.0, 12.0, 3.0), np.array([1.0, 2.0, 3.0, 4.0]))
    assert runs == [[(0.0, 3.0), (3.0, 4.0), (6.0, 1.0), (9.0, 2.0), (12.0, 3.0)]]


def test_a_norm_is_drawn_only_with_its_row() -> None:
    """Published means stand beside the alpha curve with their id, else nothing does."""
    hip = plan_fixture.made_hip(Side.LEFT)
    row = EvidenceRow(
        id="planning:2.38",
        quantity="alpha",
        value="41.6 to 48.1",
        unit="deg",
        population="68 people",
        source="a paper",
        status=EvidenceStatus.ABSTRACT,
        numbers={"low_mean": 41.6, "high_mean": 48.1, "n": 68.0},
    )
    with_row, without = draw_alpha(hip, norm=row), draw_alpha(hip, norm=None)
    assert with_row is not None
    assert without is not None
    assert "41.6 to 48.1°" in words_in(with_row)
    assert not any("published" in words for words in words_in(without))


def test_femoral_hours_are_never_called_hours_of_the_rim() -> None:
    """The alpha curve names its own clock."""
    figure = draw_alpha(plan_fixture.made_hip(Side.LEFT), norm=None)
    assert figure is not None
    assert any("FEMORAL hour" in words for words in words_in(figure))


def test_old_anchor_without_a_place_is_left_out_of_the_drawing(plan: Plan) -> None:
    """Neither hour nor entry: nothing is guessed."""
    old = tuple(replace(a, hour=None, entry_mm=None, direction=None) for a in plan.old_anchors)
    assert "old" not in words_in(draw_strip(replace(plan, old_anchors=old)))


def test_labels_that_would_touch_take_another_lane() -> None:
    """No two labels of one lane overlap, and none leaves the limits."""
    lanes = Lanes(left=0.0, right=400.0, gap=6.0)
    placed: dict[int, list[tuple[float, float]]] = {}
    for x in (5.0, 20.0, 40.0, 200.0, 210.0, 399.0):
        at, lane = lanes.place("12:20 caution", x)
        half = text_width("12:20 caution") / 2
        assert at - half >= 0.0
        assert at + half <= 400.0
        assert all(at + half <= a or at - half >= b for a, b in placed.get(lane, []))
        placed.setdefault(lane, []).append((at - half, at + half))
    assert lanes.n_lanes == len(placed)


def test_wrap_keeps_every_word() -> None:
    """Lines hold all words in order and are no wider than asked for, single words apart."""
    words = "a remnant of which little is known beyond its existence"
    lines = wrap(words, 120.0)
    assert " ".join(lines) == words
    assert all(text_width(line) <= 120.0 or " " not in line for line in lines)
