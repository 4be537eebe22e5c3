"""Rules are data, and every mistake in them is named with its file, rule and key."""

from __future__ import annotations

import re
from importlib import resources

import pytest

from rimwright.anatomy import Stance
from rimwright.errors import CaseRefusal, FileRefusal
from rimwright.evidence import load_evidence
from rimwright.treatment import parse_rules, shipped_rules
from rimwright.treatment.conditions import Choice, Comparison, Presence, Test, verify

TABLE = load_evidence()
TEXT = resources.files("rimwright.treatment").joinpath("rules.toml").read_text("utf-8")
RULES = shipped_rules()


def test_every_rule_names_rows_that_exist():
    """A rule speaks from rows, and at least one."""
    for rule in RULES.labrum:
        assert rule.evidence, rule.id
        assert all(TABLE.has_row(row) for row in rule.evidence)
    assert len({rule.id for rule in RULES.labrum}) == len(RULES.labrum)


def test_no_rule_supports_augmentation():
    """On today's rows augmentation is at best open."""
    for rule in RULES.labrum:
        if "augment" in rule.actions:
            assert rule.verdict is not Stance.SUPPORTED, rule.id


def test_questions_cover_every_deciding_finding():
    """What a deciding rule turns on can be asked for in words."""
    for rule in RULES.labrum:
        if rule.verdict is not None:
            for condition in rule.when:
                assert condition.field in RULES.questions, (rule.id, condition.field)


@pytest.mark.fault
@pytest.mark.parametrize(
    ("old", "new", "sentence"),
    [
        (
            'tissue = "absent" }\nverdict = "not',
            'tissue = "abscent" }\nverdict = "not',
            "rules.toml, [[labrum]] nothing-is-left, tissue: unknown word 'abscent'. "
            "The nearest known one is 'absent'.",
        ),
        (
            'when = { tissue = "absent" }\nverdict = "not',
            'when = { tisue = "absent" }\nverdict = "not',
            "rules.toml, [[labrum]] nothing-is-left: unknown finding 'tisue'. "
            "The nearest known one is 'tissue'.",
        ),
        (
            'verdict = "not possible here"',
            'verdict = "impossible"',
            "rules.toml, [[labrum]] nothing-is-left: unknown word 'impossible'. "
            "The nearest known one is 'not possible here'.",
        ),
        (
            'says = "no labral tissue is left"\nevidence = ["planning:4.14"]',
            'says = "no labral tissue is left"\nevidence = ["planing:4.14"]',
            "rules.toml, [[labrum]] nothing-is-left: unknown evidence row 'planing:4.14'. "
            "The nearest known one is 'planning:4.14'.",
        ),
        (
            'setting = "candidacy.joint_space_limit_mm"',
            'setting = "candidacy.joint_space_limt_mm"',
            "rules.toml, [[measure]] joint_space_min: unknown setting "
            "'candidacy.joint_space_limt_mm'. The nearest known one is "
            "'candidacy.joint_space_limit_mm'.",
        ),
        (
            'verdict = "open"\nsays = "the circumferential',
            'verdict = "supported"\nevidence_note = "x"\nsays = "the circumferential',
            "rules.toml, [[labrum]] continuous-remnant-is-worth-keeping: unknown key "
            "'evidence_note'. The nearest known one is 'evidence'.",
        ),
        (
            'verdict = "advised against"\nsays = "a graft is joined to a remnant whose',
            'verdict = "supported"\nsays = "a graft is joined to a remnant whose',
            "rules.toml, [[labrum]] interrupted-is-not-augmented: supports something on memory, "
            "habit or our own arithmetic alone. Name a row that was read in a source, or write "
            "'open'.",
        ),
        (
            'verdict = "note"\nsays = "the probe reads less',
            'verdict = "advised against"\nsays = "the probe reads less',
            "rules.toml, [[labrum]] small-by-probe: decides by the width. Give it verdict = "
            "'note': cut-offs of the width differ by modality, and nothing is decided by it.",
        ),
        (
            'age_years = { at_most = "labrum',
            'age_years = { at_mosst = "labrum',
            "rules.toml, [[labrum]] good-unstable-is-repaired, age_years: unknown word "
            "'at mosst'. The nearest known one is 'at most'.",
        ),
        (
            'age_years = { at_most = "labrum.age_repair_years" } }',
            "age_years = 40 }",
            "rules.toml, [[labrum]] good-unstable-is-repaired, age_years: a number is compared, "
            "not matched (got 40). Write a table, as in { at_least = 1 }.",
        ),
        (
            "when = { prior_suture = true }",
            'when = { prior_suture = "yes" }',
            "rules.toml, [[labrum]] repair-of-a-sutured-segment, prior_suture: not true or false "
            "(got 'yes'). Write true or false.",
        ),
        (
            'schema = "rimwright.rules/1"',
            'schema = "rimwright.rules/2"',
            "rules.toml, schema: not a version this program reads (got 'rimwright.rules/2', need "
            "'rimwright.rules/1'). Write schema = 'rimwright.rules/1'.",
        ),
    ],
)
def test_mistakes_in_rules_are_named(old, new, sentence):
    """Each mistake stops the reading with one line: file, rule, what, nearest."""
    assert old in TEXT
    with pytest.raises(CaseRefusal) as refused:
        parse_rules(TEXT.replace(old, new, 1), table=TABLE, where="rules.toml")
    assert str(refused.value) == sentence


@pytest.mark.fault
def test_all_five_options_must_be_listed():
    """A rule file that forgets an option is refused."""
    cut = TEXT[: TEXT.index('[[option]]\nname = "circumferential')]
    with pytest.raises(CaseRefusal, match="List all five, in this order"):
        parse_rules(cut, table=TABLE, where="rules.toml")


@pytest.mark.fault
def test_broken_text_is_refused():
    """Text that is not TOML is refused, never a traceback."""
    with pytest.raises(FileRefusal, match=re.escape("clinic-rules.toml: not TOML")):
        parse_rules("[[labrum]\n", table=TABLE, where="clinic-rules.toml")


def test_unknown_leaves_a_condition_undecided():
    """A missing finding neither meets nor fails; a failing one decides at once."""
    wanted = (
        Choice(field="tissue", values=("good",)),
        Comparison(field="age_years", test=Test.AT_MOST, limit="labrum.age_repair_years"),
    )
    limits = {"labrum.age_repair_years": 40.0}

    def outcome(**facts):
        verification = verify(wanted, facts=facts, limits=limits)
        return verification.met, verification.missing

    assert outcome(tissue="good", age_years=40) == (True, ())
    assert outcome(tissue="good", age_years=41) == (False, ())
    assert outcome(tissue="good") == (None, ("age_years",))
    assert outcome() == (None, ("tissue", "age_years"))
    assert outcome(tissue="poor") == (False, ())


def test_unknown_can_be_accepted_and_presence_asked_for():
    """'unknown' in a list lets a missing finding pass; 'known' wants it there."""
    lenient = (Choice(field="calcified", values=(False,), accepts_unknown=True),)
    assert verify(lenient, facts={}, limits={}).met is True
    assert verify(lenient, facts={"calcified": True}, limits={}).met is False
    known = (Presence(field="width_mm"),)
    assert verify(known, facts={}, limits={}).met is False
    assert verify(known, facts={"width_mm": 0.5}, limits={}).met is True


@pytest.mark.parametrize(
    ("test", "below", "equal", "above"),
    [
        (Test.BELOW, True, False, False),
        (Test.AT_MOST, True, True, False),
        (Test.AT_LEAST, False, True, True),
        (Test.ABOVE, False, False, True),
    ],
)
def test_tests_of_a_number(test, below, equal, above):
    """Each test at its edge."""
    assert [test.holds(value, limit=2.0) for value in (1.9, 2.0, 2.1)] == [below, equal, above]
