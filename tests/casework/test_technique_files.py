"""Technique files: the two shipped ones, the conditions of their steps, and what is refused."""

from __future__ import annotations

import pytest

from rimwright.anatomy import Action, Option, Sector, SectorAction, Stance
from rimwright.casework.technique_files import (
    SHIPPED_TECHNIQUES,
    conditions_of,
    parse_technique,
    read_technique,
    shipped_technique,
)
from rimwright.errors import CaseRefusal

SOUND = {
    "schema": "rimwright.technique/1",
    "name": "mine",
    "source": "our theatre",
    "step": [{"text": "One."}, {"text": "Two.", "when": ["graft"]}],
}


def option_of(*actions: Action) -> Option:
    arc = Sector(from_hour=11, to_hour=1)
    return Option(
        name="x",
        stance=Stance.OPEN,
        actions=tuple(SectorAction(sector=arc, action=action) for action in actions),
    )


def test_conditions_follow_the_actions():
    """What is done decides which steps appear."""
    assert conditions_of(None) == frozenset()
    assert conditions_of(option_of(Action.DEBRIDE)) == {"debride"}
    assert conditions_of(option_of(Action.REPAIR)) == {"anchors", "repair"}
    assert conditions_of(option_of(Action.AUGMENT)) == {"anchors", "graft", "remnant"}
    assert conditions_of(option_of(Action.REPLACE)) == {"anchors", "graft", "no remnant"}


def test_all_anchors_first_says_so_in_that_order():
    """Anchors, then the graft drawn through a second portal, its surplus last, then traction."""
    steps = shipped_technique("all anchors first").for_option(option_of(Action.AUGMENT)).steps
    text = "\n".join(steps)
    marks = [
        "Prepare the rim",
        "every planned anchor",
        "Bring the graft in",
        "second portal",
        "kept remnant together",
        "Cut the surplus",
        "Traction off",
        "seal",
    ]
    places = [text.index(mark) for mark in marks]
    assert places == sorted(places)


def test_anchor_after_each_stitch_says_so():
    """The second shipped order places no anchor ahead of the tissue."""
    steps = (
        shipped_technique("anchor after each stitch").for_option(option_of(Action.REPLACE)).steps
    )
    assert not any("every planned anchor" in step for step in steps)
    assert any("drill and place that anchor" in step for step in steps)


def test_a_repair_has_no_graft_steps():
    """Where no graft is brought in, no step speaks of one being brought in."""
    for name in SHIPPED_TECHNIQUES:
        steps = shipped_technique(name).for_option(option_of(Action.REPAIR)).steps
        assert not any("graft" in step for step in steps)


def test_an_edited_file_is_read(tmp_path):
    """A technique of one's own is read from its path."""
    path = tmp_path / "mine.toml"
    path.write_text(
        'schema = "rimwright.technique/1"\nname = "mine"\nsource = "us"\n'
        '[[step]]\ntext = "One.\\n  more"\n',
        encoding="utf-8",
    )
    assert read_technique(path).for_option(None).steps == ("One. more",)


@pytest.mark.fault
@pytest.mark.parametrize(
    ("change", "expected"),
    [
        ({"step": []}, "mine.toml, [[step]]: no list of steps (got 0, need 1 to 100)"),
        ({"step": ["x"]}, 'mine.toml, [[step]] 1: not a table (got "x")'),
        ({"steps": []}, 'mine.toml: unknown key "steps" (nearest known: step)'),
        (
            {"step": [{"txt": "x"}]},
            'mine.toml, [[step]] 1: unknown key "txt" (nearest known: text)',
        ),
        (
            {"step": [{"text": "x", "when": ["grafts"]}]},
            "mine.toml, [[step]] 1, when: not a condition",
        ),
        ({"step": [{"text": ""}]}, "mine.toml, [[step]] 1, text: no text"),
        ({"name": 3}, "mine.toml, name: no text (got 3)"),
        ({"schema": "rimwright.technique/2"}, "mine.toml, schema: a newer version"),
    ],
)
def test_refusals(change, expected):
    """A technique that says something unknown is refused with the step it stands in."""
    with pytest.raises(CaseRefusal) as caught:
        parse_technique({**SOUND, **change}, where="mine.toml")
    assert str(caught.value).startswith(expected)
