"""The page: sound structure, everything labelled, nothing fetched, nothing from a case acts."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import plan_fixture
import pytest

from rimwright.anatomy import LabrumMap, Plan, Side, spoken_hour
from rimwright.evidence import EvidenceTable
from rimwright.report.composition import PlanMark, compose
from rimwright.report.html_page import css_text, render_html
from rimwright.report.palette import DARK, LIGHT
from rimwright.report.wording import NOTICE

HOSTILE = """</style><script>alert("x")</script> ' \\ # $ @ * _ ` ] [ { } // <b> &amp; \u202e ü"""
VOID = {"meta", "link", "br", "hr", "img", "input"}


class Outline(HTMLParser):
    """Tags in order, with the text directly under each, and whether they nest."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.faults: list[str] = []
        self.text: list[tuple[str, str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if not self.open or self.open.pop() != tag:
            self.faults.append(tag)

    def handle_data(self, data: str) -> None:
        self.text.append((self.open[-1] if self.open else "", data))


def outline(html: str) -> Outline:
    """A page read by a plain parser."""
    reader = Outline()
    reader.feed(html)
    reader.close()
    return reader


def page(plan: Plan, evidence: EvidenceTable, **more: object) -> str:
    """The page of a plan."""
    return render_html(compose(plan, evidence=evidence, **more))  # type: ignore[arg-type]


def test_elements_nest_and_close(any_plan: Plan, evidence: EvidenceTable) -> None:
    """Every element is closed by its own end tag."""
    read = outline(page(any_plan, evidence))
    assert read.faults == []
    assert read.open == []


def test_headings_go_down_one_level_at_a_time(any_plan: Plan, evidence: EvidenceTable) -> None:
    """One h1, then no level is skipped on the way down."""
    read = outline(page(any_plan, evidence))
    levels = [int(tag[1]) for tag, _ in read.elements if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))


def test_ids_are_unique_and_links_arrive(any_plan: Plan, evidence: EvidenceTable) -> None:
    """Every link goes to an id of the page, every aria reference too, and no id stands twice."""
    read = outline(page(any_plan, evidence))
    ids = [attrs["id"] for _, attrs in read.elements if attrs.get("id")]
    assert len(ids) == len(set(ids))
    for tag, attrs in read.elements:
        if tag == "a":
            assert (attrs["href"] or "").lstrip("#") in ids
        for name in (attrs.get("aria-labelledby") or "").split():
            assert name in ids


def test_everything_seen_has_a_name(any_plan: Plan, evidence: EvidenceTable) -> None:
    """Drawings, scrolling frames and buttons are named; the language is stated."""
    read = outline(page(any_plan, evidence))
    assert ("html", {"lang": "en"}) in read.elements
    for tag, attrs in read.elements:
        if tag == "svg":
            assert attrs["role"] == "img"
            assert attrs["aria-labelledby"]
        if attrs.get("tabindex") == "0":
            assert attrs.get("aria-label")
        if tag == "th":
            assert attrs.get("scope") in ("row", "col")
    assert not any(tag == "img" for tag, _ in read.elements)


def test_nothing_is_fetched(any_plan: Plan, evidence: EvidenceTable) -> None:
    """No address, no source, no import; the only script is the page's own."""
    html = page(any_plan, evidence)
    assert not re.search(r"https?:|//[a-z]|@import|url\(", html.replace("// The page", ""))
    for _, attrs in outline(html).elements:
        assert not {"src", "srcset", "data", "action", "onclick", "onload"} & set(attrs)


def test_hostile_text_stays_text(plan: Plan, evidence: EvidenceTable) -> None:
    """Whatever the case says in any field, the page has the same elements as without it."""
    calm = outline(page(replace(plan, patient={"note": "x"}), evidence))
    hostile = replace(
        plan,
        case_id=HOSTILE,
        patient={HOSTILE: HOSTILE},
        cautions=(HOSTILE, "second"),
        digest=HOSTILE,
        orders_of_work=tuple(replace(o, name=HOSTILE) for o in plan.orders_of_work),
        equipment_list=tuple(replace(e, item=HOSTILE) for e in plan.equipment_list),
        portals=tuple(replace(p, name=HOSTILE) for p in plan.portals),
    )
    read = outline(page(hostile, evidence, issued_on=HOSTILE))
    assert [tag for tag, _ in read.elements if tag in ("script", "style", "b")] == [
        tag for tag, _ in calm.elements if tag in ("script", "style", "b")
    ]
    assert read.faults == []
    assert any(HOSTILE.strip() in data for _, data in read.text)


def test_css_text_cannot_leave_its_string() -> None:
    """Quotes, backslashes, line breaks and tags are written as code points."""
    assert css_text('a"b') == "a\\22 b"
    assert re.fullmatch(r"[A-Za-z0-9 .,\\-]*", css_text(HOSTILE + "\n"))


def test_the_notice_is_on_screen_and_on_every_printed_page(
    any_plan: Plan, evidence: EvidenceTable
) -> None:
    """In the footer, and as the foot of the printed page (its text is in the page rule)."""
    html = page(any_plan, evidence)
    read = outline(html)
    assert any(tag == "p" and data == NOTICE for tag, data in read.text)
    rule = re.search(r'@bottom-left\{content:"([^"]*)"', html)
    assert rule is not None
    printed = re.sub(r"\\([0-9a-f]+) ", lambda m: chr(int(m[1], 16)), rule[1])
    assert printed == NOTICE


@pytest.mark.parametrize("side", Side)
def test_side_case_version_date_and_mark_head_the_page(side: Side, evidence: EvidenceTable) -> None:
    """In words, on the screen and at the head of each printed page."""
    html = page(plan_fixture.full_plan(side), evidence, issued_on="2026-03-02")
    words = f"{side.value.upper()} hip"
    assert f"<h1>Plan for the {words}</h1>" in html
    head = f"{words} · case demo-01 · version 2 · 2026-03-02 · draft"
    assert css_text(head) in html
    other = f"{side.other.value.upper()} hip"
    assert other not in html


def test_a_signed_plan_carries_no_mark(plan: Plan, evidence: EvidenceTable) -> None:
    """Draft and superseded stand across the page, signed does not."""
    assert 'class="across"' in page(plan, evidence)
    assert ">superseded</div>" in page(plan, evidence, mark=PlanMark.SUPERSEDED)
    assert 'class="across"' not in page(plan, evidence, mark=PlanMark.SIGNED)


def test_no_clock_is_read(plan: Plan, evidence: EvidenceTable) -> None:
    """The same plan gives the same page, and no date where none was given."""
    assert page(plan, evidence) == page(plan, evidence)
    assert "date not given" in page(plan, evidence)


def test_every_anchor_stands_in_the_table(any_plan: Plan, evidence: EvidenceTable) -> None:
    """Rows are linked to the drawings by their number."""
    read = outline(page(any_plan, evidence))
    rows = [
        attrs["data-anchor"]
        for tag, attrs in read.elements
        if tag == "tr" and "data-anchor" in attrs
    ]
    assert rows == [str(place) for place in range(1, len(any_plan.anchors) + 1)]
    texts = {data for _, data in read.text}
    assert {spoken_hour(anchor.hour) for anchor in any_plan.anchors} <= texts


def test_measured_numbers_have_units(plan: Plan, evidence: EvidenceTable) -> None:
    """Every value and spread of the measurement table ends with its unit, or is a dash."""
    document = compose(plan, evidence=evidence)
    section = next(s for s in document.sections if s.key == "measurements")
    table = next(b for b in section.blocks if getattr(b, "header", ("",))[0] == "Measure")
    assert len(table.rows) == 17  # type: ignore[union-attr]
    for row in table.rows:  # type: ignore[union-attr]
        for cell in row[1:3]:
            assert cell.text == "–" or re.search(r"\d(°| mm| %)$", cell.text), cell.text
        assert row[0].detail, "a method is one click away"


def test_nothing_is_called_safe_or_recommended(any_plan: Plan, evidence: EvidenceTable) -> None:
    """Our own words never promise; titles of papers in the evidence rows are theirs."""
    document = compose(any_plan, evidence=evidence)
    own = replace(document, sections=tuple(s for s in document.sections if s.key != "evidence"))
    assert not re.search(r"\b(safe|safely|recommend\w*)\b", render_html(own), re.IGNORECASE)


def test_a_map_without_sectors_is_said_to_be_unknown(plan: Plan, evidence: EvidenceTable) -> None:
    """Unknown is never healthy."""
    html = page(replace(plan, labrum=LabrumMap()), evidence)
    assert "nothing known; that is not the same as healthy" in html


def _luminance(colour: str) -> float:
    channels = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
def test_contrast_of_words_and_lines(colours: dict[str, str]) -> None:
    """Text 4.5 to 1 on paper and panel, lines that carry meaning 3 to 1.

    Source: Web Content Accessibility Guidelines 2.2, criteria 1.4.3 and 1.4.11, and its formula
    of relative luminance.
    """

    def ratio(one: str, two: str) -> float:
        high, low = sorted((_luminance(colours[one]), _luminance(colours[two])), reverse=True)
        return (high + 0.05) / (low + 0.05)

    for ground in ("paper", "panel"):
        for ink in ("ink", "quiet", "accent"):
            assert ratio(ink, ground) >= 4.5, (ink, ground)
    for ground, marks in {
        "paper": ("native-line", "graft-line", "mark", "accent", "second"),
        "native": ("native-line", "mark", "ink"),
        "graft": ("graft-line",),
        "bone": ("ink", "mark", "accent", "quiet"),
    }.items():
        for mark in marks:
            assert ratio(mark, ground) >= 3.0, (mark, ground)


def test_print_repeats_head_and_notice(plan: Plan, evidence: EvidenceTable, tmp_path: Path) -> None:
    """Printed by a browser, every page carries the side and the notice; page one is one page."""
    chromium, reader = shutil.which("chromium"), shutil.which("pdftotext")
    if chromium is None or reader is None:
        pytest.skip("no chromium or pdftotext on this machine")
    (tmp_path / "page.html").write_text(page(plan, evidence), encoding="utf-8")
    subprocess.run(
        [chromium, "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run",
         "--disable-background-networking", f"--user-data-dir={tmp_path / 'profile'}",
         f"--print-to-pdf={tmp_path / 'page.pdf'}", f"file://{tmp_path / 'page.html'}"],
        check=True, capture_output=True, timeout=120,
    )  # fmt: skip
    made = subprocess.run([reader, tmp_path / "page.pdf", "-"], check=True, capture_output=True)
    pages = made.stdout.decode().split("\f")[:-1]
    assert len(pages) > 3
    for words in pages:
        flat = " ".join(words.split())
        assert NOTICE in flat
        assert "LEFT hip · case demo-01" in flat
    assert "Read and signed by" in pages[0]
    assert "Labrum by the clock" in pages[1]
