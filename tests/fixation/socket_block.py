"""A block of bone with a spherical socket: every clearance follows from plane and sphere."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import (
    ClockReference,
    RimCurve,
    SocketFaces,
    TriangleMesh,
    hours_of_rim,
)

SOCKET_MM = 25.0
"""Radius of the socket; its edge lies in the plane z = 0, the block below."""
NOTCH = (4.6, 7.4)


def make_block(
    *,
    outer_mm: float = 60.0,
    depth_mm: float = 60.0,
    step_mm: float = 1.2,
    n_around: int = 240,
    mirrored: bool = False,
    notch: bool = True,
) -> tuple[TriangleMesh, RimCurve, SocketFaces]:
    """A solid of revolution about z: socket, flat top, outer wall and floor.

    12 o'clock along +x; 3 o'clock along +y, along −y when mirrored.
    """
    rings = int(np.ceil(SOCKET_MM * np.pi / 2 / step_mm))
    angle = np.linspace(0, np.pi / 2, rings + 1)[1:]
    profile = [(SOCKET_MM * np.sin(a), -SOCKET_MM * np.cos(a)) for a in angle]
    n_socket = len(profile)
    top = int(np.ceil((outer_mm - SOCKET_MM) / step_mm))
    profile += [(r, 0.0) for r in np.linspace(SOCKET_MM, outer_mm, top + 1)[1:]]
    wall = int(np.ceil(depth_mm / 3))
    profile += [(outer_mm, z) for z in np.linspace(0, -depth_mm, wall + 1)[1:]]
    floor = int(np.ceil(outer_mm / 3))
    profile += [(r, -depth_mm) for r in np.linspace(outer_mm, 0, floor + 1)[1:-1]]
    turn = np.arange(n_around) * 2 * np.pi / n_around
    rings_mm = [[(r * np.cos(a), r * np.sin(a), z) for a in turn] for r, z in profile]
    vertices = np.vstack(
        [[[0, 0, -SOCKET_MM]], np.array(rings_mm).reshape(-1, 3), [[0, 0, -depth_mm]]]
    )

    def at(ring: int, around: int) -> int:
        return 1 + ring * n_around + around % n_around

    triangles = [(0, at(0, a), at(0, a + 1)) for a in range(n_around)]
    n_joint = len(triangles)
    for ring in range(len(profile) - 1):
        for a in range(n_around):
            triangles.append((at(ring, a), at(ring + 1, a), at(ring + 1, a + 1)))
            triangles.append((at(ring, a), at(ring + 1, a + 1), at(ring, a + 1)))
        if ring == n_socket - 2:
            n_joint = len(triangles)
    last = len(vertices) - 1
    triangles += [
        (at(len(profile) - 1, a), last, at(len(profile) - 1, a + 1)) for a in range(n_around)
    ]
    faces = np.array(triangles)
    corners = vertices[faces]
    if np.einsum("ij,ij->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2])) < 0:
        faces = faces[:, [0, 2, 1]]
    if mirrored:
        vertices = vertices * [1.0, -1.0, 1.0]
        faces = faces[:, [0, 2, 1]]
    joint = np.arange(n_joint)
    return (
        TriangleMesh(vertices_mm=vertices, triangles=faces),
        _rim(mirrored=mirrored, notch=notch),
        SocketFaces(joint=joint, lunate=joint),
    )


def _rim(*, mirrored: bool, notch: bool) -> RimCurve:
    hours = hours_of_rim()
    angle = np.radians(30 * hours)
    three = np.array([0.0, -1.0 if mirrored else 1.0, 0.0])
    twelve = np.array([1.0, 0.0, 0.0])
    up = np.array([0.0, 0.0, 1.0])
    radial = np.cos(angle)[:, None] * twelve + np.sin(angle)[:, None] * three
    gap = (hours > NOTCH[0] + 1e-6) & (hours < NOTCH[1] - 1e-6) & notch

    def bare(values: np.ndarray) -> np.ndarray:
        return np.where(gap[:, None], np.nan, values)

    return RimCurve(
        hours=hours,
        points_mm=bare(SOCKET_MM * radial),
        outward=bare(radial),
        bone_inward=bare((radial - up) / np.sqrt(2)),
        centre_mm=np.zeros(3),
        axis=up,
        twelve=twelve,
        three=three,
        notch_from_hour=NOTCH[0] if notch else None,
        notch_to_hour=NOTCH[1] if notch else None,
        reference=ClockReference.NOTCH,
        hour_doubt=0.1,
        length_mm=2 * np.pi * SOCKET_MM,
    )


def clearance_to_socket_mm(
    entry: np.ndarray, directions: np.ndarray, depth_mm: float
) -> np.ndarray:
    """Least distance of each axis from the socket's sphere: |E + t d| − R at the best t."""
    t = np.clip(-(directions @ entry), 0.0, depth_mm)
    points = entry + t[:, None] * directions
    return np.linalg.norm(points, axis=1) - SOCKET_MM


def clearance_to_top_mm(directions: np.ndarray, *, from_mm: float) -> np.ndarray:
    """Depth of each axis below the top at `from_mm`; from there on it only sinks."""
    return -directions[:, 2] * from_mm
