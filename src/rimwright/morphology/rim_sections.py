"""The bony rim and the joint's contour inside it, in the half-plane of every hour."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from rimwright.anatomy import (
    N_RIM_HOURS,
    RIM_STEP_HOURS,
    Floats,
    RimCurve,
    SocketFaces,
    TriangleMesh,
)
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
    outer_rad
        (120,) angle of the outer face at the edge with the way along the sphere to the pole, evened
        out along the rim; 90 degrees is away from the centre.
    """

    edge_polar_rad: Floats
    edge_mm: Floats
    polar_rad: Floats
    distance_mm: Floats
    outer_rad: Floats


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
        outer_rad=_outer_rad(rim, radials, edge_polar, edge_mm, polar, distance),
    )


def contour_at(sections: RimSections, polar: Floats) -> Floats:
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


def _outer_rad(
    rim: RimCurve,
    radials: Floats,
    edge_polar: Floats,
    edge_mm: Floats,
    polar: Floats,
    distance: Floats,
) -> Floats:
    """Angle of the outer face with the way to the pole: the contour inward, mirrored in the
    bisector of the two faces.
    """
    back = edge_polar - TANGENT_MM / edge_mm
    inner_mm = np.array([np.interp(a, polar, row) for a, row in zip(back, distance, strict=True)])
    edge = np.stack([edge_mm * np.sin(edge_polar), -edge_mm * np.cos(edge_polar)], axis=1)
    inner = np.stack([inner_mm * np.sin(back), -inner_mm * np.cos(back)], axis=1)
    bisector = np.stack(
        [np.einsum("ij,ij->i", rim.bone_inward, radials), rim.bone_inward @ rim.axis], axis=1
    )
    tangent, away = sphere_directions(edge_polar)

    def turned(vectors: Floats) -> Floats:
        return np.arctan2(
            np.einsum("ij,ij->i", vectors, away), np.einsum("ij,ij->i", vectors, tangent)
        )

    outer = 2.0 * turned(bisector) - turned(inner - edge)
    even = even_out(np.stack([np.cos(outer), np.sin(outer)], axis=1), rim)
    angle: Floats = np.arctan2(even[:, 1], even[:, 0])
    return angle


def sphere_directions(polar: Floats) -> tuple[Floats, Floats]:
    """Unit ways along a sphere to the pole and away from its centre, (n, 2) in the half-planes."""
    sine, cosine = np.sin(polar), np.cos(polar)
    return np.stack([-cosine, -sine], axis=1), np.stack([sine, -cosine], axis=1)


def even_out(vectors: Floats, rim: RimCurve) -> Floats:
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
