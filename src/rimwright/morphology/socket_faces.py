"""Which triangles of the hip bone face the joint: all that the rim encloses, and the lunate."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from rimwright.anatomy import Floats, RimCurve, SocketFaces, SphereFit, TriangleMesh
from rimwright.morphology.mesh_neighbours import find_neighbours

LUNATE_MM = 1.0
"""Largest miss from the sphere of a lunate triangle, mm."""
FACING_COSINE = 0.85
"""Least cosine between a lunate triangle's normal and the direction of the centre (32 degrees)."""


def find_socket_faces(bone: TriangleMesh, rim: RimCurve, *, sphere: SphereFit) -> SocketFaces:
    """
    Part the hip bone at the rim.

    Parameters
    ----------
    bone
        Hip bone.
    rim
        Its rim; the notch is closed by the straight bridge between its ends.
    sphere
        Lunate sphere.

    Returns
    -------
    SocketFaces
        `joint`: the connected triangles on the joint side of the edge, lunate and fossa;
        `lunate`: those of them that lie on the sphere.

    Notes
    -----
    A triangle lies on the joint side where its centroid is inside the surface that the bisector
    of bone draws at every hour, from the edge into bone. O(triangles).
    """
    centroids = bone.centroids_mm()
    relative = centroids - sphere.centre_mm
    distance = np.linalg.norm(relative, axis=1)
    local = np.flatnonzero(distance < 2.2 * sphere.radius_mm)
    hours = rim.hours_of(centroids[local])
    edge = _at_hours(rim.closed_points_mm(), hours)
    outward = _at_hours(_closed_directions(rim), hours)
    is_inside = np.einsum("ij,ij->i", centroids[local] - edge, outward) < 0.0
    to_centre = -relative[local] / distance[local, None]
    facing = np.einsum("ij,ij->i", bone.normals()[local], to_centre)
    is_lunate = (
        is_inside
        & (np.abs(distance[local] - sphere.radius_mm) < LUNATE_MM)
        & (facing > FACING_COSINE)
    )
    inside = local[is_inside]
    position = np.full(bone.n_triangles, -1, dtype=np.int64)
    position[inside] = np.arange(len(inside))
    neighbours = find_neighbours(bone)[inside]
    rows, columns = np.nonzero(neighbours >= 0)
    to = position[neighbours[rows, columns]]
    keep = to >= 0
    graph = coo_matrix(
        (np.ones(int(keep.sum())), (rows[keep], to[keep])), shape=(len(inside), len(inside))
    )
    _, label = connected_components(graph, directed=False)
    lunate = local[is_lunate]
    counts = np.bincount(label[position[lunate]])
    main = int(np.argmax(counts))
    joint = inside[label == main]
    return SocketFaces(joint=joint, lunate=lunate[label[position[lunate]] == main])


def _at_hours(values: Floats, hours: Floats) -> Floats:
    """Values of a closed ring of tenths of an hour at any hours, linear."""
    n = len(values)
    at = hours * (n / 12.0)
    low = np.floor(at).astype(np.int64) % n
    fraction = (at - np.floor(at))[:, None]
    mixed: Floats = (1 - fraction) * values[low] + fraction * values[(low + 1) % n]
    return mixed


def _closed_directions(rim: RimCurve) -> Floats:
    """Outward directions with the notch filled between its ends."""
    outward = rim.outward.copy()
    seen = np.flatnonzero(rim.is_bone)
    positions = np.arange(len(outward))
    for axis in range(3):
        outward[:, axis] = np.interp(
            positions, seen, outward[seen, axis], period=float(len(outward))
        )
    return outward / np.linalg.norm(outward, axis=1, keepdims=True)
