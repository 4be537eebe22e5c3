"""Graft stock: what to have in the room; never a pre-cut length."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class GraftKind:
    """
    A graft to hand.

    Parameters
    ----------
    kind
        Trade words (tibialis tendon allograft, iliotibial band autograft, …).
    diameter_mm
        mm, > 0.
    """

    kind: str
    diameter_mm: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Allowance:
    """
    One addition to the arc, with its reason and the evidence it rests on.

    Parameters
    ----------
    reason
        Why the length is added.
    length_mm
        mm.
    evidence
        Evidence ids; empty where it is common practice, and then the reason says so.
    """

    reason: str
    length_mm: float
    evidence: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class GraftStock:
    """
    Stock to have in the room; the surplus is cut last, in place.

    Parameters
    ----------
    kind, diameter_mm
        The graft; None where the equipment lists none.
    arc_mm
        Length of the grafted sectors along the seating line, mm.
    stock_length_mm
        Arc and allowances, mm.
    allowances
        What was added and why.
    """

    kind: str | None
    diameter_mm: float | None
    arc_mm: float
    stock_length_mm: float
    allowances: tuple[Allowance, ...] = ()
