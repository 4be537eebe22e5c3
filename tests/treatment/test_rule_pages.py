"""The page on the rules says what the rules say, and its examples work."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from rimwright.errors import CaseRefusal
from rimwright.evidence import load_evidence
from rimwright.treatment import load_rules, rules_page, shipped_rules

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "treatment.md").read_text("utf-8")
MARK = "<!-- below this line the page is written by docs/rules.py -->"
HEAD, _, WRITTEN = PAGE.partition(MARK)
EXAMPLE = re.search(r"```toml\n(.*?)```", HEAD, re.DOTALL).group(1)
SAID = re.findall(r"^\| [^|]+ \| `(our-rules\.toml[^|]+)` \|$", HEAD, re.MULTILINE)
RULES = shipped_rules()
MINE = """
[[labrum]]
id = "my-rule"
actions = ["debride"]
when = { tissue = "absent" }
verdict = "open"
says = "a sentence"
evidence = ["planning:4.20"]
note = "why"
"""
MISTAKES = (
    ('"absent"', '"abscent"'),
    ('"planning:4.20"', '"planing:4.16"'),
    ('["planning:4.20"]', "[]"),
    ('"open"', '"supported"'),
    ('tissue = "absent"', "width_mm = { below = 3 }"),
    ('{ tissue = "absent" }', "{}"),
    ('note = "why"\n', ""),
    ('note = "why"', 'note = "why"\n[[off]]\nid = "debride-stabel"\nnote = "why"'),
)


def test_page_is_that_of_the_rules():
    """The written half is what the rules write today; `python docs/rules.py` writes it again."""
    assert f"\n\n{rules_page()}" == WRITTEN


def test_every_rule_says_what_would_change_it():
    """Each measure, fact and labral rule stands on the page with its rows and its doubt."""
    table = load_evidence()
    for rule in (*RULES.measures, *RULES.facts, *RULES.labrum):
        assert rule.would_change, rule
        assert f"Would change it: {rule.would_change}." in WRITTEN
    for rule in (*RULES.facts, *RULES.labrum):
        section = WRITTEN.split(f"### `{rule.id}`\n")[1].split("###")[0]
        assert rule.says in section
        for row in rule.evidence:
            assert f">{row.removeprefix('planning:')}</a> ({table.row(row).status})" in section


def test_the_example_of_the_page_is_read(tmp_path):
    """A clinic that copies the example has rules in force."""
    path = tmp_path / "our-rules.toml"
    path.write_text(EXAMPLE, encoding="utf-8")
    assert [(item.rule, item.what) for item in load_rules(path).changes] == [
        ("lax-and-unstable", "added"),
        ("good-unstable-is-repaired", "replaced"),
        ("debride-stable", "switched off"),
    ]


def test_the_page_lists_as_many_mistakes_as_are_tried():
    """The table of the page and the cases below belong together."""
    assert len(SAID) == len(MISTAKES)


@pytest.mark.fault
@pytest.mark.parametrize(("change", "sentence"), list(zip(MISTAKES, SAID, strict=False)))
def test_the_mistakes_of_the_page_are_answered_as_printed(tmp_path, change, sentence):
    """Each sentence of the page is the one the reader says."""
    old, new = change
    path = tmp_path / "our-rules.toml"
    text = MINE.replace(old, new, 1)
    assert text != MINE
    path.write_text(f'schema = "rimwright.clinic-rules/1"\n{text}', encoding="utf-8")
    with pytest.raises(CaseRefusal) as refused:
        load_rules(path)
    assert str(refused.value) == sentence
