"""Candidates of a layout: for each hour and kind a handful of drills that fit and are reached."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import AnchorKind, Floats, Points, Portal
from rimwright.fixation.corridor_bank import CorridorBank, HourRoom
from rimwright.fixation.layout_arcs import LayoutArc
from rimwright.fixation.limits import FixationLimits
from rimwright.fixation.mesh_field import MeshBoneField

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
    fits = room.fits
    if not fits.any():
        return []
    there = np.flatnonzero(fits.any(axis=1))
    room_deg = room.room_deg[there].astype(np.float64)
    full_deg = 2.0 * limits.aiming_error_deg
    lack = np.clip(1.0 - room_deg / full_deg, 0.0, 1.0)
    cost = np.where(fits[there], TOLERANCE_COST * lack**2, np.inf)
    offset = room.offsets_mm[there] - room.offsets_mm[0]
    cost += OFFSET_COST_PER_MM * offset[:, None]
    portal = np.full(cost.shape, -1)
    nearest = np.full(cost.shape, np.cos(np.radians(limits.portal_max_off_deg)))
    spare = 1.0 - nearest[0, 0]
    for number, skin in enumerate(skins):
        if skin is None:
            continue
        lines = room.entries[there] - skin
        lines /= np.linalg.norm(lines, axis=1, keepdims=True)
        cosine = lines @ room.directions.T
        nearer = cosine >= nearest
        portal[nearer] = number
        nearest[nearer] = cosine[nearer]
    if need_portal:
        # 1 − cos grows with the square of the angle.
        share = (1.0 - nearest) / max(spare, 1e-12)
        cost = np.where(portal >= 0, cost + PORTAL_COST * share, np.inf)
    chosen: list[tuple[int, int, int, float, float]] = []
    best_cost = cost.min(axis=0)
    best_entry = cost.argmin(axis=0)
    while len(chosen) < MOST_PER_HOUR:
        d = int(best_cost.argmin())
        if not np.isfinite(best_cost[d]):
            break
        row = int(best_entry[d])
        p = int(portal[row, d])
        off = float(np.degrees(np.arccos(min(nearest[row, d], 1.0)))) if p >= 0 else float("nan")
        chosen.append((int(there[row]), d, p, off, float(best_cost[d])))
        near = room.directions @ room.directions[d] > np.cos(np.radians(APART_DEG - 0.1))
        best_cost = np.where(near, np.inf, best_cost)
    return chosen
