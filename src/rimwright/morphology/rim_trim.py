"""The bony rim after a trim: its edge moved along the joint surface towards the pole.

In the half-plane of every hour the edge moves by the depth asked for, measured on the lunate
sphere (an arc of depth / radius about the sphere's centre), and stays on the bone's own contour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter1d

from rimwright.anatomy import (
    N_RIM_HOURS,
    RIM_STEP_HOURS,
    Floats,
    HipGeometry,
    RimCurve,
    RimTrim,
    SocketFaces,
    TriangleMesh,
    hours_after,
)
from rimwright.errors import CaseRefusal, LayoutRefusal
from rimwright.evidence import EvidenceTable, load_evidence
from rimwright.morphology.femur.sections import Dial
from rimwright.morphology.polar_contours import cut_used, polar_distances

ANGLE_STEP_DEG = 0.5
"""Step of the joint's contour, deg: 0.2 mm on a socket of 25 mm."""
LOWEST_DEG = 30.0
"""The contour is followed from this far from the pole, deg: no trim goes nearer."""
TANGENT_MM = 2.5
"""Stretch of contour whose chord gives its direction, mm: as long as the edge is traced with."""
SMOOTH_HOURS = 0.2
"""Directions are evened out along the rim over this (one standard deviation), hours: 2.5 mm."""
CUT_SHARE = 0.65
"""Share of the turn at the bony edge that the cut takes at the new one; the rest is left where the
cut leaves the outer face. More than half, so that the new edge is the sharper of the two."""
CUT_DEG = (40.0, 90.0)
"""Bounds of that turn, deg: the cut never undermines the joint surface."""
NEW_FACES_MM = 1.5
"""From this depth on the faces beside the edge are those of the cut alone, mm (the shortest chord
an edge is traced with); above it they pass over from the old ones."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RimSections:
    """
    The rim in the half-plane of every hour: columns across the opening axis and along it.

    Parameters
    ----------
    edge_polar_rad, edge_mm
        (120,) bony edge about the rim's centre: angle from the medial pole, distance.
    polar_rad
        (a,) angles of the contour, increasing.
    distance_mm
        (120, a) distance of the joint's contour, carried on to the edge; NaN in the notch.
    wedge_rad
        (120,) angle of bone at the edge, evened out along the rim.
    """

    edge_polar_rad: Floats
    edge_mm: Floats
    polar_rad: Floats
    distance_mm: Floats
    wedge_rad: Floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrimmedEdge:
    """
    The new edge in the half-plane of every hour, with the direction of the cut.

    Parameters
    ----------
    points
        (120, 2) across the opening axis and along it, mm; NaN in the notch.
    to_pole, cut
        (120, 2) unit: along the joint's contour away from the edge, and from the edge along the
        cut into bone.
    """

    points: Floats
    to_pole: Floats
    cut: Floats


def trimmed_rim(
    hip: HipGeometry, trims: Sequence[RimTrim], *, table: EvidenceTable | None = None
) -> RimCurve:
    """
    Move the bony edge to where a trim leaves it.

    Parameters
    ----------
    hip
        A hip with rim, hip bone and its joint side.
    trims
        Arcs and depths; where they overlap the deepest counts.
    table
        Settings in force (the taper); the shipped ones if left out.

    Returns
    -------
    RimCurve
        On the same dial: hours keep their meaning, hours that are not trimmed their points.

    Raises
    ------
    Refusal
        No rim or bone to trim, or a depth beyond the largest that is worked out.
    """
    rim, bone, faces = bone_to_trim(hip)
    depth_mm = depth_by_hour(rim, trims, table=table or load_evidence())
    if not (depth_mm > 0.0).any():
        return rim
    sections = cut_rim_sections(rim, bone, faces)
    edge = move_edge(rim, sections, depth_mm, radius_mm=_radius_mm(hip))
    return _as_rim(rim, edge, depth_mm)


def bone_to_trim(hip: HipGeometry) -> tuple[RimCurve, TriangleMesh, SocketFaces]:
    """Rim, hip bone and its joint side; refused where one is missing."""
    if hip.rim is None or hip.pelvis_bone is None or hip.faces is None or hip.socket is None:
        reason = hip.unavailable.get("rim", "no hip bone given")
        raise LayoutRefusal(
            f"there is no measured rim to trim ({reason})", "rim trim", "Give the hip bone"
        )
    return hip.rim, hip.pelvis_bone, hip.faces


def depth_by_hour(rim: RimCurve, trims: Sequence[RimTrim], *, table: EvidenceTable) -> Floats:
    """
    Depth taken at every tenth of an hour.

    Parameters
    ----------
    rim
        Gives the notch, where there is nothing to take.
    trims
        Arcs and depths.
    table
        Settings: `rim_trim.taper_hours`, `rim_trim.most_tried_mm`.

    Returns
    -------
    Floats
        (120,) mm: full inside an arc, falling smoothly to nothing at its ends; a short arc, whose
        tapers meet, reaches full depth at its middle. An end in the notch has no taper.

    Raises
    ------
    CaseRefusal
        Deeper than the largest depth that is worked out.
    """
    most_mm = table.number("rim_trim.most_tried_mm")
    taper = table.number("rim_trim.taper_hours")
    depth = np.zeros(N_RIM_HOURS)
    for trim in trims:
        if trim.depth_mm > most_mm:
            raise CaseRefusal(
                f"a trim deeper than is worked out (got {trim.depth_mm:g} mm, "
                f"need at most {most_mm:g} mm)",
                f"rim trim, {trim.sector}",
                "Give a smaller depth, or a larger rim_trim.most_tried_mm",
            )
        sector = trim.sector
        share = np.ones(N_RIM_HOURS)
        if not sector.is_whole_ring:
            reach = min(taper, sector.span_hours / 2)
            after = np.array([hours_after(sector.from_hour, hour) for hour in rim.hours])
            before = sector.span_hours - after
            rise_from = _smooth_step(after / reach)
            rise_to = _smooth_step(before / reach)
            rise_from = np.where(rim.is_in_notch(sector.from_hour), 1.0, rise_from)
            rise_to = np.where(rim.is_in_notch(sector.to_hour), 1.0, rise_to)
            inside = (after >= 0.0) & (before >= 0.0)
            share = np.where(inside, np.minimum(rise_from, rise_to), 0.0)
        depth = np.maximum(depth, trim.depth_mm * share)
    return np.where(rim.is_bone, depth, 0.0)


def cut_rim_sections(rim: RimCurve, bone: TriangleMesh, faces: SocketFaces) -> RimSections:
    """
    Cut the joint side of a hip bone by the half-planes of the rim's hours.

    Parameters
    ----------
    rim, bone, faces
        A measured socket.

    Returns
    -------
    RimSections
        Contours about the rim's centre.
    """
    relative = rim.points_mm - rim.centre_mm
    angle = np.radians(30.0 * rim.hours)
    radials = np.cos(angle)[:, None] * rim.twelve + np.sin(angle)[:, None] * rim.three
    across = np.einsum("ij,ij->i", relative, radials)
    along = relative @ rim.axis
    edge_polar, edge_mm = np.arctan2(across, -along), np.hypot(across, along)
    # to beyond the farthest edge, so that every contour ends at its own
    top_deg = float(np.degrees(np.nanmax(edge_polar))) + ANGLE_STEP_DEG
    angles_deg = np.arange(LOWEST_DEG, top_deg, ANGLE_STEP_DEG)
    contours = cut_used(
        bone.vertices_mm,
        bone.triangles[faces.joint],
        dial=Dial(centre_mm=rim.centre_mm, axis=-rim.axis, twelve=rim.twelve, three=rim.three),
        n_hours=N_RIM_HOURS,
    )
    distance = polar_distances(contours, angles_deg=angles_deg)
    polar = np.radians(angles_deg)
    for index in range(N_RIM_HOURS):
        row = distance[index]
        seen = np.isfinite(row) & (polar < edge_polar[index])
        if not rim.is_bone[index] or not seen.any():
            row[:] = np.nan
            continue
        row[:] = np.interp(
            polar,
            np.append(polar[seen], edge_polar[index]),
            np.append(row[seen], edge_mm[index]),
        )
    return RimSections(
        edge_polar_rad=edge_polar,
        edge_mm=edge_mm,
        polar_rad=polar,
        distance_mm=distance,
        wedge_rad=_wedge_rad(rim, radials, edge_polar, edge_mm, polar, distance),
    )


def move_edge(
    rim: RimCurve, sections: RimSections, depth_mm: Floats, *, radius_mm: float
) -> TrimmedEdge:
    """
    The edge at a depth, and the cut that leaves it there.

    Parameters
    ----------
    rim, sections
        The rim before.
    depth_mm
        (120,) mm, on the lunate sphere.
    radius_mm
        Radius of the lunate sphere, mm.

    Returns
    -------
    TrimmedEdge
        In the half-planes of the hours.
    """
    new_polar = sections.edge_polar_rad - depth_mm / radius_mm
    points = _contour_at(sections, new_polar)
    inner = _contour_at(sections, new_polar - TANGENT_MM / radius_mm)
    to_pole = _even(inner - points, rim)
    bone_side = np.stack([-to_pole[:, 1], to_pole[:, 0]], axis=1)
    turn = np.clip(CUT_SHARE * (np.pi - sections.wedge_rad), *np.radians(CUT_DEG))
    cut = -np.cos(turn)[:, None] * to_pole + np.sin(turn)[:, None] * bone_side
    return TrimmedEdge(points=points, to_pole=to_pole, cut=cut)


def _radius_mm(hip: HipGeometry) -> float:
    """Radius of the lunate sphere."""
    if hip.socket is None:
        raise LayoutRefusal("there is no socket to trim", "rim trim", "Give the hip bone")
    return hip.socket.radius_mm


def _as_rim(rim: RimCurve, edge: TrimmedEdge, depth_mm: Floats) -> RimCurve:
    """The rim of a moved edge; hours that are not trimmed keep what they had."""
    angle = np.radians(30.0 * rim.hours)
    radials = np.cos(angle)[:, None] * rim.twelve + np.sin(angle)[:, None] * rim.three
    is_trimmed = (depth_mm > 0.0) & np.isfinite(edge.points[:, 0])
    points = (
        rim.centre_mm
        + edge.points[:, :1] * radials
        + edge.points[:, 1:] * rim.axis
    )
    points = np.where(is_trimmed[:, None], points, rim.points_mm)
    bisector = edge.to_pole + edge.cut
    inward = bisector[:, :1] * radials + bisector[:, 1:] * rim.axis
    inward /= np.linalg.norm(inward, axis=1, keepdims=True)
    share = _smooth_step(depth_mm / NEW_FACES_MM)[:, None]
    inward = (1.0 - share) * rim.bone_inward + share * np.where(
        is_trimmed[:, None], inward, rim.bone_inward
    )
    inward /= np.linalg.norm(inward, axis=1, keepdims=True)
    in_plane = np.einsum("ij,ij->i", inward, radials)[:, None]
    outward = in_plane * rim.axis - (inward @ rim.axis)[:, None] * radials
    outward /= np.linalg.norm(outward, axis=1, keepdims=True)
    moved = replace(
        rim,
        points_mm=points,
        bone_inward=np.where(is_trimmed[:, None], inward, rim.bone_inward),
        outward=np.where(is_trimmed[:, None], outward, rim.outward),
    )
    shrunk = moved.arc_positions_mm()[-1] / rim.arc_positions_mm()[-1]
    return replace(moved, length_mm=rim.length_mm * float(shrunk))


def _contour_at(sections: RimSections, polar: Floats) -> Floats:
    """Points of the joint's contour, one angle an hour, (120, 2) across and along."""
    at = (polar - sections.polar_rad[0]) / np.radians(ANGLE_STEP_DEG)
    top = len(sections.polar_rad) - 2
    low = np.clip(np.nan_to_num(np.floor(at)), 0, top).astype(np.int64)
    share = np.clip(at - low, 0.0, 1.0)
    rows = np.arange(len(polar))
    distance = (1.0 - share) * sections.distance_mm[rows, low] + share * sections.distance_mm[
        rows, low + 1
    ]
    # the last step before the edge itself ends at the edge, not at the grid
    last = polar > sections.edge_polar_rad - np.radians(ANGLE_STEP_DEG)
    near = sections.edge_polar_rad - np.radians(ANGLE_STEP_DEG)
    if last.any():
        inside = np.array(
            [
                np.interp(angle, sections.polar_rad, row)
                for angle, row in zip(near, sections.distance_mm, strict=True)
            ]
        )
        part = (polar - near) / np.radians(ANGLE_STEP_DEG)
        distance = np.where(last, (1.0 - part) * inside + part * sections.edge_mm, distance)
    return np.stack([distance * np.sin(polar), -distance * np.cos(polar)], axis=1)


def _wedge_rad(
    rim: RimCurve,
    radials: Floats,
    edge_polar: Floats,
    edge_mm: Floats,
    polar: Floats,
    distance: Floats,
) -> Floats:
    """Angle of bone at the edge: twice that between the contour inward and the bisector."""
    back = edge_polar - TANGENT_MM / edge_mm
    inner_mm = np.array([np.interp(a, polar, row) for a, row in zip(back, distance, strict=True)])
    edge = np.stack([edge_mm * np.sin(edge_polar), -edge_mm * np.cos(edge_polar)], axis=1)
    inner = np.stack([inner_mm * np.sin(back), -inner_mm * np.cos(back)], axis=1)
    to_pole = _even(inner - edge, rim)
    bisector = np.stack(
        [np.einsum("ij,ij->i", rim.bone_inward, radials), rim.bone_inward @ rim.axis], axis=1
    )
    bisector = _even(bisector, rim)
    cosine = np.einsum("ij,ij->i", to_pole, bisector)
    wedge: Floats = 2.0 * np.arccos(np.clip(cosine, -1.0, 1.0))
    return wedge


def _even(vectors: Floats, rim: RimCurve) -> Floats:
    """Unit directions evened out along the rim, the notch bridged, (120, 2)."""
    lengths = np.linalg.norm(vectors, axis=1, keepdims=True)
    unit = vectors / np.where(lengths > 0.0, lengths, np.nan)
    seen = np.flatnonzero(np.isfinite(unit[:, 0]))
    if len(seen) == 0:
        return unit
    whole = np.arange(len(unit))
    filled = np.column_stack(
        [np.interp(whole, seen, column[seen], period=float(len(unit))) for column in unit.T]
    )
    smooth = gaussian_filter1d(filled, SMOOTH_HOURS / RIM_STEP_HOURS, axis=0, mode="wrap")
    smooth /= np.linalg.norm(smooth, axis=1, keepdims=True)
    return np.where(rim.is_bone[:, None], smooth, np.nan)


def _smooth_step(share: Floats) -> Floats:
    """0 to 1 with level ends."""
    part = np.clip(share, 0.0, 1.0)
    step: Floats = part * part * (3.0 - 2.0 * part)
    return step
