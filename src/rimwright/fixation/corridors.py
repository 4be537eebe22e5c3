"""Corridors: at each hour the best entry and direction of a drill, and the error they tolerate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from rimwright.anatomy import (
    AnchorKind,
    Corridor,
    Floats,
    OldAnchor,
    Progress,
    RimCurve,
    TriangleMesh,
    no_progress,
)
from rimwright.fixation.corridor_bank import CorridorBank, HourRoom, bank_of
from rimwright.fixation.drill_fan import as_fans, plane_fan
from rimwright.fixation.judging import half_angles_deg, judge_directions, widen_directions
from rimwright.fixation.limits import FixationLimits
from rimwright.fixation.mesh_field import MeshBoneField, check_same_bone
from rimwright.fixation.shading import FITS
from rimwright.fixation.swept_bone import swept_volume_mm3

CORRIDOR_STEP_HOURS = 0.25
"""Hours between corridors, as the plan's contract asks."""
PLANE_STEP_DEG = 0.5
"""Spacing of the directions tried in the radial plane, deg: the widest run is short by less."""
PLANE_HALF_ANGLE_DEG = 90.0
UNASKED_MM = 1e-6
"""Distance asked for where a surface is left out, mm: the axis itself may still not cross it."""
REFINED_ENTRIES = 2
"""Entries of an hour refined from the grid: those with most room on it. A third never won by more
than a degree on the real hip tried."""


def corridor_hours(rim: RimCurve) -> Floats:
    """Every 0.25 h outside the notch."""
    hours = np.arange(0.0, 12.0, CORRIDOR_STEP_HOURS)
    return np.array([hour for hour in hours if np.isfinite(rim.point_at(float(hour))).all()])


def find_corridors(
    field: MeshBoneField,
    rim: RimCurve,
    *,
    bone: TriangleMesh,
    kind: AnchorKind,
    limits: FixationLimits,
    hours: Sequence[float] | Floats | None = None,
    old_anchors: Sequence[OldAnchor] = (),
    progress: Progress | None = None,
) -> tuple[Corridor, ...]:
    """
    Find the corridor of one drill at each hour.

    Parameters
    ----------
    field, rim
        The bone's field and the rim of its socket.
    bone
        The hip bone the field was built from.
    kind
        Drill diameter and depth.
    limits
        Margins, entry offsets.
    hours
        Acetabular hours; None for every 0.25 h outside the notch. An hour in the notch is left
        out.
    old_anchors
        Anchors and tunnels already there, besides the field's obstacles.
    progress
        Told the fraction done.

    Returns
    -------
    tuple of Corridor
        In the order of the hours. Where nothing fits, zeros and what blocks it.

    Raises
    ------
    LayoutRefusal
        The field was built from another bone.
    CaseRefusal
        An old anchor has no place.

    Notes
    -----
    A direction fits where the drill's axis keeps drill/2 + margin from the joint from the entry
    on, drill/2 + margin from every other bone surface from `cortex_margin_from_depth_mm` on
    (round the tip too: a capsule), drill/2 + the larger of neighbour gap and cortex margin from
    old anchors, and does not leave the bone on the way. The best direction is the one with the
    largest cone; it starts from a 5 degree grid over all entries and is refined to 0.3 degrees.
    """
    tell = progress or no_progress
    check_same_bone(field, bone)
    bank = bank_of(field, rim, limits=limits, old_anchors=old_anchors)
    asked = corridor_hours(rim) if hours is None else np.asarray(hours, dtype=np.float64)
    kept = [float(h) for h in asked if np.isfinite(rim.point_at(float(h))).all()]
    tell(0.0, "corridors")
    rooms = bank.rooms(field, kind, kept)
    tell(0.5, "corridors")
    found = _best_of_rooms(field, bank, kind, rooms)
    tell(1.0, "corridors")
    return found


def _best_of_rooms(
    field: MeshBoneField, bank: CorridorBank, kind: AnchorKind, rooms: Sequence[HourRoom]
) -> tuple[Corridor, ...]:
    """Refine the best direction of each entry, then keep the best entry of each hour."""
    starts = []
    for r, room in enumerate(rooms):
        best = np.argmax(room.room_deg, axis=1)
        widest = room.room_deg[np.arange(len(best)), best]
        leading = np.argsort(-widest, kind="stable")[:REFINED_ENTRIES]
        starts += [(r, int(o), int(best[o])) for o in leading if widest[o] > 0.0]
    demand = bank.demand(kind)
    chosen: dict[int, tuple[float, int, Floats]] = {}
    if starts:
        entries = np.array([rooms[r].entries[o] for r, o, _ in starts])
        normals = np.array([rooms[r].normals[o] for r, o, _ in starts])
        directions = np.array([rooms[r].directions[k] for r, _, k in starts])
        axes, guesses = widen_directions(field, demand, entries=entries, directions=directions)
        leaders: dict[int, int] = {}
        for s, (r, _, _) in enumerate(starts):
            if r not in leaders or guesses[s] > guesses[leaders[r]]:
                leaders[r] = s
        kept = np.array(list(leaders.values()))
        sure = half_angles_deg(
            field, demand, entries=entries[kept], normals=normals[kept], directions=axes[kept]
        )
        for s, angle in zip(kept, sure, strict=True):
            if angle > 0.0:
                chosen[starts[s][0]] = (float(angle), starts[s][1], axes[s])
    order = sorted(chosen)
    runs: dict[int, float] = {}
    if order:
        local = plane_fan(step_deg=PLANE_STEP_DEG, half_angle_deg=PLANE_HALF_ANGLE_DEG)
        directions = np.array([local @ rooms[r].axes for r in order])
        verdict = judge_directions(
            field,
            demand,
            entries=np.array([rooms[r].entries[chosen[r][1]] for r in order]),
            normals=np.array([rooms[r].normals[chosen[r][1]] for r in order]),
            fan_of=np.arange(len(order)),
            fans=as_fans(directions),
        )
        runs = {r: _widest_run_deg(row == FITS) for r, row in zip(order, verdict, strict=True)}
    return tuple(
        _corridor(field, bank, kind, room, chosen.get(r), runs.get(r, 0.0))
        for r, room in enumerate(rooms)
    )


def _corridor(
    field: MeshBoneField,
    bank: CorridorBank,
    kind: AnchorKind,
    room: HourRoom,
    chosen: tuple[float, int, Floats] | None,
    run_deg: float,
) -> Corridor:
    """The record of one hour."""
    if chosen is None:
        return Corridor(
            hour=room.hour,
            entry_mm=None,
            direction=None,
            half_angle_deg=0.0,
            rim_angle_deg=0.0,
            depth_to_cortex_mm=0.0,
            bone_volume_mm3=0.0,
            blocked_by=what_blocks(field, bank, kind, room.hour),
        )
    angle, o, axis = chosen
    entry = room.entries[o]
    return Corridor(
        hour=room.hour,
        entry_mm=entry + field.origin_mm,
        direction=axis,
        half_angle_deg=angle,
        # The best direction may leave the radial plane where the plane itself holds none.
        rim_angle_deg=run_deg,
        depth_to_cortex_mm=_depth_to_surface_mm(field, entry, axis),
        bone_volume_mm3=swept_volume_mm3(room.directions, room.fits[o], kind=kind),
        blocked_by="",
    )


def what_blocks(field: MeshBoneField, bank: CorridorBank, kind: AnchorKind, hour: float) -> str:
    """
    What stops every direction at an hour.

    Parameters
    ----------
    field, bank
        The bone and what was worked out on it.
    kind
        The drill that does not fit.
    hour
        Where.

    Returns
    -------
    str
        'joint', 'cortex' or 'old anchor': the one without which most directions would fit;
        where no single one is to blame, the one that leaves fewest by itself.
    """
    room = bank.rooms(field, kind, [hour])[0]
    there = np.flatnonzero(np.isfinite(room.entries[:, 0]))
    demand = bank.demand(kind)

    def n_fitting(**changed: object) -> int:
        verdict = judge_directions(
            field,
            replace(demand, **changed),  # type: ignore[arg-type]
            entries=room.entries[there],
            normals=room.normals[there],
            fan_of=np.zeros(len(there), dtype=np.int64),
            fans=as_fans(room.directions[None]),
        )
        return int(np.count_nonzero(verdict == FITS))

    no_old = {"old_points": np.zeros((0, 3)), "old_radii": np.zeros(0)}
    if len(demand.old_radii) and n_fitting(**no_old):
        return "old anchor"
    without = {
        "joint": n_fitting(joint_mm=UNASKED_MM),
        "cortex": n_fitting(cortex_mm=UNASKED_MM),
    }
    if any(without.values()):
        return max(without, key=lambda name: without[name])
    alone = {
        "joint": n_fitting(cortex_mm=UNASKED_MM, **no_old),
        "cortex": n_fitting(joint_mm=UNASKED_MM, **no_old),
    }
    return min(alone, key=lambda name: alone[name])


def _depth_to_surface_mm(field: MeshBoneField, entry: Floats, axis: Floats) -> float:
    """From the entry along the axis to the next bone surface, mm."""
    from_mm = 0.05
    depth = min(
        field.cortex.first_hit_mm(entry, axis, from_mm=from_mm),
        field.joint.first_hit_mm(entry, axis, from_mm=from_mm),
    )
    return float(depth) if np.isfinite(depth) else 0.0


def _widest_run_deg(fits: np.ndarray) -> float:
    """Angle of the longest run of fitting directions of the plane fan, deg."""
    padded = np.concatenate([[False], fits, [False]]).astype(np.int8)
    edges = np.diff(padded)
    starts, ends = np.flatnonzero(edges == 1), np.flatnonzero(edges == -1)
    if not len(starts):
        return 0.0
    return float((ends - starts - 1).max() * PLANE_STEP_DEG)
