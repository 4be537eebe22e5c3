"""Plain words: short sentences, no jargon left, nothing that advises, every row real."""

from __future__ import annotations

import re

import plan_fixture
import pytest

from rimwright.anatomy import (
    Attachment,
    Fibres,
    LabrumSector,
    OptionName,
    Sector,
    Stance,
    Tear,
    Tissue,
)
from rimwright.evidence import EvidenceStatus, EvidenceTable
from rimwright.report.plain_words import (
    Look,
    look_of,
    place_of,
    plain_finding,
    plain_questions,
    plain_reading,
    plain_roads,
    plain_stance,
    stance_of_road,
)
from rimwright.treatment.rules import Road

TOP = Sector(from_hour=11.5, to_hour=0.5)
JARGON = re.compile(
    r"acetabul|labral|circumferential|debride|segmental|arthroscop|osteotom|arthroplast|tönnis"
    r"|lcea|alpha|\brim\b|sector|cohort|cadaver|portal|sourcil|femur|femoral|pelvi|chondral|stance",
    re.IGNORECASE,
)
LEANING = re.compile(
    r"\b(recommend\w*|should|must|best|better off|safe\w*|ideal|advis\w*|superior|guarantee\w*"
    r"|promis\w*|success\w*|cure\w*|proven|score\w*|ranked)\b",
    re.IGNORECASE,
)


def test_every_road_and_option_of_the_plan_has_plain_words() -> None:
    """The five options and the roads, no operation first; five of them go by arthroscopy."""
    keys = [road.key for road in plain_roads()]
    roads = {road.value for road in Road} - {"arthroscopy"}
    assert keys[0] == "no operation"
    assert set(keys) == roads | {name.value for name in OptionName}
    assert len(keys) == len(set(keys))


def test_rows_named_exist(evidence: EvidenceTable) -> None:
    """Nothing is said to be reported that has no row; no row is named twice on one road."""
    for road in plain_roads():
        assert all(evidence.has_row(id_) for id_ in road.evidence), road.key
        assert len(set(road.evidence)) == len(road.evidence)


def test_what_reports_say_has_a_source() -> None:
    """A road without a row says that there is nothing; a number stands only beside a row."""
    for road in plain_roads():
        if not road.evidence:
            assert road.known.startswith("Nothing that compares")
        assert not re.search(r"\d", road.done + road.unknown)
        assert "%" not in road.known + road.unknown + road.done


def test_custom_from_memory_is_said_to_be_custom(evidence: EvidenceTable) -> None:
    """Where the only or first row was not read, the words say that it is custom and no study."""
    for road in plain_roads():
        unread = [id_ for id_ in road.evidence if not evidence.row(id_).status.was_read]
        if unread:
            assert "custom, not a study" in road.known, road.key


@pytest.mark.parametrize("road", plain_roads(), ids=lambda road: road.key)
def test_words_neither_lean_nor_puzzle(road) -> None:  # type: ignore[no-untyped-def]
    """No jargon outside the trade's name, nothing that advises or promises."""
    words = " ".join((road.name, road.done, road.known, road.unknown))
    assert not LEANING.search(words)
    assert not JARGON.search(words)


def _syllables(word: str) -> int:
    """Groups of vowels, a silent e at the end left out; an estimate."""
    groups = len(re.findall(r"[aeiouy]+", word.lower()))
    if word.lower().endswith("e") and not word.lower().endswith("le") and groups > 1:
        groups -= 1
    return max(groups, 1)


def test_reading_is_easy() -> None:
    """Reading ease of 70 or more, "fairly easy", and no sentence beyond 25 words.

    Source: A new readability yardstick, J Appl Psychol 1948 (formula and scale from memory):
    206.835 - 1.015 words per sentence - 84.6 syllables per word.
    """
    text = " ".join(
        [*(" ".join((r.done, r.known, r.unknown)) for r in plain_roads()), *plain_questions()]
    )
    sentences = [s for s in re.split(r"[.?!:]\s*", text) if s.strip()]
    words = re.findall(r"[A-Za-z']+", text)
    ease = (
        206.835
        - 1.015 * len(words) / len(sentences)
        - 84.6 * sum(_syllables(word) for word in words) / len(words)
    )
    assert ease >= 70.0
    assert max(len(s.split()) for s in sentences) <= 25


def test_stances_and_readings_have_words_for_every_value() -> None:
    """None is left to the trade's word, and each is told apart from the others."""
    said = [plain_stance(stance) for stance in (*Stance, None)]
    assert len(set(said)) == len(said)
    assert not any(LEANING.search(words) for words in said)
    assert all(plain_reading(status) for status in EvidenceStatus)


def test_a_stance_is_found_under_its_option_or_road() -> None:
    """An option by its name, a road by the beginning of its statement, else none."""
    plan = plan_fixture.full_plan()
    assert stance_of_road(plan, "debridement") is Stance.ADVISED_AGAINST
    assert stance_of_road(plan, "no operation") is Stance.OPEN
    assert stance_of_road(plan, "arthroplasty") is None


@pytest.mark.parametrize(
    ("hours", "words"),
    [
        ((11.5, 0.5), "top"),
        ((11.0, 1.5), "upper back to upper front"),
        ((2.4, 3.5), "front"),
        ((5.5, 6.5), "bottom"),
        ((8.5, 10.5), "back to upper back"),
        ((0.0, 0.0), "all round"),
    ],
)
def test_places_are_named_as_a_body_has_them(hours: tuple[float, float], words: str) -> None:
    """3 is the front and 9 the back on both sides; eighths are named by their middle."""
    assert place_of(Sector(from_hour=hours[0], to_hour=hours[1])) == words


def test_what_is_not_known_never_looks_sound() -> None:
    """Sound needs firm tissue and no tear; anything found wrong is shown as damaged."""
    assert look_of(None) is Look.UNKNOWN
    assert look_of(LabrumSector(sector=TOP)) is Look.UNKNOWN
    assert look_of(LabrumSector(sector=TOP, tissue=Tissue.GOOD)) is Look.UNKNOWN
    assert look_of(LabrumSector(sector=TOP, tear=Tear.NONE)) is Look.UNKNOWN
    sound = LabrumSector(sector=TOP, tissue=Tissue.GOOD, tear=Tear.NONE)
    assert look_of(sound) is Look.SOUND
    for wrong in (
        {"tear": Tear.STABLE},
        {"attachment": Attachment.DETACHED},
        {"fibres": Fibres.INTERRUPTED},
        {"seals": False},
        {"calcified": True},
    ):
        found = {"tissue": Tissue.GOOD, "tear": Tear.NONE, **wrong}
        assert look_of(LabrumSector(sector=TOP, **found)) is Look.DAMAGED, wrong
    assert look_of(LabrumSector(sector=TOP, tissue=Tissue.ABSENT)) is Look.MISSING


def test_findings_are_told_without_jargon_or_width() -> None:
    """Every field in plain words; the width decides nothing and is not told."""
    for found in plan_fixture.made_labrum().sectors:
        words = plain_finding(found)
        assert not JARGON.search(words)
        assert not re.search(r"\d", words)
    assert "too little is known" in plain_finding(LabrumSector(sector=TOP, tissue=Tissue.GOOD))
    assert plain_finding(LabrumSector(sector=TOP)) == "seen, but nothing was noted"
