"""Portals on this hip: skin points, and the hours their straight lines reach past the head."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from rimwright.anatomy import (
    AnchorKind,
    Floats,
    HipGeometry,
    Portal,
    RimCurve,
    Sector,
    SocketFaces,
    TriangleMesh,
    Vector,
    hours_of_rim,
    wrap_hour,
)
from rimwright.evidence import EvidenceTable
from rimwright.fixation.drill_fan import as_fans, cap_grid, turned
from rimwright.fixation.entry_points import find_entries
from rimwright.fixation.judging import demand_of, judge_directions
from rimwright.fixation.limits import FixationLimits
from rimwright.fixation.mesh_field import MeshBoneField, build_mesh_field
from rimwright.fixation.portal_positions import skin_points
from rimwright.fixation.triangle_tree import TriangleTree, build_triangle_tree

LIFT_MM = 1.0
"""The line ends this far above the outer face, mm, so that the facets of the face beside the
entry do not count as bone in its way."""
ENTRY_OFFSETS_MM = (0.0, 2.0)
"""Entries tried, beyond the least offset from the edge, mm."""
FAN_STEP_DEG = 5.0
"""Spacing of the drill directions tried about a line, deg: the grid of the corridors."""
STEEP_COSINE = 0.9
"""Two directions with a larger cosine are too near to span a frame."""
HALF_STEP_HOURS = 0.05
"""A reach found at tenths of an hour runs half a tenth farther on both sides."""

SKIN_CAUTION = (
    "Portals rest on an assumed soft-tissue depth and on the bones as they lay in the scan: skin, "
    "muscle and the position on the table are not in them."
)
NERVE_CAUTION = (
    "Of the portals, the anterior and the mid-anterior lie within {distance:g} mm of a nerve or "
    "vessel, and the sciatic nerve is near the posterolateral one "
    "(planning:5.35, planning:5.36, planning:5.29)."
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PortalPlacement:
    """
    Portals, or why there are none.

    Parameters
    ----------
    portals
        Empty where a landmark is missing.
    cautions
        General doubts of portals from bones.
    """

    portals: tuple[Portal, ...]
    cautions: tuple[str, ...]


def place_portals(
    hip: HipGeometry, settings: EvidenceTable, *, field: MeshBoneField | None = None
) -> PortalPlacement:
    """
    Place portals and work out the hours that each reaches.

    Parameters
    ----------
    hip
        Measured, with rim, both bones, ASIS and greater trochanter; else no portals.
    settings
        The evidence table in force (`portal.*`).
    field
        The bone's field where it is built already.

    Returns
    -------
    PortalPlacement
        Five portals with the sectors each reaches, or none and a caution that names what is
        missing.

    Notes
    -----
    An hour is reached where, at one of two entries, the straight line from the skin passes
    neither the hip bone nor the femur, drawn out of the socket by `head_distraction_mm` along
    its shaft, and a drill of the example size (`plan.example_*`) fits the bone within
    `max_off_deg` of that line. Old anchors and other drills are the layout's to judge.
    """
    missing = [
        words
        for key, words in (("asis", "the ASIS"), ("greater_trochanter", "the greater trochanter"))
        if key not in hip.landmarks_mm
    ]
    if hip.rim is None or hip.pelvis_bone is None or hip.faces is None:
        missing.append("the rim of the socket")
    if hip.femur_bone is None or hip.femur is None:
        missing.append("the femur")
    if missing:
        return PortalPlacement(
            portals=(),
            cautions=(
                f"No portals: {', '.join(missing)} not seen, so which portal reaches an anchor is "
                "not known.",
            ),
        )
    assert hip.rim is not None
    assert hip.pelvis_bone is not None
    assert hip.faces is not None
    assert hip.femur_bone is not None
    used = field if field is not None else _field_of(hip.pelvis_bone, hip.faces)
    femur = _tree_of(hip.femur_bone)
    shift = settings.number("portal.head_distraction_mm") * traction_direction(hip)
    targets = _targets(used, hip.rim, settings)
    points = skin_points(hip, settings)
    lines, lengths = _lines([point.skin_mm - used.origin_mm for point in points], targets)
    drillable = _drillable(lines, targets, field=used, settings=settings)
    portals = tuple(
        Portal(
            name=point.name,
            skin_mm=point.skin_mm,
            reaches=_reach(
                lines[number],
                lengths[number],
                drillable[number],
                targets=targets,
                field=used,
                femur=femur,
                shift=shift,
            ),
            evidence=point.evidence,
        )
        for number, point in enumerate(points)
    )
    nerve = NERVE_CAUTION.format(distance=settings.number("portal.nerve_distance_caution_mm"))
    cautions = [SKIN_CAUTION, nerve]
    idle = [portal.name for portal in portals if not portal.reaches]
    if idle:
        cautions.append(f"No hour is reached in a straight line from: {', '.join(idle)}.")
    return PortalPlacement(portals=portals, cautions=tuple(cautions))


def traction_direction(hip: HipGeometry) -> Vector:
    """Unit direction in which traction draws the femur: along its shaft, else caudal."""
    if hip.femur is not None and hip.femur.shaft_axis is not None:
        return -hip.femur.shaft_axis
    return -hip.frame.cranial


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Targets:
    """Entries that lines end at: hour, point (mm from the origin), outward normal, hour's frame."""

    hours: Floats
    points: Floats
    normals: Floats
    axes: Floats


def _targets(field: MeshBoneField, rim: RimCurve, settings: EvidenceTable) -> _Targets:
    """A few entries at every tenth of an hour outside the notch."""
    hours = np.array([h for h in hours_of_rim() if np.isfinite(rim.point_at(float(h))).all()])
    offsets = settings.number("fixation.entry_offset_min_mm") + np.array(ENTRY_OFFSETS_MM)
    found = find_entries(field, rim, hours=hours, offsets_mm=offsets)
    there = np.isfinite(found.points[:, :, 0])
    hour_of = np.nonzero(there)[0]
    return _Targets(
        hours=hours[hour_of],
        points=found.points[there],
        normals=found.normals[there],
        axes=found.axes[hour_of],
    )


def _lines(skins: Sequence[Vector], targets: _Targets) -> tuple[Floats, Floats]:
    """Unit directions from each skin point to each entry, (p, n, 3), and lengths, (p, n)."""
    lines = targets.points[None] - np.array(skins)[:, None]
    lengths = np.linalg.norm(lines, axis=2)
    return lines / lengths[..., None], lengths


def _reach(
    lines: Floats,
    lengths: Floats,
    drillable: np.ndarray,
    *,
    targets: _Targets,
    field: MeshBoneField,
    femur: TriangleTree,
    shift: Vector,
) -> tuple[Sector, ...]:
    """The sectors whose entries the lines of one portal reach past bone."""
    is_reached = np.zeros(120, dtype=bool)
    for row in np.flatnonzero(drillable):
        tenth = round(targets.hours[row] * 10) % 120
        if is_reached[tenth]:
            continue
        # From the entry outwards; a start moved against the shift meets the femur moved by it.
        start = targets.points[row] + LIFT_MM * targets.normals[row]
        blocked = min(
            field.cortex.first_hit_mm(start, -lines[row]),
            field.joint.first_hit_mm(start, -lines[row]),
            femur.first_hit_mm(start + field.origin_mm - shift, -lines[row]),
        )
        is_reached[tenth] = blocked >= lengths[row]
    return sectors_of(is_reached)


def _drillable(
    lines: Floats, targets: _Targets, *, field: MeshBoneField, settings: EvidenceTable
) -> np.ndarray:
    """Whether the example drill fits within the largest angle off each line, (p, n) bool."""
    fan = cap_grid(step_deg=FAN_STEP_DEG, half_angle_deg=settings.number("portal.max_off_deg"))
    n_portals, n_entries = lines.shape[:2]
    # Any frame about the line serves; one taken from the hour's own mirrors with the hip.
    side = np.broadcast_to(targets.axes[:, 1], lines.shape)
    other = np.broadcast_to(targets.axes[:, 2], lines.shape)
    steep = np.abs((lines * side).sum(axis=2, keepdims=True)) > STEEP_COSINE
    across = np.where(steep, other, side)
    across = across - (across * lines).sum(axis=2, keepdims=True) * lines
    across /= np.linalg.norm(across, axis=2, keepdims=True)
    frames = np.stack([lines, across, np.cross(lines, across)], axis=2)
    directions = turned(fan, frames.reshape(-1, 3, 3)).reshape(n_portals, n_entries, -1, 3)
    kind = AnchorKind(
        drill_mm=settings.number("plan.example_drill_mm"),
        depth_mm=settings.number("plan.example_depth_mm"),
    )
    demand = demand_of(
        kind,
        FixationLimits.from_evidence(settings),
        old_points=np.zeros((0, 3)),
        old_radii=np.zeros(0),
    )
    # All portals' fans of one entry together: what surface lies near it is looked up once.
    verdict = judge_directions(
        field,
        demand,
        entries=targets.points,
        normals=targets.normals,
        fan_of=np.arange(n_entries),
        fans=as_fans(np.concatenate(list(directions), axis=1)),
    )
    return (verdict.reshape(n_entries, n_portals, -1) == 0).any(axis=2).T


def sectors_of(is_reached: np.ndarray) -> tuple[Sector, ...]:
    """
    Sectors of the tenths of an hour that are reached.

    Parameters
    ----------
    is_reached
        (120,) bool, 0.0 … 11.9.

    Returns
    -------
    tuple of Sector
        Each run, half a tenth longer at both ends; the whole ring where all are reached.
    """
    if is_reached.all():
        return (Sector(from_hour=0.0, to_hour=0.0),)
    begins = np.flatnonzero(is_reached & ~np.roll(is_reached, 1))
    sectors = []
    for begin in begins:
        end = int(begin)
        while is_reached[(end + 1) % 120]:
            end += 1
        sectors.append(
            Sector(
                from_hour=round(wrap_hour(begin / 10 - HALF_STEP_HOURS), 6),
                to_hour=round(wrap_hour(end / 10 + HALF_STEP_HOURS), 6),
            )
        )
    return tuple(sectors)


@lru_cache(maxsize=2)
def _field_of(bone: TriangleMesh, faces: SocketFaces) -> MeshBoneField:
    """The field of a hip bone, kept for the portals of the next plan of the same hip."""
    return build_mesh_field(bone, faces, centre_mm=bone.vertices_mm.mean(axis=0))


@lru_cache(maxsize=2)
def _tree_of(bone: TriangleMesh) -> TriangleTree:
    """The tree of a femur, kept likewise."""
    return build_triangle_tree(bone, np.arange(bone.n_triangles))
