"""Templates of letters: what is unknown is refused by name, what is empty says so, nothing acts."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimwright.errors import CaseRefusal
from rimwright.report.letter_template import LineKind, filled, read_template

KNOWN = ("graft", "side", "anchors")


def read(text: str) -> tuple:  # type: ignore[type-arg]
    """A template read with three known names."""
    return read_template(text, known=KNOWN, where="letter.txt")


@pytest.mark.fault
def test_an_unknown_placeholder_is_refused_naming_the_nearest() -> None:
    """Line, what was written, what is near."""
    with pytest.raises(CaseRefusal) as caught:
        read("# Letter\n\nThe graft is {grafft}.")
    assert str(caught.value) == (
        "letter.txt, line 3: unknown placeholder (got '{grafft}', need one of 3 known ones; "
        "nearest: '{graft}'). Write {graft}, or {{ and }} for braces in the text."
    )


@pytest.mark.fault
@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("one {graft", "line 1: a brace that stands alone (got '{'"),
        ("one graft}", "line 1: a brace that stands alone (got '}'"),
        ("{}", "unknown placeholder (got '{}'"),
        ("{a{graft}}", "a brace that stands alone"),
        ("# One\n# Two\ntext", "line 2: a second title"),
        ("% only a note\n\n# Title", "letter.txt: no text"),
        ("", "letter.txt: no text"),
        ("x" * 100_001, "too long for a letter (got 100001 letters"),
    ],
)
def test_a_template_that_cannot_be_used_is_refused(text: str, words: str) -> None:
    """One line, never a traceback of another kind."""
    with pytest.raises(CaseRefusal) as caught:
        read(text)
    assert words in str(caught.value)


def test_lines_are_read_by_their_beginning() -> None:
    """Title, heading, item, paragraph of two lines; notes are left out, also with bad braces."""
    lines = read("% note {nothing}\n# T {side}\n## H\n- one\n- two\nfirst\nsecond\n\nthird\n")
    assert [(line.kind, line.text) for line in lines] == [
        (LineKind.TITLE, "T {side}"),
        (LineKind.HEADING, "H"),
        (LineKind.ITEM, "one"),
        (LineKind.ITEM, "two"),
        (LineKind.TEXT, "first second"),
        (LineKind.TEXT, "third"),
    ]


def test_what_is_empty_says_so() -> None:
    """Text, list, list of blanks: not recorded, alone on a line or inside one."""
    values = {"graft": "", "side": (), "anchors": (" ", "")}
    assert filled("{graft}", values) == ("not recorded",)
    assert filled("{side}", values) == ("not recorded",)
    assert filled("a {anchors} b", values) == ("a not recorded b",)


def test_lists_stand_alone_or_are_joined() -> None:
    """Alone on a line a list is several lines, inside a line it is joined."""
    values = {"graft": "g", "side": "LEFT hip", "anchors": ("one.", "two.")}
    assert filled("{anchors}", values) == ("one.", "two.")
    assert filled("at { anchors }: {{x}}", values) == ("at one; two: {x}",)


@given(st.text(max_size=60))
def test_what_is_filled_in_is_never_read_as_template(value: str) -> None:
    """Braces inside a value come out as they went in."""
    shown = filled("<{graft}>", {"graft": value, "side": "", "anchors": ""})
    want = value.strip().rstrip(".") if value.strip() else "not recorded"
    assert shown == (f"<{want or 'not recorded'}>",)


@given(st.text(alphabet="{}ab \n#-%", max_size=40))
def test_any_text_is_read_or_refused(text: str) -> None:
    """Whatever is given: lines, or one refusal."""
    try:
        lines = read(text)
    except CaseRefusal:
        return
    assert lines
