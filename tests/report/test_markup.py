"""Elements: what comes from a case is text, whatever it looks like."""

from __future__ import annotations

from html.parser import HTMLParser

from hypothesis import given
from hypothesis import strategies as st

from rimwright.report.markup import Markup, compact, element, join


def test_text_and_attributes_are_escaped() -> None:
    """A tag in a text or an attribute never becomes a tag."""
    made = element("p", "<script>alert(1)</script> & co", title='"><b>')
    assert made == (
        '<p title="&quot;&gt;&lt;b&gt;">&lt;script&gt;alert(1)&lt;/script&gt; &amp; co</p>'
    )


def test_markup_is_not_escaped_twice() -> None:
    """An element inside an element stays one."""
    assert element("p", element("b", "1 < 2")) == "<p><b>1 &lt; 2</b></p>"


def test_attribute_names_and_values() -> None:
    """Underscores are hyphens, None and False are left out, True is bare, floats are short."""
    made = element("rect", x=1.004, y=-0.0001, class_="a", aria_label=None, hidden=True, open=False)
    assert made == '<rect x="1" y="0" class="a" hidden></rect>'


def test_children_may_be_nested_and_missing() -> None:
    """Lists of lists and None."""
    assert join(["a", None, [Markup("<br>"), ["b"]]]) == "a<br>b"


@given(st.text(alphabet=st.characters(codec="utf-8", exclude_characters="\r\0")))
def test_any_text_comes_back_as_text(words: str) -> None:
    """Whatever the text, a parser reads it back and sees no element in it."""
    seen: list[str] = []
    tags: list[str] = []

    class Reader(HTMLParser):
        def handle_data(self, data: str) -> None:
            seen.append(data)

        def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
            tags.append(tag)

    reader = Reader()
    reader.feed(element("p", words))
    reader.close()
    assert tags == ["p"]
    assert "".join(seen) == words


def test_compact_writes_at_most_two_decimals() -> None:
    """Coordinates stay short and never read '-0'."""
    assert [compact(v) for v in (1.0, 2.346, -0.001, 1000.0)] == ["1", "2.35", "0", "1000"]
