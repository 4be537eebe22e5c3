"""Conditions of rules over findings: met, not met, or undecided because something is unknown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

Fact = float | int | bool | str | None
"""A finding as rules see it; None is unknown."""


class Test(StrEnum):
    """How a number is held against a setting."""

    __test__ = False  # a test of a number, not one for the test runner

    BELOW = "below"
    AT_MOST = "at most"
    AT_LEAST = "at least"
    ABOVE = "above"

    def holds(self, value: float, *, limit: float) -> bool:
        """Whether a value passes the test against a limit."""
        return {
            Test.BELOW: value < limit,
            Test.AT_MOST: value <= limit,
            Test.AT_LEAST: value >= limit,
            Test.ABOVE: value > limit,
        }[self]


@dataclass(frozen=True, slots=True, kw_only=True)
class Choice:
    """
    A finding must be one of some values.

    Parameters
    ----------
    field
        Name of the finding.
    values
        Accepted values.
    accepts_unknown
        Whether an unknown finding passes.
    """

    field: str
    values: tuple[Fact, ...]
    accepts_unknown: bool = False

    def decide(self, facts: Mapping[str, Fact], limits: Mapping[str, float]) -> bool | None:
        """Whether it holds; None where the finding is unknown."""
        del limits  # the settings in force matter to comparisons only
        fact = facts.get(self.field)
        if fact is None:
            if self.accepts_unknown:
                return True
            return None
        return fact in self.values


@dataclass(frozen=True, slots=True, kw_only=True)
class Presence:
    """
    A finding must be known, whatever it is.

    Parameters
    ----------
    field
        Name of the finding.
    """

    field: str

    def decide(self, facts: Mapping[str, Fact], limits: Mapping[str, float]) -> bool | None:
        """Whether the finding is known; never undecided."""
        del limits
        return facts.get(self.field) is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """
    A number must pass a test against a setting in force or a plain count.

    Parameters
    ----------
    field
        Name of the finding.
    test
        How.
    limit
        Name of a setting, or a number.
    """

    field: str
    test: Test
    limit: str | float

    def decide(self, facts: Mapping[str, Fact], limits: Mapping[str, float]) -> bool | None:
        """Whether it holds; None where the finding is unknown."""
        fact = facts.get(self.field)
        if fact is None or isinstance(fact, str):
            return None
        limit = limits[self.limit] if isinstance(self.limit, str) else self.limit
        return self.test.holds(float(fact), limit=limit)


Condition = Choice | Presence | Comparison


@dataclass(frozen=True, slots=True, kw_only=True)
class Verification:
    """
    What became of a set of conditions.

    Parameters
    ----------
    met
        True, False, or None for undecided.
    missing
        Findings that would decide it; empty unless undecided.
    """

    met: bool | None
    missing: tuple[str, ...] = ()


def verify(
    conditions: tuple[Condition, ...],
    *,
    facts: Mapping[str, Fact],
    limits: Mapping[str, float],
) -> Verification:
    """All conditions together: one that fails decides, else one that is unknown leaves it open."""
    missing = []
    for condition in conditions:
        held = condition.decide(facts, limits)
        if held is False:
            return Verification(met=False)
        if held is None:
            missing.append(condition.field)
    if missing:
        return Verification(met=None, missing=tuple(missing))
    return Verification(met=True)
