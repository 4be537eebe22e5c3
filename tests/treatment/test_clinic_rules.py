"""A clinic's own rules act over the shipped ones, say who set them, and never act by mistake."""

from __future__ import annotations

import copy
import re
import tomllib
from importlib import resources

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimwright.anatomy import OptionName, Stance, Tear
from rimwright.errors import CaseRefusal, FileRefusal, Refusal
from rimwright.evidence import load_evidence
from rimwright.treatment import (
    RuleChange,
    RuleSet,
    assess_candidacy,
    list_options,
    load_rules,
    shipped_rules,
)
from rimwright.treatment.rule_checks import RuleChecks
from rimwright.treatment.rule_reader import RuleReader
from treatment.labrum_cases import SOUND, YOUNG, labrum, sector

TABLE = load_evidence()
SHIPPED = tomllib.loads(
    resources.files("rimwright.treatment").joinpath("rules.toml").read_text("utf-8")
)
HEAD = 'schema = "rimwright.clinic-rules/1"\n'
OWN = """
[[labrum]]
id = "good-unstable-is-repaired"
actions = ["repair"]
when = { tissue = "good", tear = "unstable" }
verdict = "open"
says = "we discuss every repair in the team"
evidence = ["planning:4.16"]
note = "agreed in the team"

[[labrum]]
id = "no-debridement-here"
actions = ["debride"]
when = { tear = "stable" }
verdict = "advised against"
says = "we do not trim stable tears"
evidence = ["planning:4.15"]
note = "agreed in the team"

[[off]]
id = "debride-stable"
note = "covered by our own rule"
"""
TORN = labrum(sector(12, 2, **{**SOUND, "tear": Tear.UNSTABLE}))
STABLE = labrum(sector(12, 2, **{**SOUND, "tear": Tear.STABLE}))


def clinic(tmp_path, text):
    """The rules in force with a clinic's file of some text."""
    path = tmp_path / "our-rules.toml"
    path.write_text(HEAD + text, encoding="utf-8")
    return load_rules(path)


def option(rules, sectors, name):
    """One option by name."""
    found = list_options(sectors, YOUNG, TABLE, rules=rules)
    return next(item for item in found if item.name == name)


def test_no_file_means_the_shipped_rules():
    """Without a path nothing is changed."""
    assert load_rules() is shipped_rules()
    assert load_rules().changes == ()


def test_own_rules_act_and_say_who_set_them(tmp_path):
    """Replaced, added, switched off: the stance follows, the reason names the clinic."""
    rules = clinic(tmp_path, OWN)
    assert option(None, TORN, OptionName.REPAIR).stance is Stance.SUPPORTED
    repair = option(rules, TORN, OptionName.REPAIR)
    assert repair.stance is Stance.OPEN
    text = "\n".join(reason.text for reason in repair.reasons)
    assert "we discuss every repair in the team (rule of the clinic)" in text
    debridement = option(rules, STABLE, OptionName.DEBRIDEMENT)
    assert debridement.stance is Stance.ADVISED_AGAINST
    assert "over 84 %" not in "\n".join(reason.text for reason in debridement.reasons)
    assert rules.changes == (
        RuleChange(rule="good-unstable-is-repaired", what="replaced", note="agreed in the team"),
        RuleChange(rule="no-debridement-here", what="added", note="agreed in the team"),
        RuleChange(rule="debride-stable", what="switched off", note="covered by our own rule"),
    )


def test_changes_are_said_in_candidacy(tmp_path):
    """The plan says which rules are not those of the program, and why."""
    statements = assess_candidacy(YOUNG, TABLE, rules=clinic(tmp_path, OWN))
    (said,) = [item for item in statements if item.statement.startswith("Rules changed")]
    assert "debride-stable switched off (covered by our own rule)" in said.statement
    assert not any("Rules changed" in item.statement for item in assess_candidacy(YOUNG, TABLE))


def test_own_fact_and_measure(tmp_path):
    """A clinic may add a fact and a measure on a setting that exists."""
    text = """
[[fact]]
id = "lax-and-unstable"
label = "lax and unstable"
when = { instability_sign = true, laxity_score = { at_least = 7 } }
roads = { arthroscopy = "advised against" }
says = "we see such hips together first"
evidence = ["planning:4.33"]
note = "agreed in the team"

[[measure]]
key = "acetabular_version_cranial"
label = "cranial version of the socket"
holds_for = ["CT"]
unknown = "measure it on CT"
note = "agreed in the team"

[[measure.limit]]
setting = "coverage.version_low_deg"
test = "below"
says = "low near the roof"
roads = { "osteotomy of the pelvis" = "open" }
evidence = ["planning:2.29"]
"""
    rules = clinic(tmp_path, text)
    statements = assess_candidacy(YOUNG, TABLE, rules=rules)
    assert "cranial version of the socket (measure it on CT)" in statements[-1].statement
    assert rules.facts[-1].id == "lax-and-unstable"
    assert rules.facts[-1].set_by_clinic


@pytest.mark.fault
@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        (
            'note = "covered by our own rule"\n',
            "",
            "our-rules.toml, [[off]] debride-stable: has no 'note'. Add note.",
        ),
        (
            'id = "debride-stable"',
            'id = "debride-stabel"',
            "our-rules.toml, [[off]] debride-stabel: unknown rule 'debride-stabel'. "
            "The nearest known one is 'debride-stable'.",
        ),
        (
            'id = "debride-stable"',
            'id = "no-debridement-here"',
            "our-rules.toml, [[off]] no-debridement-here: unknown rule 'no-debridement-here'. "
            "The nearest known one is 'debride-does-not-seal'.",
        ),
        (
            'id = "debride-stable"',
            'id = "good-unstable-is-repaired"',
            "our-rules.toml, [[off]] good-unstable-is-repaired: switches off a rule that this "
            "file writes too. Keep one of the two.",
        ),
        (
            'id = "no-debridement-here"',
            'id = "good-unstable-is-repaired"',
            "our-rules.toml: 'good-unstable-is-repaired' stands twice. "
            "Give each rule its own name.",
        ),
        (
            'evidence = ["planning:4.16"]\nnote = "agreed in the team"',
            'evidence = ["planning:4.16"]',
            "our-rules.toml, [[labrum]] good-unstable-is-repaired: has no 'note'. Add note.",
        ),
        (
            'evidence = ["planning:4.16"]',
            "evidence = []",
            "our-rules.toml, [[labrum]] good-unstable-is-repaired, evidence: names no evidence "
            "row. Name at least one; a row from memory will do where nothing is supported.",
        ),
        (
            'verdict = "open"\nsays = "we discuss every repair in the team"\n'
            'evidence = ["planning:4.16"]',
            'verdict = "supported"\nsays = "we discuss every repair in the team"\n'
            'evidence = ["planning:4.20"]',
            "our-rules.toml, [[labrum]] good-unstable-is-repaired: supports something on memory, "
            "habit or our own arithmetic alone. Name a row that was read in a source, or write "
            "'open'.",
        ),
        (
            'when = { tear = "stable" }',
            "when = { width_mm = { below = 3 } }",
            "our-rules.toml, [[labrum]] no-debridement-here: decides by the width. Give it "
            "verdict = 'note': cut-offs of the width differ by modality, and nothing is decided "
            "by it.",
        ),
        (
            'when = { tear = "stable" }',
            "when = {}",
            "our-rules.toml, [[labrum]] no-debridement-here, when: holds for everything. Name at "
            "least one finding.",
        ),
        (
            'when = { tear = "stable" }',
            'when = "stable"',
            "our-rules.toml, [[labrum]] no-debridement-here, when: not a table (got 'stable'). "
            "Write { name = value }.",
        ),
        (
            'actions = ["debride"]',
            'actions = "debride"',
            "our-rules.toml, [[labrum]] no-debridement-here, actions: not a list of words (got "
            '\'debride\'). Write a list, as in ["one", "two"].',
        ),
        (
            'says = "we do not trim stable tears"',
            'says = " "',
            "our-rules.toml, [[labrum]] no-debridement-here, says: not text (got ' '). Write a "
            "sentence between quotes.",
        ),
        (
            "[[off]]",
            "[off]",
            "our-rules.toml, off: not a list of tables (got dict). Write [[off]] above each.",
        ),
        (
            "[[off]]",
            "[[options]]",
            "our-rules.toml: unknown key 'options'. The nearest known one is 'question'.",
        ),
    ],
)
def test_mistakes_are_named(tmp_path, old, new, sentence):
    """One line: file, rule, what is wrong, what to write."""
    assert old in OWN
    with pytest.raises(CaseRefusal) as refused:
        clinic(tmp_path, OWN.replace(old, new, 1))
    assert str(refused.value) == sentence


@pytest.mark.fault
def test_files_that_are_none(tmp_path):
    """Missing, not text, not TOML, another schema: each is refused in one line."""
    with pytest.raises(FileRefusal, match="cannot be read"):
        load_rules(tmp_path / "missing.toml")
    with pytest.raises(FileRefusal, match="cannot be read"):
        load_rules(tmp_path)
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(FileRefusal, match="not a text file in UTF-8"):
        load_rules(binary)
    broken = tmp_path / "broken.toml"
    broken.write_text("[[labrum]\n", encoding="utf-8")
    with pytest.raises(FileRefusal, match=re.escape("broken.toml: not TOML")):
        load_rules(broken)
    whole = tmp_path / "whole.toml"
    whole.write_text('schema = "rimwright.rules/1"\n', encoding="utf-8")
    with pytest.raises(CaseRefusal, match=r"need 'rimwright\.clinic-rules/1'"):
        load_rules(whole)


JUNK = st.sampled_from(
    [None, True, -1, 0.5, float("nan"), "", "x", "unknown", [], ["x"], [1], {}, {"x": 1}, [{}]]
)


@pytest.mark.fault
@pytest.mark.property
@given(data=st.data())
def test_junk_anywhere_is_refused_or_read(data):
    """Whatever stands in place of one value, the answer is a set of rules or a refusal."""
    document = copy.deepcopy(SHIPPED)
    node = document
    while True:
        keys = sorted(node) if isinstance(node, dict) else range(len(node))
        key = data.draw(st.sampled_from(list(keys)))
        child = node[key]
        if isinstance(child, dict | list) and len(child) and data.draw(st.booleans()):
            node = child
            continue
        node[key] = data.draw(JUNK)
        break
    reader = RuleReader(RuleChecks(table=TABLE, file="junk.toml"))
    try:
        found = reader.rule_set(document)
    except Refusal as refusal:
        found = refusal
    if isinstance(found, Refusal):
        assert str(found).startswith("junk.toml")
        return
    assert isinstance(found, RuleSet)
    assess_candidacy(YOUNG, TABLE, rules=found)
    list_options(TORN, YOUNG, TABLE, rules=found)
