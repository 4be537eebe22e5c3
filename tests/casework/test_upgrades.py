"""Versions of documents: pure steps, the newest refused, every past version frozen."""

from __future__ import annotations

from pathlib import Path

import pytest

from rimwright.casework.case_file import read_case
from rimwright.casework.upgrades import CASE_FAMILY, DocumentFamily, shown
from rimwright.errors import CaseRefusal

FROZEN = Path(__file__).parent / "frozen"


def _second(document):
    document["grades"] = {"tonnis_grade": document.pop("tonnis")}
    return document


def _third(document):
    return {**document, "note": "upgraded"}


FAMILY = DocumentFamily(name="test.thing", newest=3, steps={1: _second, 2: _third})


def test_steps_run_in_order_and_the_original_is_kept():
    """A version 1 goes through each step once; the document given is not touched."""
    original = {"schema": "test.thing/1", "tonnis": 1}
    assert FAMILY.upgrade(original, where="x") == {
        "schema": "test.thing/3",
        "grades": {"tonnis_grade": 1},
        "note": "upgraded",
    }
    assert original == {"schema": "test.thing/1", "tonnis": 1}


def test_the_newest_version_passes_unchanged():
    """Upgrading the newest is a copy."""
    document = {"schema": "test.thing/3", "inner": {"a": 1}}
    upgraded = FAMILY.upgrade(document, where="x")
    assert upgraded == document
    assert upgraded["inner"] is not document["inner"]


@pytest.mark.fault
@pytest.mark.parametrize(
    ("schema", "expected"),
    [
        (None, 'x, schema: missing (need "test.thing/3"). Add the line schema = "test.thing/3".'),
        ("test.thing/4", "x, schema: a newer version than this program knows"),
        ("test.other/1", "x, schema: not a document of this kind"),
        ("test.thing", "x, schema: not a document of this kind"),
        ("test.thing/0", "x, schema: not a version"),
        ("test.thing/²", "x, schema: not a version"),
        ("test.thing/99999999", "x, schema: not a version"),
        (7, "x, schema: not a document of this kind (got 7"),
    ],
)
def test_schemas_that_are_refused(schema, expected):
    """Another kind, no version and a newer version are refused, never tried."""
    document = {} if schema is None else {"schema": schema}
    with pytest.raises(CaseRefusal) as caught:
        FAMILY.upgrade(document, where="x")
    assert str(caught.value).startswith(expected)


def test_every_past_version_of_the_case_is_frozen_and_opens():
    """One frozen document per version since 1, and each still opens."""
    for version in range(1, CASE_FAMILY.newest + 1):
        case = read_case(FROZEN / f"case-{version}.toml")
        assert case.document["schema"] == CASE_FAMILY.schema
    assert set(CASE_FAMILY.steps) == set(range(1, CASE_FAMILY.newest))


def test_shown_values_are_short_and_printable():
    """A foreign value in a message is cut and cleaned."""
    assert len(shown("x" * 500)) == 60
    assert shown("a\nb") == '"a?b"'
    assert shown([1, 2]) == "a list of 2"
    assert shown(True) == "true"
