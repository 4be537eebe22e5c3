"""Technique files: the order of work as an editable list of steps, two of them shipped."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

from rimwright.anatomy import Action, Option, OrderOfWork
from rimwright.casework.upgrades import TECHNIQUE_FAMILY, shown
from rimwright.errors import CaseRefusal

SHIPPED_TECHNIQUES: Mapping[str, str] = {
    "all anchors first": "all-anchors-first.toml",
    "anchor after each stitch": "anchor-after-each-stitch.toml",
}
"""Name in a case file to file name; the first is in force where the case names none."""

CONDITIONS = ("anchors", "graft", "remnant", "no remnant", "repair", "debride")
MAX_STEPS = 100
MAX_STEP_LENGTH = 600
_KEYS = ("schema", "name", "source", "step")
_STEP_KEYS = ("text", "when")


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """
    One step of a technique.

    Parameters
    ----------
    text
        A sentence.
    when
        Conditions that must all hold for the step to appear; empty means always.
    """

    text: str
    when: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Technique:
    """
    An order of work before it is fitted to an option.

    Parameters
    ----------
    name, source
        As the file says.
    steps
        In order.
    """

    name: str
    source: str
    steps: tuple[Step, ...]

    def for_option(self, option: Option | None) -> OrderOfWork:
        """The steps that apply to an option; all unconditional ones where there is none."""
        holding = conditions_of(option)
        return OrderOfWork(
            name=self.name,
            steps=tuple(step.text for step in self.steps if holding.issuperset(step.when)),
            source=self.source,
        )


def conditions_of(option: Option | None) -> frozenset[str]:
    """
    The conditions of technique steps that hold for an option.

    Parameters
    ----------
    option
        None where nothing is planned.

    Returns
    -------
    frozenset of str
        Out of `CONDITIONS`.
    """
    actions = {item.action for item in option.actions} if option else set()
    holding = set()
    if any(action.needs_anchors for action in actions):
        holding.add("anchors")
    if any(action.needs_graft for action in actions):
        holding.add("graft")
        holding.add("remnant" if Action.AUGMENT in actions else "no remnant")
    if Action.REPAIR in actions:
        holding.add("repair")
    if Action.DEBRIDE in actions:
        holding.add("debride")
    return frozenset(holding)


def shipped_technique(name: str) -> Technique:
    """
    One of the shipped techniques by its name in a case file.

    Parameters
    ----------
    name
        A key of `SHIPPED_TECHNIQUES`.

    Returns
    -------
    Technique
        Read from package data.
    """
    import tomllib

    folder = resources.files("rimwright.casework") / "techniques"
    text = (folder / SHIPPED_TECHNIQUES[name]).read_text(encoding="utf-8")
    return parse_technique(tomllib.loads(text), where=SHIPPED_TECHNIQUES[name])


def read_technique(path: Path) -> Technique:
    """
    Read a technique file that somebody wrote.

    Parameters
    ----------
    path
        TOML or JSON, schema `rimwright.technique/1`.

    Returns
    -------
    Technique
        Validated.

    Raises
    ------
    Refusal
        Missing, unreadable, or not a technique; the message names the step.
    """
    from rimwright.casework.case_file import read_document

    return parse_technique(read_document(path), where=path.name)


def parse_technique(document: Mapping[str, Any], *, where: str) -> Technique:
    """
    Validate a technique given as plain data.

    Parameters
    ----------
    document
        As parsed from TOML or JSON.
    where
        Its name, for messages.

    Returns
    -------
    Technique
        Validated.

    Raises
    ------
    CaseRefusal
        A key is unknown or missing, or a step is no sentence.
    """
    upgraded = TECHNIQUE_FAMILY.upgrade(document, where=where)
    _only(upgraded, _KEYS, where=where)
    name = _text(upgraded.get("name"), where=f"{where}, name")
    source = _text(upgraded.get("source"), where=f"{where}, source")
    steps = upgraded.get("step")
    if not isinstance(steps, list) or not 1 <= len(steps) <= MAX_STEPS:
        got = len(steps) if isinstance(steps, list) else shown(steps)
        raise CaseRefusal(
            f"no list of steps (got {got}, need 1 to {MAX_STEPS})",
            f"{where}, [[step]]",
            'Write [[step]] and text = "…" for each step',
        )
    return Technique(
        name=name,
        source=source,
        steps=tuple(_step(item, f"{where}, [[step]] {n}") for n, item in enumerate(steps, 1)),
    )


def _step(item: Any, where: str) -> Step:
    """One step, checked."""
    if not isinstance(item, dict):
        raise CaseRefusal(f"not a table (got {shown(item)})", where, 'Write text = "…" in it')
    _only(item, _STEP_KEYS, where=where)
    when = item.get("when", [])
    if not isinstance(when, list) or not all(isinstance(word, str) for word in when):
        raise CaseRefusal(
            f"not a list of words (got {shown(when)})", f"{where}, when", 'Write when = ["graft"]'
        )
    for word in when:
        if word not in CONDITIONS:
            raise CaseRefusal(
                f"not a condition (got {shown(word)}, need {' or '.join(CONDITIONS)})",
                f"{where}, when",
                f'The nearest is "{_nearest(word, CONDITIONS)}"',
            )
    return Step(text=_text(item.get("text"), where=f"{where}, text"), when=tuple(when))


def _text(value: Any, *, where: str) -> str:
    """A sentence on one line."""
    if not isinstance(value, str) or not value.strip():
        raise CaseRefusal(f"no text (got {shown(value)})", where, "Write it in quotes")
    if len(value) > MAX_STEP_LENGTH:
        raise CaseRefusal(
            f"too long (got {len(value)} letters, need {MAX_STEP_LENGTH} at most)",
            where,
            "Split it in two steps",
        )
    return " ".join(value.split())


def _only(table: Mapping[str, Any], known: Sequence[str], *, where: str) -> None:
    """Refuse a key nobody knows, naming the nearest."""
    for key in table:
        if key not in known:
            raise CaseRefusal(
                f"unknown key {shown(str(key))} (nearest known: {_nearest(str(key), known)})",
                where,
                "Correct the name, or leave the line out",
            )


def _nearest(word: str, known: Collection[str]) -> str:
    """The known word most like the one written."""
    import difflib

    return difflib.get_close_matches(word[:60], known, n=1, cutoff=0.0)[0]
