"""Which triangles of the hip bone face the joint: all that the rim encloses, and the lunate."""

from __future__ import annotations

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from rimwright.anatomy import Floats, SocketFaces, TriangleMesh
from rimwright.morphology.mesh_neighbours import find_neighbours
from rimwright.morphology.socket import Socket

REACH_RADII = 2.2
"""Triangles within this many radii of the centre may face the joint."""
LUNATE_MM = 1.0
"""Largest miss from the sphere of a lunate triangle, mm."""
FACING_COSINE = 0.85
"""Least cosine between a lunate triangle's normal and the direction of the centre (32 degrees)."""


def find_socket_faces(bone: TriangleMesh, socket: Socket) -> SocketFaces:
    """
    Part the hip bone at the rim.

    Parameters
    ----------
    bone
        Hip bone.
    socket
        Its traced socket; in the notch the floor ends at its own receded edge.

    Returns
    -------
    SocketFaces
        `joint`: the connected triangles on the joint side of the edge, lunate and fossa;
        `lunate`: those of them that lie on the sphere.

    Notes
    -----
    A triangle lies on the joint side where its centroid is inside the surface that the bisector
    of bone draws in every section, from the edge into bone. O(triangles).
    """
    sphere = socket.sphere
    centroids = bone.centroids_mm()
    relative = centroids - sphere.centre_mm
    distance = np.linalg.norm(relative, axis=1)
    local = np.flatnonzero(distance < REACH_RADII * sphere.radius_mm)
    here = relative[local]
    height = here @ socket.axis
    across = here - height[:, None] * socket.axis
    azimuth = np.arctan2(across @ socket.quarter, across @ socket.zero)
    edge = _at_azimuth(_closed_edge(socket), azimuth)
    beyond = np.stack([np.linalg.norm(across, axis=1) - edge[:, 0], height - edge[:, 1]], axis=1)
    # the bisector runs into bone; seen along it in the plane (across, along), the joint lies on
    # its right and the outer wall on its left, as the contour is walked outward
    is_inside = edge[:, 2] * beyond[:, 1] - edge[:, 3] * beyond[:, 0] < 0.0
    to_centre = -here / distance[local, None]
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
    main = int(np.argmax(np.bincount(label[position[lunate]])))
    joint = inside[label == main]
    return SocketFaces(joint=joint, lunate=lunate[label[position[lunate]] == main])


def _closed_edge(socket: Socket) -> Floats:
    """(n, 4) edge and bisector in every section, gaps filled between their ends."""
    trace = socket.trace
    rim = np.column_stack(
        [trace.across_mm, trace.along_mm, trace.inward_across, trace.inward_along]
    )
    closed = np.where(np.isfinite(rim), rim, trace.floor_edge)
    seen = np.flatnonzero(np.isfinite(closed[:, 0]))
    positions = np.arange(len(closed))
    return np.column_stack(
        [np.interp(positions, seen, column[seen], period=float(len(closed))) for column in closed.T]
    )


def _at_azimuth(values: Floats, azimuth: Floats) -> Floats:
    """Values of a closed ring of sections at any azimuth, linear, (k, 4)."""
    n = len(values)
    at = (azimuth % (2 * np.pi)) * (n / (2 * np.pi))
    low = np.floor(at).astype(np.int64) % n
    fraction = (at - np.floor(at))[:, None]
    mixed: Floats = (1 - fraction) * values[low] + fraction * values[(low + 1) % n]
    return mixed
