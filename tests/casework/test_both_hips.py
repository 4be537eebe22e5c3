"""Two cases are put together only as the two hips of one person."""

from __future__ import annotations

from pathlib import Path

import pytest

from rimwright.casework import case_from_document, two_hips
from rimwright.errors import CaseRefusal


def case(side, *, person="P-17", where="case.toml"):
    """A bare case."""
    document = {"schema": "rimwright.case/1", "id": side, "side": side, "clinic": {}}
    if person:
        document["person"] = person
    return case_from_document(document, folder=Path(), where=where)


def test_the_order_given_does_not_matter():
    """Left is left, whichever case comes first; the person holds both records."""
    for pair in (two_hips(case("left"), case("right")), two_hips(case("right"), case("left"))):
        assert (pair.left.id, pair.right.id) == ("left", "right")
        assert (pair.person.left.side, pair.person.right.side) == ("left", "right")


@pytest.mark.fault
@pytest.mark.parametrize(
    ("second", "expected"),
    [
        (
            {"side": "right", "person": "P-18"},
            "b.toml, person: not the word that stands in a.toml (need the same person in both). "
            "Give two cases of one person.",
        ),
        (
            {"side": "right", "person": ""},
            "b.toml, person: missing (need the same word in both cases). Say whose hip it is "
            "before two are set side by side.",
        ),
        (
            {"side": "left"},
            "b.toml, side: the same side twice (got left in both). Give one case of each side.",
        ),
    ],
)
def test_others_are_refused(second, expected):
    """Another person, an unnamed one, one side twice; who the person is stays out of it."""
    with pytest.raises(CaseRefusal) as refused:
        two_hips(case("left", where="a.toml"), case(**second, where="b.toml"))
    assert str(refused.value) == expected
    assert "P-17" not in str(refused.value)
