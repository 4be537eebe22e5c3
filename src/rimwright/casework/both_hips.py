"""Two cases as the two hips of one person."""

from __future__ import annotations

from dataclasses import dataclass

from rimwright.anatomy import Person, Side
from rimwright.casework.case import Case
from rimwright.errors import CaseRefusal


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TwoHips:
    """
    Both cases of one person.

    Parameters
    ----------
    person
        With the clinic's record of each hip.
    left, right
        The cases.
    """

    person: Person
    left: Case
    right: Case

    @property
    def cases(self) -> tuple[Case, Case]:
        """Left, then right."""
        return self.left, self.right


def two_hips(first: Case, second: Case) -> TwoHips:
    """
    Put two cases together, whichever is given first.

    Parameters
    ----------
    first, second
        One of each side, both naming the same person.

    Returns
    -------
    TwoHips
        Left and right.

    Raises
    ------
    CaseRefusal
        A case does not say whose hip it is, they name different persons, or one side twice.
    """
    for case in (first, second):
        if not case.person:
            raise CaseRefusal(
                "missing (need the same word in both cases)",
                f"{case.where}, person",
                "Say whose hip it is before two are set side by side",
            )
    if first.person != second.person:
        raise CaseRefusal(
            f"not the word that stands in {first.where} (need the same person in both)",
            f"{second.where}, person",
            "Give two cases of one person",
        )
    if first.side is second.side:
        raise CaseRefusal(
            f"the same side twice (got {second.side} in both)",
            f"{second.where}, side",
            "Give one case of each side",
        )
    left, right = sorted((first, second), key=lambda case: case.side is Side.RIGHT)
    person = Person(id=first.person, left=left.clinic, right=right.clinic)
    return TwoHips(person=person, left=left, right=right)
