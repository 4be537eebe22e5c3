"""The hip bone after a trim: the bone beyond the new edge cut off along one smooth surface.

In the half-plane of every hour the cut is a straight line through the new edge. The body above it,
swept from hour to hour, is taken from the bone as a solid, so that what is left is closed.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import manifold3d
import numpy as np
from scipy.ndimage import gaussian_filter1d, maximum_filter1d

from rimwright.anatomy import (
    N_RIM_HOURS,
    Floats,
    HipGeometry,
    Ints,
    Points,
    RimCurve,
    RimTrim,
    TriangleMesh,
)
from rimwright.errors import BoneRefusal
from rimwright.evidence import EvidenceTable, load_evidence
from rimwright.morphology.femur.sections import Dial, RadialContours
from rimwright.morphology.polar_contours import cut_used
from rimwright.morphology.rim_sections import cut_rim_sections
from rimwright.morphology.rim_trim import (
    TrimmedEdge,
    bone_to_trim,
    depth_by_hour,
    move_edge,
)

LIFT_MM = (0.7, 1.6)
"""One and two tenths of an hour beyond the ends of an arc the cut has left the bone by this, mm."""
INTO_JOINT_MM = 2.5
"""The cutting body reaches this far into the joint, mm, so that no face of it lies on bone."""
BEYOND_MM = 1.5
"""… and this far over bone on its other sides, mm."""
LEAST_CUT_MM = 2.0
"""The cut is at least this long, mm, so that the cutting body has a width where it leaves bone."""
FARTHEST_MM = 20.0
"""The cut ends this far from the new edge, mm, also where bone goes on, as at the anterior inferior
spine: there a step is left."""
LEAST_EXIT_MM = 0.3
"""A crossing nearer to the new edge than this is the edge itself, mm."""
NEAR_RADII = 2.2
"""Bone within this many socket radii of the centre can meet the cut."""
EVEN_STATIONS = 1.5
"""The cut's far end is evened out over this many tenths of an hour."""


def trimmed_bone(
    hip: HipGeometry, trims: Sequence[RimTrim], *, table: EvidenceTable | None = None
) -> TriangleMesh:
    """
    Take the bone beyond the new edge off a hip bone.

    Parameters
    ----------
    hip
        A hip with rim, hip bone and its joint side.
    trims
        Arcs and depths.
    table
        Settings in force (the taper); the shipped ones if left out.

    Returns
    -------
    TriangleMesh
        Closed and outward; the bone itself where nothing is trimmed.

    Raises
    ------
    Refusal
        No rim or bone to trim, a depth beyond the largest worked out, or a surface with holes.

    Notes
    -----
    The cut stands at the new edge at three quarters of the angle that is free there, at most
    straight away from the sphere's centre, so that the new edge is the sharper of its two borders.
    Boolean difference of closed solids.
    """
    rim, bone, faces = bone_to_trim(hip)
    depth_mm = depth_by_hour(rim, trims, table=table or load_evidence())
    if not (depth_mm > 0.0).any() or hip.socket is None:
        return bone
    sections = cut_rim_sections(rim, bone, faces)
    edge = move_edge(rim, sections, depth_mm, radius_mm=hip.socket.radius_mm)
    reach_mm = _reach_mm(rim, bone, edge, depth_mm, radius_mm=hip.socket.radius_mm)
    solid = _solid(bone.vertices_mm, bone.triangles)
    if solid.is_empty() or solid.status() != manifold3d.Error.NoError:
        raise BoneRefusal(
            "the surface has holes or crosses itself, so no bone can be cut off it",
            "hip bone",
            "Give a closed surface",
        )
    runs = _runs(depth_mm > 0.0)
    cutters = [_cutter(rim, edge, depth_mm, reach_mm, run) for run in runs]
    left = manifold3d.Manifold.batch_boolean([solid, *cutters], manifold3d.OpType.Subtract)
    pieces = left.decompose()
    largest = max(pieces, key=lambda piece: piece.volume())
    mesh = largest.to_mesh64()
    return TriangleMesh(
        vertices_mm=np.asarray(mesh.vert_properties)[:, :3],
        triangles=np.asarray(mesh.tri_verts).astype(np.int64),
    )


def _reach_mm(
    rim: RimCurve, bone: TriangleMesh, edge: TrimmedEdge, depth_mm: Floats, *, radius_mm: float
) -> Floats:
    """How far along the cut bone goes on from the new edge, by hour, mm."""
    near = np.linalg.norm(bone.vertices_mm - rim.centre_mm, axis=1) < NEAR_RADII * radius_mm
    contours = cut_used(
        bone.vertices_mm,
        bone.triangles[near[bone.triangles].all(axis=1)],
        dial=Dial(centre_mm=rim.centre_mm, axis=rim.axis, twelve=rim.twelve, three=rim.three),
        n_hours=N_RIM_HOURS,
    )
    reach = np.zeros(N_RIM_HOURS)
    for hour in np.flatnonzero(depth_mm > 0.0):
        reach[hour] = _first_exit_mm(contours, int(hour), edge.points[hour], edge.cut[hour])
    # an even far border: never nearer than the bone's own, but for the step of a very thick rim
    wide = maximum_filter1d(reach, size=5, mode="wrap")
    even: Floats = gaussian_filter1d(wide, EVEN_STATIONS, mode="wrap")
    return np.maximum(reach, even)


def _first_exit_mm(contours: RadialContours, hour: int, start: Floats, along: Floats) -> float:
    """Distance along a ray in one half-plane to the first surface it meets, mm."""
    half = contours.n_hours // 2
    ends = contours.ends_mm[contours.plane == hour % half]
    if hour >= half:
        ends = ends * [-1.0, 1.0]
    offset = ends - start
    aside = offset[:, :, 0] * along[1] - offset[:, :, 1] * along[0]
    ahead = offset @ along
    crosses = (aside[:, 0] < 0.0) != (aside[:, 1] < 0.0)
    share = aside[crosses, 0] / (aside[crosses, 0] - aside[crosses, 1])
    place = ahead[crosses, 0] + share * (ahead[crosses, 1] - ahead[crosses, 0])
    place = place[place > LEAST_EXIT_MM]
    return float(min(place.min(), FARTHEST_MM)) if len(place) else FARTHEST_MM


def _runs(is_trimmed: np.ndarray) -> list[Ints]:
    """Unbroken runs of trimmed hours round the dial, each through increasing hours."""
    n = len(is_trimmed)
    if is_trimmed.all():
        return [np.arange(n)]
    first = int(np.flatnonzero(~is_trimmed)[0])
    rolled = np.roll(is_trimmed, -first)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], rolled.astype(np.int8), [0]])))
    return [(np.arange(a, b) + first) % n for a, b in edges.reshape(-1, 2)]


def _cutter(rim: RimCurve, edge: TrimmedEdge, depth_mm: Floats, reach_mm: Floats, run: Ints) -> Any:
    """The body that is taken away along one run of hours."""
    n = N_RIM_HOURS
    closed = len(run) == n
    stations = run if closed else np.concatenate([run[:1], run[:1], run, run[-1:], run[-1:]])
    hours = rim.hours[stations].copy()
    lift = np.zeros(len(stations))
    if not closed:
        ends = ((1, 0, -1), (len(stations) - 2, len(stations) - 1, 1))
        for near, far, way in ends:
            neighbour = (int(stations[near]) + way) % n
            in_notch = not rim.is_bone[neighbour]
            for place, tenths in ((near, 1), (far, 2)):
                hours[place] += 0.1 * tenths * way
                if not in_notch:
                    stations[place] = (int(run[0 if way < 0 else -1]) + tenths * way) % n
                    stations[place] = _nearest_bone(rim, int(stations[place]), -way)
                    lift[place] = LIFT_MM[tenths - 1]
    cut = edge.cut[stations]
    away = np.stack([-cut[:, 1], cut[:, 0]], axis=1)  # from the bone that stays
    start = edge.points[stations] + lift[:, None] * away
    depth = depth_mm[stations]
    out_mm = np.maximum(reach_mm[stations], LEAST_CUT_MM) + BEYOND_MM
    low = start - INTO_JOINT_MM * cut
    high = start + out_mm[:, None] * cut
    # over the old edge and its flare
    over = (depth + 2.0 * BEYOND_MM)[:, None] * away
    corners = np.stack([low, high, high + over, low + over], axis=1)
    angle = np.radians(30.0 * hours)
    radials = np.cos(angle)[:, None] * rim.twelve + np.sin(angle)[:, None] * rim.three
    points = (
        rim.centre_mm + corners[:, :, :1] * radials[:, None, :] + corners[:, :, 1:] * rim.axis
    ).reshape(-1, 3)
    solid = _solid(points, _swept(len(stations), closed=closed))
    if solid.volume() < 0.0:
        solid = _solid(points, _swept(len(stations), closed=closed)[:, ::-1])
    return solid


def _nearest_bone(rim: RimCurve, station: int, step: int) -> int:
    """The station itself, or the next one along `step` that has bone."""
    while not rim.is_bone[station]:
        station = (station + step) % N_RIM_HOURS
    return station


def _swept(n: int, *, closed: bool) -> Ints:
    """Triangles of a body of n four-cornered sections, one after the other."""
    triangles = []
    for section in range(n if closed else n - 1):
        here, there = 4 * section, 4 * ((section + 1) % n)
        for corner in range(4):
            following = (corner + 1) % 4
            triangles.append((here + corner, there + corner, there + following))
            triangles.append((here + corner, there + following, here + following))
    if not closed:
        last = 4 * (n - 1)
        triangles += [(0, 1, 2), (0, 2, 3), (last, last + 2, last + 1), (last, last + 3, last + 2)]
    return np.array(triangles, dtype=np.int64)


def _solid(points_mm: Points, triangles: Ints) -> Any:
    """A surface as a solid."""
    return manifold3d.Manifold(
        manifold3d.Mesh64(
            vert_properties=np.array(points_mm, dtype=np.float64),
            tri_verts=np.array(triangles).astype(np.uint64),
        )
    )
