"""Drill directions judged once per kind of anchor and hour, shared by corridors and layouts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from weakref import WeakKeyDictionary

import numpy as np
from numba import njit

from rimwright.anatomy import AnchorKind, Floats, OldAnchor, RimCurve
from rimwright.fixation.drill_fan import as_fans, cap_grid, turned
from rimwright.fixation.entry_points import EntrySet, entry_offsets_mm, find_entries
from rimwright.fixation.judging import DrillDemand, demand_of, judge_directions, share_out
from rimwright.fixation.limits import FixationLimits
from rimwright.fixation.mesh_field import MeshBoneField
from rimwright.fixation.old_anchors import OldRow, lay_old_anchors, points_to_avoid
from rimwright.fixation.shading import FITS

GRID_STEP_DEG = 5.0
"""Spacing of the directions tried before the best is refined, deg: half the width of the
narrowest corridor worth having at the default aiming error."""
GRID_HALF_ANGLE_DEG = 75.0
"""Directions tried lie within this of the middle of the bone, deg; a drill flatter to the outer
face than 15 degrees cannot keep a margin of half a millimetre four millimetres on."""
NO_ENTRY = 255
"""Verdict where the outer face ends before the offset."""
HOUR_TICKS = 1000
"""Hours are kept to a thousandth, so that 1.1 and 1.1000000001 are one."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HourRoom:
    """
    What fits at one hour for one kind of anchor.

    Parameters
    ----------
    hour
        Acetabular hour.
    entries, normals
        (o, 3) entries, mm from the field's origin, and the outward normals there; NaN for none.
    offsets_mm
        (o,) from the edge.
    directions
        (k, 3) unit directions tried.
    verdict
        (o, k) uint8, the first thing found to block each, FITS for none.
    room_deg
        (o, k) angle from each fitting direction to the nearest one tried that does not fit; 0
        where it does not fit itself.
    axes
        (3, 3) frame of the hour.
    """

    hour: float
    entries: Floats
    normals: Floats
    offsets_mm: Floats
    directions: Floats
    verdict: np.ndarray
    room_deg: Floats
    axes: Floats

    @property
    def fits(self) -> np.ndarray:
        """(o, k) bool."""
        return self.verdict == FITS


class CorridorBank:
    """
    Rooms by kind and hour for one bone, rim, set of limits and old anchors.

    Parameters
    ----------
    field, rim, limits
        The bone, its edge, the limits.
    old_anchors
        Anchors already there, besides the field's own obstacles.
    """

    def __init__(
        self,
        field: MeshBoneField,
        rim: RimCurve,
        *,
        limits: FixationLimits,
        old_anchors: Sequence[OldAnchor] = (),
    ) -> None:
        # The field is not kept: the bank hangs on it by a weak reference.
        self.rim = rim
        self.limits = limits
        self.old_anchors = tuple(old_anchors)
        self.old_rows: tuple[OldRow, ...] = lay_old_anchors(
            field, rim, old_anchors=(*field.obstacles, *old_anchors), limits=limits
        )
        self._rooms: dict[tuple[AnchorKind, int], HourRoom] = {}
        self._grid, self._cosines = _grid()

    def demand(self, kind: AnchorKind) -> DrillDemand:
        """What a kind asks of the bone and of the old anchors."""
        points, radii = points_to_avoid(
            self.old_rows,
            drill_mm=kind.drill_mm,
            gap_mm=max(self.limits.neighbour_gap_mm, self.limits.margin_cortex_mm),
        )
        return demand_of(kind, self.limits, old_points=points, old_radii=radii)

    def rooms(
        self, field: MeshBoneField, kind: AnchorKind, hours: Sequence[float]
    ) -> tuple[HourRoom, ...]:
        """The room at each hour, worked out where it is not yet known."""
        keys = [(kind, round(float(hour) * HOUR_TICKS)) for hour in hours]
        missing = sorted({key[1] for key in keys if key not in self._rooms})
        if missing:
            for key, room in self._work_out(field, kind, np.array(missing) / HOUR_TICKS):
                self._rooms[(kind, key)] = room
        return tuple(self._rooms[key] for key in keys)

    def _work_out(
        self, field: MeshBoneField, kind: AnchorKind, hours: Floats
    ) -> list[tuple[int, HourRoom]]:
        """Judge every grid direction at every entry of some hours."""
        found: EntrySet = find_entries(
            field, self.rim, hours=hours, offsets_mm=entry_offsets_mm(self.limits)
        )
        n_hours, n_offsets = found.points.shape[:2]
        directions = turned(self._grid, found.axes)
        entries = found.points.reshape(-1, 3)
        normals = found.normals.reshape(-1, 3)
        there = np.flatnonzero(np.isfinite(entries[:, 0]))
        verdict = np.full((len(entries), len(self._grid)), NO_ENTRY, dtype=np.uint8)
        verdict[there] = judge_directions(
            field,
            self.demand(kind),
            entries=entries[there],
            normals=normals[there],
            fan_of=there // n_offsets,
            fans=as_fans(directions),
        )
        room = np.zeros(verdict.shape, dtype=np.float32)
        share_out(
            lambda first, past: _room_to_turn(verdict[first:past], self._cosines, room[first:past]),
            len(verdict),
        )
        verdicts = verdict.reshape(n_hours, n_offsets, len(self._grid))
        room_deg = room.reshape(verdicts.shape)
        return [
            (
                round(float(hour) * HOUR_TICKS),
                HourRoom(
                    hour=float(hour),
                    entries=found.points[h],
                    normals=found.normals[h],
                    offsets_mm=found.offsets_mm,
                    directions=directions[h],
                    verdict=verdicts[h],
                    room_deg=room_deg[h],
                    axes=found.axes[h],
                ),
            )
            for h, hour in enumerate(hours)
        ]


@lru_cache(maxsize=1)
def _grid() -> tuple[Floats, np.ndarray]:
    """Directions tried in an hour's frame, and the cosines between them."""
    grid = cap_grid(step_deg=GRID_STEP_DEG, half_angle_deg=GRID_HALF_ANGLE_DEG)
    return grid, np.ascontiguousarray(grid @ grid.T, dtype=np.float32)


_BANKS: WeakKeyDictionary[MeshBoneField, dict[tuple[object, ...], CorridorBank]] = (
    WeakKeyDictionary()
)


def bank_of(
    field: MeshBoneField,
    rim: RimCurve,
    *,
    limits: FixationLimits,
    old_anchors: Sequence[OldAnchor] = (),
) -> CorridorBank:
    """The bank of a bone and its limits: the same one for every option and every corridor."""
    banks = _BANKS.setdefault(field, {})
    # The bank holds what it was keyed by, so an identity is never that of a thing since gone.
    key = (id(rim), limits, tuple(id(old) for old in old_anchors))
    bank = banks.get(key)
    if bank is None:
        bank = CorridorBank(field, rim, limits=limits, old_anchors=old_anchors)
        banks[key] = bank
    return bank


# No cosine here is ever NaN, which lets the search for the largest run in lanes.
@njit(cache=True, nogil=True, fastmath={"nnan", "nsz"})
def _nearest_blocked(cosines, handicap):  # type: ignore[no-untyped-def]
    """Largest cosine to a direction whose handicap is 0."""
    nearest = np.float32(-4.0)
    for k in range(len(cosines)):
        c = cosines[k] + handicap[k]
        nearest = c if c > nearest else nearest
    return nearest


@njit(cache=True, nogil=True)
def _room_to_turn(verdict, cosines, room):  # type: ignore[no-untyped-def]
    """Angle from each fitting direction of the grid to the nearest that does not fit, deg."""
    handicap = np.empty(verdict.shape[1], dtype=np.float32)
    for e in range(len(verdict)):
        n_fitting = 0
        for k in range(len(handicap)):
            fits = verdict[e, k] == FITS
            handicap[k] = np.float32(-4.0) if fits else np.float32(0.0)
            n_fitting += fits
        if n_fitting == 0:
            continue
        for k in range(len(handicap)):
            if verdict[e, k] == FITS:
                nearest = _nearest_blocked(cosines[k], handicap)
                room[e, k] = np.degrees(np.arccos(min(max(nearest, np.float32(-1)), np.float32(1))))
