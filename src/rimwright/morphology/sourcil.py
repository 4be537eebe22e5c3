"""Surrogates on a surface for what a film shows: ends of the sourcil, and the teardrop.

A mesh has no sclerosis. In the coronal plane through the head centre the roof is the part of the
section that lies on the lunate sphere: its lateral end is where the surface leaves the sphere
to round over the rim, its medial end where it drops into the fossa.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, SocketFaces, SphereFit, TriangleMesh, Vector

ON_SPHERE_MM = 0.75
"""Largest miss of the roof from the lunate sphere, mm."""
ON_SPHERE_DEG = (5.0, 30.0)
"""Bounds of the largest turn of the roof's normal from the sphere's, deg; between them it is
`TURN_FACTOR` times the median turn of the surface near the sphere."""
TURN_FACTOR = 3.0
"""Times the median turn that a triangle of the roof may differ by."""
LEAST_ROOF_MM = 10.0
"""A shorter roof has no slope worth telling, mm: a high fossa, or a rough surface."""
LASTING_MM = 3.0
"""The roof is taken up where it lasts at least this long, mm; shorter flecks are passed over."""
FLAW_MM = 2.0
"""A flaw of the roof shorter than this does not end it, mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SourcilSurrogate:
    """
    Points about the head centre in the coronal plane, (lateral, cranial) mm; NaN if not found.

    Parameters
    ----------
    lateral_end, medial_end
        Ends of the roof that lies on the sphere.
    lowest
        Lowest point of the socket's floor.
    """

    lateral_end: Floats
    medial_end: Floats
    lowest: Floats


def find_sourcil(
    bone: TriangleMesh,
    faces: SocketFaces,
    *,
    sphere: SphereFit,
    centre_mm: Vector,
    axes: Floats,
) -> SourcilSurrogate:
    """
    Follow the coronal section of the joint surface from its lateral to its medial end.

    Parameters
    ----------
    bone, faces
        Hip bone and its joint side.
    sphere
        Lunate sphere.
    centre_mm
        Head centre the plane goes through, mm.
    axes
        (3, 3), rows lateral, cranial, anterior, image frame.

    Returns
    -------
    SourcilSurrogate
        In the pelvic frame about `centre_mm`.
    """
    corners = (bone.vertices_mm[bone.triangles[faces.joint]] - centre_mm) @ axes.T
    heights = corners[:, :, 2]
    cut = (heights.min(axis=1) < 0) & (heights.max(axis=1) >= 0)
    nothing = np.full(2, np.nan)
    if not cut.any():
        return SourcilSurrogate(lateral_end=nothing, medial_end=nothing, lowest=nothing)
    corners, heights = corners[cut], heights[cut]
    normals = bone.normals()[faces.joint][cut] @ axes.T
    ends = np.full((len(corners), 3, 2), np.nan)
    for k in range(3):
        a, b = heights[:, k], heights[:, (k + 1) % 3]
        crosses = (a < 0) != (b < 0)
        t = np.where(crosses, a, 0.0) / np.where(crosses, a - b, 1.0)
        point = corners[:, k] + t[:, None] * (corners[:, (k + 1) % 3] - corners[:, k])
        ends[crosses, k] = point[crosses, :2]
    # two of the three edges are crossed; gather them as one segment a triangle
    order = np.argsort(np.isnan(ends[:, :, 0]), axis=1, kind="stable")[:, :2]
    segments = np.take_along_axis(ends, order[:, :, None], axis=1)
    middle = (sphere.centre_mm - centre_mm) @ axes.T
    to_middle = middle - np.concatenate(
        [segments.mean(axis=1), np.zeros((len(segments), 1))], axis=1
    )
    distance = np.linalg.norm(to_middle, axis=1)
    facing = np.einsum("ij,ij->i", normals, to_middle) / distance
    turn_deg = np.degrees(np.arccos(np.clip(facing, -1.0, 1.0)))
    near = np.abs(distance - sphere.radius_mm) < ON_SPHERE_MM
    usual = TURN_FACTOR * float(np.median(turn_deg[near])) if near.any() else 0.0
    roof = near & (turn_deg < np.clip(usual, *ON_SPHERE_DEG))
    lowest = segments.reshape(-1, 2)[np.argmin(segments.reshape(-1, 2)[:, 1])]
    lateral_end, medial_end = _roof_ends(segments, roof)
    return SourcilSurrogate(lateral_end=lateral_end, medial_end=medial_end, lowest=lowest)


def _roof_ends(segments: Floats, roof: Floats) -> tuple[Floats, Floats]:
    """Lateral and medial end of the lasting roof, walking from the lateral edge inward."""
    nothing = np.full(2, np.nan)
    # order the segments round the head centre, from lateral (small angle) over cranial to medial
    angles = np.arctan2(segments[:, :, 1], segments[:, :, 0])
    segments = np.where((angles[:, :1] > angles[:, 1:])[:, :, None], segments[:, ::-1], segments)
    angle = np.sort(angles, axis=1)[:, 0]
    upper = np.flatnonzero(angle > -0.5 * np.pi)
    order = upper[np.argsort(angle[upper], kind="stable")]
    segments, roof = segments[order], roof[order]
    lengths = np.linalg.norm(segments[:, 1] - segments[:, 0], axis=1)
    start: int | None = None
    last = -1
    run, gap = 0.0, 0.0
    for index in range(len(segments)):
        if roof[index]:
            if start is None:
                start = index
            run += lengths[index]
            last, gap = index, 0.0
            continue
        gap += lengths[index]
        if start is not None and gap > FLAW_MM:
            if run >= LASTING_MM:
                break
            start, run = None, 0.0
    if start is None or run < LASTING_MM:
        return nothing, nothing
    if run < LEAST_ROOF_MM:
        return segments[start, 0], nothing
    return segments[start, 0], segments[last, 1]
