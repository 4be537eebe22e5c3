"""The gap between the lunate and the head, along rays from the head centre."""

from __future__ import annotations

import numpy as np
from scipy.spatial import cKDTree

from rimwright.anatomy import Floats, RimCurve, SocketFaces, SphereFit, TriangleMesh

HEAD_REACH_MM = 8.0
"""Femur up to this far outside the head's sphere may face the lunate (cam, flare of the neck), mm;
beyond it lies the trochanter."""
N_NEAREST = 10
"""Triangles tried for each ray, nearest in direction first."""
LEAST_SHARE = 0.01
"""Share of the lunate's area that the smallest joint space is read at: one triangle's flaw does
not make it."""
HOUR_WINDOW = 0.25
"""Half width of the window that a by-hour value is the median of, hours."""


def measure_joint_space(
    bone: TriangleMesh, faces: SocketFaces, *, femur: TriangleMesh, head: SphereFit
) -> Floats:
    """
    Gap at every lunate triangle.

    Parameters
    ----------
    bone, faces
        Hip bone and its lunate triangles.
    femur, head
        Femur and the sphere of its head.

    Returns
    -------
    Floats
        (k,) mm for the k lunate triangles: distance along the ray from the head centre through
        the triangle's centroid, from the femur's surface to it; negative where the bones overlap,
        NaN where the ray meets no femur.
    """
    targets = bone.centroids_mm()[faces.lunate] - head.centre_mm
    reach = np.linalg.norm(targets, axis=1)
    rays = targets / reach[:, None]
    corners = femur.corners_mm() - head.centre_mm
    middles = corners.mean(axis=1)
    distance = np.linalg.norm(middles, axis=1)
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    near = np.flatnonzero(
        (distance < head.radius_mm + HEAD_REACH_MM) & (np.einsum("ij,ij->i", middles, normals) > 0)
    )
    corners, normals = corners[near], normals[near]
    tree = cKDTree(middles[near] / distance[near, None])
    _, index = tree.query(rays, k=min(N_NEAREST, len(near)))
    surface = np.full(len(rays), np.nan)
    for k in range(index.shape[1]):
        a, b, c = (corners[index[:, k], corner] for corner in range(3))
        normal = normals[index[:, k]]
        with np.errstate(divide="ignore", invalid="ignore"):
            at = np.einsum("ij,ij->i", a, normal) / np.einsum("ij,ij->i", rays, normal)
        point = at[:, None] * rays
        inside = np.ones(len(rays), dtype=bool)
        for first, second in ((a, b), (b, c), (c, a)):
            turn = np.einsum("ij,ij->i", np.cross(second - first, point - first), normal)
            inside &= turn >= -1e-9 * np.einsum("ij,ij->i", normal, normal)
        hit = inside & (at > 0)
        surface = np.where(hit & ~(surface >= at), at, surface)
    gap: Floats = reach - surface
    return gap


def least_joint_space(gap_mm: Floats, area_mm2: Floats) -> float:
    """The gap that one hundredth of the lunate's area stays under, mm; NaN entries left out."""
    seen = np.isfinite(gap_mm)
    order = np.argsort(gap_mm[seen], kind="stable")
    area = area_mm2[seen][order]
    shares = (np.cumsum(area) - 0.5 * area) / area.sum()
    return float(np.interp(LEAST_SHARE, shares, gap_mm[seen][order]))


def joint_space_by_hour(
    gap_mm: Floats, bone: TriangleMesh, faces: SocketFaces, *, rim: RimCurve
) -> Floats:
    """Median gap within a quarter hour of every rim hour, (120,) mm; NaN where none is seen."""
    hours = rim.hours_of(bone.centroids_mm()[faces.lunate])
    values = np.full(len(rim.hours), np.nan)
    for index, hour in enumerate(rim.hours):
        away = np.abs((hours - hour + 6.0) % 12.0 - 6.0)
        here = gap_mm[(away <= HOUR_WINDOW) & np.isfinite(gap_mm)]
        if len(here) and rim.is_bone[index]:
            values[index] = np.median(here)
    return values
