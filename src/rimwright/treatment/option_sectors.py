"""Arcs of options: the rim outside the notch, and neighbours with one action joined."""

from __future__ import annotations

from collections.abc import Iterable

from rimwright.anatomy import Sector, SectorAction, hour_gap
from rimwright.evidence import EvidenceTable

_SAME_HOUR = 1e-9  # hours; two arcs that meet share an end to rounding


def notch_in_force(notch: Sector | None, *, table: EvidenceTable) -> Sector:
    """The measured notch, else the customary one of the settings."""
    if notch is not None:
        return notch
    return Sector(
        from_hour=table.number("labrum.notch_from_hour"),
        to_hour=table.number("labrum.notch_to_hour"),
    )


def rim_outside(notch: Sector) -> Sector:
    """The whole rim but the notch, from its posterior end round to its anterior end."""
    return Sector(from_hour=notch.to_hour, to_hour=notch.from_hour)


def outside_notch(sector: Sector, *, notch: Sector) -> tuple[Sector, ...]:
    """The parts of an arc that lie on bone, in the order of the arc."""
    pieces = [sector]
    for hour in (notch.from_hour, notch.to_hour):
        pieces = [part for piece in pieces for part in piece.split_at(hour)]
    kept = [piece for piece in pieces if not notch.contains(piece.middle_hour)]
    if sector.is_whole_ring and len(kept) > 1:
        return (rim_outside(notch),)
    return tuple(kept)


def joined_actions(actions: Iterable[SectorAction]) -> tuple[SectorAction, ...]:
    """Neighbours with the same action as one arc, in order of their first hour."""
    ordered = sorted(actions, key=lambda item: item.sector.from_hour)
    joined: list[SectorAction] = []
    for item in ordered:
        if joined and _meets(joined[-1], item):
            joined[-1] = _join(joined[-1], item)
        else:
            joined.append(item)
    if len(joined) > 1 and _meets(joined[-1], joined[0]):
        joined[0] = _join(joined.pop(), joined[0])
        joined.sort(key=lambda item: item.sector.from_hour)
    return tuple(joined)


def _meets(first: SectorAction, second: SectorAction) -> bool:
    return (
        first.action is second.action
        and hour_gap(first.sector.to_hour, second.sector.from_hour) < _SAME_HOUR
    )


def _join(first: SectorAction, second: SectorAction) -> SectorAction:
    sector = Sector(from_hour=first.sector.from_hour, to_hour=second.sector.to_hour)
    return SectorAction(sector=sector, action=first.action)
