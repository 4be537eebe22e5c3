"""From a solid of boxes to the bone's surface: every vertex moved to where the edge really lies."""

from __future__ import annotations

import numpy as np
from numba import njit

from rimwright.anatomy import Floats, Ints, Mask, Points, TriangleMesh
from rimwright.morphology.scan.blur import Plates, Scanner
from rimwright.morphology.scan.bone_regions import PAD, BoneSolid
from rimwright.morphology.scan.edge_model import fit_edges
from rimwright.morphology.scan.graded_grid import GradedGrid
from rimwright.morphology.scan.joint_map import JointMap
from rimwright.morphology.scan.oriented import OrientedGrid
from rimwright.morphology.scan.sampling import read_profiles
from rimwright.morphology.scan.surface_net import split_quads, wrap_solid
from rimwright.morphology.scan.unwrap import POLAR_DEG

SAMPLE_MM = 0.3
INSIDE_MM, OUTSIDE_MM = 3.6, 2.4
"""Length of the profile through each vertex on either side, mm."""
MOST_MOVE_MM = 1.8
"""An edge further away is not this surface's, mm."""
N_EDGE_STEPS, EDGE_SETTLED_MM = 6, 0.01
"""Steps in which a vertex finds its edge: the many of a surface need no more."""
MOST_MISFIT = 4.0
ONTO_JOINT_MM = 2.5
"""A vertex of the boxes this near a traced surface of the joint lies on it, mm."""
FADE_FROM, FADE_TO = 0.9, 1.0
"""Covered share of the neighbourhood between which the traced surface takes over."""
NARROW_MM, WIDE_MM = 1.2, 2.4
"""Joint widths between which a vertex' own normal comes to see its own bone alone, mm."""
NARROW_EARLIER = 0.35
"""How much sooner the traced surface takes over where the joint is narrow."""
CONE_RAYS = 49.0
"""Rings about the pole, to 99 degrees, in which the head bounds both bones."""
FEMUR_REACH_MM, LEAST_GAP_MM = 0.8, 0.2
"""A femur reaches no further beyond the head's traced surface, a hip bone comes no nearer, mm."""
FINE_VOXEL_MM = 2.0
"""In longer voxels nothing is given back to edges: there the first order is not enough."""
MOST_GIVEN_MM = 0.5
"""Most that is given back to an edge, mm."""
N_SMOOTH, N_FINISH = 2, 8
"""Rounds of smoothing before the edges are sought, to take the boxes' steps out, and after, to
take the noise of single vertices out: a broad rim's summit is found by turns of a few degrees."""


def surface_of(
    grid: GradedGrid,
    solid: BoneSolid,
    *,
    scanner: Scanner,
    plates: Plates,
    joint: JointMap | None,
    is_femur: bool,
) -> TriangleMesh:
    """
    The surface of one bone.

    Parameters
    ----------
    grid, solid
        The bone as boxes.
    scanner, plates
        Blur, and what plates look like.
    joint
        Its traced surfaces, onto which what faces the joint is laid; None for a bone without.
    is_femur
        Which of the two surfaces.

    Returns
    -------
    TriangleMesh
        Closed, outward, image frame.
    """
    points, quads = wrap_solid(solid.inside, solid.field, solid.level)
    offset = np.array(solid.corner) - PAD
    vertices = grid.to_mm(points + offset)
    triangles = split_quads(vertices, quads)
    vertices = _smoothed(vertices, triangles, n_rounds=N_SMOOTH)
    normals = TriangleMesh(vertices_mm=vertices, triangles=triangles).vertex_normals()
    move, sure = _edge_offsets(grid.scan, vertices, normals, scanner=scanner, plates=plates)
    move = _spread(move, sure, triangles)
    placed = vertices + move[:, None] * normals
    if joint is not None:
        laid, weight = _onto_joint(vertices, joint, is_femur=is_femur)
        placed = (1.0 - weight) * placed + weight * laid
        placed = _kept_apart(placed, joint, is_femur=is_femur)
    placed = _smoothed(placed, triangles, n_rounds=N_FINISH)
    if float(grid.scan.voxel_mm.max()) < FINE_VOXEL_MM:
        placed = _unrounded(placed, triangles, grid.scan, scanner)
    return TriangleMesh(vertices_mm=placed, triangles=triangles)


def rough_surface_of(grid: GradedGrid, solid: BoneSolid) -> TriangleMesh:
    """
    The surface of a bone to about a box, for its landmarks.

    Parameters
    ----------
    grid, solid
        The bone as boxes.

    Returns
    -------
    TriangleMesh
        Closed, outward, image frame.
    """
    points, quads = wrap_solid(solid.inside, solid.field, solid.level)
    vertices = grid.to_mm(points + np.array(solid.corner) - PAD)
    triangles = split_quads(vertices, quads)
    return TriangleMesh(
        vertices_mm=_smoothed(vertices, triangles, n_rounds=N_SMOOTH), triangles=triangles
    )


def _smoothed(points: Points, triangles: Ints, *, n_rounds: int) -> Points:
    """Take the steps of the boxes out: Taubin's pair of a shrinking and a growing round."""
    out = points
    for _ in range(n_rounds):
        for factor in (0.5, -0.53):
            out = out + factor * (_ring_mean(out, triangles) - out)
    return out


def _ring_mean(values: Floats, triangles: Ints) -> Floats:
    """Mean of each vertex's neighbours."""
    total = np.zeros_like(values)
    count = np.zeros(len(values))
    _add_rings(np.ascontiguousarray(values), triangles, total, count)
    return total / np.maximum(count, 1.0)[:, None]


@njit(cache=True, nogil=True)
def _add_rings(values, triangles, total, count):  # type: ignore[no-untyped-def]
    """Every edge of a closed surface is met twice: the means come out even."""
    for t in range(len(triangles)):
        for e in range(3):
            a, b = triangles[t, e], triangles[t, (e + 1) % 3]
            for m in range(values.shape[1]):
                total[a, m] += values[b, m]
            count[a] += 1.0


def _edge_offsets(
    scan: OrientedGrid, vertices: Points, normals: Points, *, scanner: Scanner, plates: Plates
) -> tuple[Floats, Mask]:
    """How far along its normal each vertex's edge lies, and whether it was found."""
    n_samples = int((INSIDE_MM + OUTSIDE_MM) / SAMPLE_MM) + 1
    profiles = read_profiles(
        scan, vertices, normals, start_mm=-INSIDE_MM, step_mm=SAMPLE_MM, n_samples=n_samples
    )
    at = -INSIDE_MM + SAMPLE_MM * np.arange(n_samples)
    fall = np.full_like(profiles, -np.inf)
    fall[:, 1:-1] = profiles[:, :-2] - profiles[:, 2:]
    fall = np.where(np.abs(at) <= MOST_MOVE_MM, fall - 40.0 * np.abs(at), -np.inf)
    steepest = np.argmax(fall, axis=1)
    rows = np.arange(len(profiles))
    # what rises again beyond the darkest sample is another bone
    outside = np.where(np.arange(n_samples) > steepest[:, None], profiles, np.inf)
    outside[:, -1] = profiles[:, -1]
    count = np.minimum(np.argmin(outside, axis=1) + 2, n_samples)
    start = np.empty((len(profiles), 5))
    start[:] = (0, plates.thickness_mm, 0, plates.plate_hu, plates.soft_hu)
    start[:, 0] = at[steepest]
    start[:, 2] = profiles[:, :3].mean(axis=1)
    believed = start.copy()
    sd = np.array([1.2, 0.8, 500.0, 0.35 * plates.plate_hu, 120.0])
    found, misfit = fit_edges(
        profiles,
        first_mm=np.full(len(profiles), -INSIDE_MM),
        step_mm=SAMPLE_MM,
        count=count,
        sigma_mm=scanner.sigma_along(scan, normals),
        start=start,
        mean=believed,
        sd=sd,
        n_steps=N_EDGE_STEPS,
        settled_mm=EDGE_SETTLED_MM,
    )
    sure = (misfit < MOST_MISFIT) & (np.abs(found[:, 0]) < MOST_MOVE_MM)
    sure &= fall[rows, steepest] > 40.0
    return found[:, 0], sure


def _unrounded(vertices: Points, triangles: Ints, scan: OrientedGrid, scanner: Scanner) -> Points:
    """
    Give back what blur takes from edges: a blurred surface sinks by half σ² times its curvature.

    To first order, for a surface bent little within the blur (heat flow, textbook); sharper edges
    get MOST_GIVEN_MM at most and stay short of what they lost.
    """
    normals = TriangleMesh(vertices_mm=vertices, triangles=triangles).vertex_normals()
    bent = np.einsum("ij,ij->i", vertices - _ring_mean(vertices, triangles), normals)
    # of a ring of radius e the mean lies e²/4 times the sum of both curvatures below
    edge2 = _ring_mean(np.einsum("ij,ij->i", vertices, vertices)[:, None], triangles)[:, 0]
    middle = _ring_mean(vertices, triangles)
    edge2 = (
        edge2
        - 2.0 * np.einsum("ij,ij->i", vertices, middle)
        + np.einsum("ij,ij->i", vertices, vertices)
    )
    sigma = scanner.sigma_along(scan, normals)
    given = np.clip(2.0 * sigma**2 * bent / np.maximum(edge2, 0.05), -MOST_GIVEN_MM, MOST_GIVEN_MM)
    given = 0.5 * given + 0.5 * _ring_mean(given[:, None], triangles)[:, 0]
    out: Points = vertices + given[:, None] * normals
    return out


def _spread(move: Floats, sure: Mask, triangles: Ints) -> Floats:
    """Moves where they are sure, drawn from beside where they are not."""
    value = np.where(sure, move, 0.0)[:, None]
    weight = sure.astype(float)[:, None]
    for _ in range(6):
        blank = weight[:, 0] <= 0
        if not blank.any():
            break
        both = _ring_mean(np.concatenate([value * weight, weight], axis=1), triangles)
        filled = both[:, :1] / np.maximum(both[:, 1:], 1e-9)
        value[blank] = filled[blank]
        weight[blank] = (both[blank, 1:] > 0) * 0.5
    return value[:, 0]


def _onto_joint(vertices: Points, joint: JointMap, *, is_femur: bool) -> tuple[Points, Floats]:
    """
    What faces the joint laid onto its traced surface, and how much of it to take, (n, 1).

    Towards the socket's edge it fades out: there a ray grazes, and the vertex's own normal sees
    better. Within, the normal sees the other bone too, and the ray is the better guide.
    """
    polar, turn, radius = joint.rays.cells(vertices)
    on_map = polar <= len(POLAR_DEG) - 1
    polar = np.minimum(polar, len(POLAR_DEG) - 1)
    surface = joint.rays.at(joint.head_mm if is_femur else joint.socket_mm, polar, turn)
    depth = joint.rays.at(joint.depth(), polar, turn)
    gap = joint.rays.at(
        np.where(joint.covered, joint.socket_mm - joint.head_mm, np.nan), polar, turn
    )
    # the narrower the joint, the nearer to its edge the ray remains the better guide
    wide = np.clip((np.nan_to_num(gap, nan=WIDE_MM) - NARROW_MM) / (WIDE_MM - NARROW_MM), 0.0, 1.0)
    earlier = (1.0 - wide) * NARROW_EARLIER
    weight = np.clip((depth - FADE_FROM + earlier) / (FADE_TO - FADE_FROM), 0.0, 1.0)
    with np.errstate(invalid="ignore"):
        take = on_map & np.isfinite(surface) & (np.abs(surface - radius) < ONTO_JOINT_MM)
    weight = np.where(take, weight, 0.0)
    factor = np.where(take, surface / np.maximum(radius, 1e-9), 1.0)
    laid: Points = joint.rays.centre_mm + (vertices - joint.rays.centre_mm) * factor[:, None]
    return laid, weight[:, None]


def _kept_apart(vertices: Points, joint: JointMap, *, is_femur: bool) -> Points:
    """
    Keep each bone on its own side of the head's surface, wherever that is known.

    Where both bones touch at the socket's edge, and a thick slice smears them into one, boxes and
    normals of one reach into the other.
    """
    polar, turn, radius = joint.rays.cells(vertices)
    on_map = polar <= CONE_RAYS
    polar = np.minimum(polar, len(POLAR_DEG) - 1)
    known = joint.rays.at((joint.head_seen | joint.covered).astype(float), polar, turn) > 0.5
    head = joint.rays.at(joint.head_mm, polar, turn)
    if is_femur:
        beyond = on_map & known & (radius > head + FEMUR_REACH_MM)
        target = head
    else:
        beyond = on_map & known & (radius < head + LEAST_GAP_MM)
        target = head + LEAST_GAP_MM
    factor = np.where(beyond, target / np.maximum(radius, 1e-9), 1.0)
    kept: Points = joint.rays.centre_mm + (vertices - joint.rays.centre_mm) * factor[:, None]
    return kept
