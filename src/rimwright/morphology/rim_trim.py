"""The bony rim after a trim: its edge moved along the joint surface towards the pole.

In the half-plane of every hour the edge moves by the depth asked for, measured on the lunate
sphere (an arc of depth / radius about the sphere's centre), and stays on the bone's own contour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rimwright.anatomy import (
    N_RIM_HOURS,
    Floats,
    HipGeometry,
    RimCurve,
    RimTrim,
    SocketFaces,
    SphereFit,
    TriangleMesh,
    hours_after,
)
from rimwright.errors import CaseRefusal, LayoutRefusal
from rimwright.evidence import EvidenceTable, load_evidence
from rimwright.morphology.rim_sections import (
    TANGENT_MM,
    RimSections,
    contour_at,
    cut_rim_sections,
    even_out,
    sphere_directions,
)
from rimwright.morphology.socket import REFIT_BANDS_MM, REFIT_CUTOFFS_MM, REFIT_ROUNDS
from rimwright.morphology.sphere_fit import refine_sphere

CUT_SHARE = 0.75
"""Share of the angle between the joint side and the outer face that the cut takes at the new edge;
the rest is left where it leaves the outer face, so that the new edge is the sharper of the two."""
CUT_DEG = (45.0, 90.0)
"""Bounds of the cut's angle with the sphere, deg: at 90 it points away from the sphere's centre;
more would undermine the joint surface."""
NEW_FACES_MM = 1.5
"""From this depth on the faces beside the edge are those of the cut alone, mm (the shortest chord
an edge is traced with); above it they pass over from the old ones."""

HORSESHOE_MM = REFIT_BANDS_MM[-1]
"""Band inside the edge that the lunate sphere is fitted to, mm: the socket's own."""
REFIT_STRIDE = 6
"""Every sixth point of the contour serves the fit: 1.2 mm apart."""


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
    return trimmed_rims(hip, cut_rim_sections(rim, bone, faces), [depth_mm])[0]


def trimmed_rims(
    hip: HipGeometry, sections: RimSections, depths_mm: Sequence[Floats]
) -> list[RimCurve]:
    """
    The rim at several depths, cut once.

    Parameters
    ----------
    hip
        A hip with rim and socket.
    sections
        Its contours.
    depths_mm
        Each (120,), mm, by hour.

    Returns
    -------
    list of RimCurve
        One a depth, all on the same dial.
    """
    if hip.rim is None or hip.socket is None:
        raise LayoutRefusal("there is no measured rim to trim", "rim trim", "Give the hip bone")
    return [
        _as_rim(
            hip.rim,
            move_edge(hip.rim, sections, depth, radius_mm=hip.socket.radius_mm),
            depth,
        )
        for depth in depths_mm
    ]


def refit_sphere(
    rim: RimCurve,
    sections: RimSections,
    depth_mm: Floats,
    *,
    start: SphereFit,
    n_rounds: int = REFIT_ROUNDS,
) -> SphereFit:
    """
    The lunate sphere as it is fitted to the horseshoe inside a trimmed edge.

    Parameters
    ----------
    rim, sections
        The rim before.
    depth_mm
        (120,) mm, by hour.
    start
        The lunate sphere before.
    n_rounds
        Reweightings.

    Returns
    -------
    SphereFit
        Of the contour's band that the socket's own fit rests on.
    """
    near, far = HORSESHOE_MM
    edge = sections.edge_polar_rad - depth_mm / start.radius_mm
    inside_mm = (edge[:, None] - sections.polar_rad[None, ::REFIT_STRIDE]) * start.radius_mm
    distance = sections.distance_mm[:, ::REFIT_STRIDE]
    used = (inside_mm > near) & (inside_mm < far) & np.isfinite(distance)
    hour, angle = np.nonzero(used)
    polar, reach = sections.polar_rad[::REFIT_STRIDE][angle], distance[hour, angle]
    turn = np.radians(30.0 * rim.hours)[hour]
    radials = np.cos(turn)[:, None] * rim.twelve + np.sin(turn)[:, None] * rim.three
    sine, cosine = np.sin(polar)[:, None], np.cos(polar)[:, None]
    points = rim.centre_mm + reach[:, None] * (sine * radials - cosine * rim.axis)
    return refine_sphere(
        points,
        start=start,
        least_cutoff_mm=0.2,
        most_cutoff_mm=REFIT_CUTOFFS_MM[-1],
        n_rounds=n_rounds,
    ).fit


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
    points = contour_at(sections, new_polar)
    inner = contour_at(sections, new_polar - TANGENT_MM / radius_mm)
    to_pole = even_out(inner - points, rim)
    turn = np.clip(CUT_SHARE * (np.pi - sections.outer_rad), *np.radians(CUT_DEG))
    tangent, away = sphere_directions(new_polar)
    cut = -np.cos(turn)[:, None] * tangent + np.sin(turn)[:, None] * away
    return TrimmedEdge(points=points, to_pole=to_pole, cut=cut)


def _as_rim(rim: RimCurve, edge: TrimmedEdge, depth_mm: Floats) -> RimCurve:
    """The rim of a moved edge; hours that are not trimmed keep what they had."""
    angle = np.radians(30.0 * rim.hours)
    radials = np.cos(angle)[:, None] * rim.twelve + np.sin(angle)[:, None] * rim.three
    is_trimmed = (depth_mm > 0.0) & np.isfinite(edge.points[:, 0])
    points = rim.centre_mm + edge.points[:, :1] * radials + edge.points[:, 1:] * rim.axis
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


def _smooth_step(share: Floats) -> Floats:
    """0 to 1 with level ends."""
    part = np.clip(share, 0.0, 1.0)
    step: Floats = part * part * (3.0 - 2.0 * part)
    return step
