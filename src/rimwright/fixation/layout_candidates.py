"""Candidates of a layout: for each hour and kind a handful of drills that fit and are reached."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numba import njit

from rimwright.anatomy import AnchorKind, Floats, Points, Portal
from rimwright.fixation.corridor_bank import CorridorBank, HourRoom
from rimwright.fixation.layout_arcs import LayoutArc
from rimwright.fixation.limits import FixationLimits
from rimwright.fixation.mesh_field import MeshBoneField
from rimwright.fixation.shading import FITS

MOST_PER_HOUR = 6
"""Drills kept per hour and kind: the best, then the best of those that point elsewhere."""
APART_DEG = 10.0
"""Kept drills of one hour point at least this far apart, deg: two steps of the grid."""

# Costs of one anchor, in the unit of a gap's cost: a gap that misses its target by all of itself
# costs 1, one that misses it by a quarter 0.06. Our choice, stated in the documentation.
KIND_COST = 1.0
"""Per place down the list of kinds: as dear as one gap of twice its target."""
TOLERANCE_COST = 0.25
"""Of an anchor that tolerates no aiming error; falls to 0 at twice the error asked for."""
OFFSET_COST_PER_MM = 0.02
"""Per mm from the nearest entry: a far entry everts the labrum."""
PORTAL_COST = 0.05
"""Of an anchor at the largest angle from its portal's line; falls with the square to 0."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Candidates:
    """
    Drills to choose from, in order along the arcs; columns of one table of n rows.

    Parameters
    ----------
    arc, along_mm, hour
        (n,) number of the arc, arc length on it, hour.
    entries, directions
        (n, 3) mm from the field's origin; unit.
    normals
        (n, 3) outward normals of the outer face at the entries.
    kind, portal
        (n,) place in the list of kinds; of portals, −1 for none.
    portal_off_deg
        (n,) deg, NaN for none.
    cost
        (n,) cost of the anchor alone.
    """

    arc: np.ndarray
    along_mm: Floats
    hour: Floats
    entries: Points
    normals: Floats
    directions: Floats
    kind: np.ndarray
    portal: np.ndarray
    portal_off_deg: Floats
    cost: Floats

    def __len__(self) -> int:
        return len(self.cost)


def list_candidates(
    field: MeshBoneField,
    bank: CorridorBank,
    *,
    arcs: Sequence[LayoutArc],
    kinds: Sequence[AnchorKind],
    portals: Sequence[Portal],
) -> Candidates:
    """
    Choose the drills that a layout may use.

    Parameters
    ----------
    field, bank
        The bone, and the rooms of every kind and hour.
    arcs, kinds
        Where, and with what, in order of preference.
    portals
        Empty where they are not known; else each drill kept is reached by one.

    Returns
    -------
    Candidates
        Up to `MOST_PER_HOUR` for each hour and kind.
    """
    rows: list[tuple[object, ...]] = []
    for a, arc in enumerate(arcs):
        rooms_of = [bank.rooms(field, kind, list(arc.hours)) for kind in kinds]
        for h in range(len(arc.hours)):
            for k in range(len(kinds)):
                room = rooms_of[k][h]
                skins = [
                    portal.skin_mm - field.origin_mm if reaches(portal, room.hour) else None
                    for portal in portals
                ]
                for o, d, portal, off, cost in choose_drills(
                    room, skins=skins, limits=bank.limits, need_portal=bool(portals)
                ):
                    rows.append(
                        (a, arc.along_mm[h], room.hour, room.entries[o], room.normals[o],
                         room.directions[d], k, portal, off, cost + KIND_COST * k)
                    )  # fmt: skip
    columns = list(zip(*rows, strict=True)) if rows else [()] * 10
    return Candidates(
        arc=np.array(columns[0], dtype=np.int64),
        along_mm=np.array(columns[1], dtype=np.float64),
        hour=np.array(columns[2], dtype=np.float64),
        entries=np.array(columns[3], dtype=np.float64).reshape(-1, 3),
        normals=np.array(columns[4], dtype=np.float64).reshape(-1, 3),
        directions=np.array(columns[5], dtype=np.float64).reshape(-1, 3),
        kind=np.array(columns[6], dtype=np.int64),
        portal=np.array(columns[7], dtype=np.int64),
        portal_off_deg=np.array(columns[8], dtype=np.float64),
        cost=np.array(columns[9], dtype=np.float64),
    )


def reaches(portal: Portal, hour: float) -> bool:
    """Whether a portal's line reaches the rim at an hour."""
    return any(sector.contains(hour) for sector in portal.reaches)


def choose_drills(
    room: HourRoom,
    *,
    skins: Sequence[Floats | None],
    limits: FixationLimits,
    need_portal: bool,
) -> list[tuple[int, int, int, float, float]]:
    """
    The cheapest drill of an hour, then the cheapest of those that point elsewhere.

    Parameters
    ----------
    room
        What fits at the hour.
    skins
        Skin point of each portal, mm from the field's origin; None where it does not reach.
    limits
        Aiming error and largest angle from a portal's line.
    need_portal
        Whether a drill that no portal reaches is left out.

    Returns
    -------
    list of tuple
        Entry number, direction number, portal number (−1 none), angle from its line (deg, NaN
        for none), cost.
    """
    n_portals = len(skins)
    at = np.zeros((n_portals, 3))
    usable = np.zeros(n_portals, dtype=np.bool_)
    for number, skin in enumerate(skins):
        if skin is not None:
            at[number] = skin
            usable[number] = True
    where = np.empty((MOST_PER_HOUR, 3), dtype=np.int64)
    worth = np.empty((MOST_PER_HOUR, 2))
    n = _choose(
        room.verdict,
        room.room_deg,
        room.entries,
        room.offsets_mm,
        room.directions,
        at,
        usable,
        2.0 * limits.aiming_error_deg,
        float(np.cos(np.radians(limits.portal_max_off_deg))),
        need_portal,
        where,
        worth,
    )
    return [
        (int(o), int(d), int(p), float(off), float(cost))
        for (o, d, p), (off, cost) in zip(where[:n], worth[:n], strict=True)
    ]


@njit(cache=True, nogil=True)
def _best_portal(line_from, entry, direction, usable, least_cosine):  # type: ignore[no-untyped-def]
    """The usable portal whose line to the entry lies nearest a direction; −1 for none."""
    portal = -1
    nearest = least_cosine
    for p in range(len(line_from)):
        if not usable[p]:
            continue
        size = 0.0
        along = 0.0
        for axis in range(3):
            step = entry[axis] - line_from[p, axis]
            size += step * step
            along += step * direction[axis]
        cosine = along / np.sqrt(size)
        if cosine >= nearest:
            nearest = cosine
            portal = p
    return portal, nearest


@njit(cache=True, nogil=True)
def _pick(cheapest, directions, n_wanted, chosen):  # type: ignore[no-untyped-def]
    """Directions in order of price, each at least `APART_DEG` from those before; how many."""
    apart = np.cos(np.radians(APART_DEG - 0.1))
    n = 0
    while n < n_wanted:
        best = int(np.argmin(cheapest))
        if not np.isfinite(cheapest[best]):
            break
        chosen[n] = best
        n += 1
        for k in range(len(cheapest)):
            along = 0.0
            for axis in range(3):
                along += directions[k, axis] * directions[best, axis]
            if along > apart:
                cheapest[k] = np.inf
    return n


@njit(cache=True, nogil=True)
def _choose(  # type: ignore[no-untyped-def]
    verdict, room_deg, entries, offsets, directions, skins, usable, full_deg, least_cosine,
    need_portal, where, worth,
):  # fmt: skip
    """Price every fitting drill, then keep the cheapest of each direction's neighbourhood."""
    n_directions = verdict.shape[1]
    cheapest = np.full(n_directions, np.inf)
    entry_of = np.zeros(n_directions, dtype=np.int64)
    portal_of = np.full(n_directions, -1, dtype=np.int64)
    cosine_of = np.zeros(n_directions)
    for o in range(len(verdict)):
        for k in range(n_directions):
            if verdict[o, k] != FITS:
                continue
            lack = max(1.0 - room_deg[o, k] / full_deg, 0.0)
            cost = TOLERANCE_COST * lack * lack + OFFSET_COST_PER_MM * (offsets[o] - offsets[0])
            portal, cosine = _best_portal(skins, entries[o], directions[k], usable, least_cosine)
            if need_portal:
                # 1 − cos grows with the square of the angle.
                cost += PORTAL_COST * (1.0 - cosine) / max(1.0 - least_cosine, 1e-12)
                if portal < 0:
                    continue
            if cost < cheapest[k]:
                cheapest[k] = cost
                entry_of[k], portal_of[k], cosine_of[k] = o, portal, cosine
    prices = cheapest.copy()
    chosen = np.empty(len(where), dtype=np.int64)
    n = _pick(cheapest, directions, len(where), chosen)
    for i in range(n):
        k = chosen[i]
        where[i, 0], where[i, 1], where[i, 2] = entry_of[k], k, portal_of[k]
        worth[i, 0] = np.nan
        if portal_of[k] >= 0:
            worth[i, 0] = np.degrees(np.arccos(min(cosine_of[k], 1.0)))
        worth[i, 1] = prices[k]
    return n
