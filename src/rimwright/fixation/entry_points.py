"""Entries of a drill: walked from the rim's edge along the outer face in the plane of the hour."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from rimwright.anatomy import (
    HOURS_ON_DIAL,
    N_RIM_HOURS,
    RIM_STEP_HOURS,
    Floats,
    Points,
    RimCurve,
)
from rimwright.fixation.limits import FixationLimits
from rimwright.fixation.mesh_field import MeshBoneField
from rimwright.fixation.tree_queries import STACK, box_point_mm2
from rimwright.fixation.triangle_tree import TriangleTree

OFFSET_STEP_MM = 1.0
"""Largest step between the entries tried at one hour, mm: finer moved the best cone of the real
hip tried by less than half a degree."""
WALK_SPARE_MM = 3.0
"""The section is cut this much farther from the edge than the last entry, mm: a walk over a
rough face is longer than the straight way, never shorter."""
JOIN_MM = 1e-6
"""Ends of neighbouring pieces of a section that lie this near are one point, mm."""
MAX_PIECES = 4096


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class EntrySet:
    """
    Entries on the outer face at some hours.

    Parameters
    ----------
    hours
        (h,) hours asked for, notch left out.
    offsets_mm
        (o,) distances from the edge along the outer face, mm.
    points
        (h, o, 3), mm from the field's origin; NaN where the face ends before the offset.
    normals
        (h, o, 3) unit outward normal of the triangle walked on; NaN as above.
    axes
        (h, 3, 3) the frame of each hour, rows: middle of the bone (`bone_inward`), across it in
        the radial plane towards `outward`, and along the rim towards greater hours.
    rim_mm
        (h, 3) rim point, mm from the field's origin.
    """

    hours: Floats
    offsets_mm: Floats
    points: Points
    normals: Floats
    axes: Floats
    rim_mm: Points


def entry_offsets_mm(limits: FixationLimits) -> Floats:
    """Offsets tried, from the least to the largest in steps of at most `OFFSET_STEP_MM`."""
    low, high = limits.entry_offset_min_mm, limits.entry_offset_max_mm
    n = int(np.ceil((high - low) / OFFSET_STEP_MM - 1e-9)) + 1
    return np.linspace(low, high, n)


def find_entries(
    field: MeshBoneField, rim: RimCurve, *, hours: Floats, offsets_mm: Floats
) -> EntrySet:
    """
    Walk from the edge along the outer face at each hour.

    Parameters
    ----------
    field, rim
        The bone and its edge.
    hours
        (h,), each outside the notch.
    offsets_mm
        (o,), increasing, mm.

    Returns
    -------
    EntrySet
        Points on triangles of the outer face, exactly in the hour's radial plane.
    """
    hours = np.asarray(hours, dtype=np.float64)
    axes = hour_axes(rim, hours)
    rim_points = _between_tenths(rim.points_mm, hours) - field.origin_mm
    outward = _between_tenths(rim.outward, hours)
    across = np.cross(rim.axis, _radial(rim, hours))
    points = np.full((len(hours), len(offsets_mm), 3), np.nan)
    normals = np.full_like(points, np.nan)
    tree: TriangleTree = field.cortex
    _walk_all(
        rim_points,
        across,
        outward,
        np.asarray(offsets_mm, dtype=np.float64),
        tree.corners_mm,
        tree.box_mm,
        tree.span,
        tree.right,
        points,
        normals,
    )
    return EntrySet(
        hours=hours,
        offsets_mm=np.asarray(offsets_mm, dtype=np.float64),
        points=points,
        normals=normals,
        axes=axes,
        rim_mm=rim_points,
    )


def hour_axes(rim: RimCurve, hours: Floats) -> Floats:
    """
    The frame of each hour.

    Parameters
    ----------
    rim
        The edge.
    hours
        (h,), outside the notch.

    Returns
    -------
    ndarray
        (h, 3, 3), rows: bone_inward, outward made normal to it, and along the rim towards greater
        hours, so that mirrored hips get mirrored frames.
    """
    inward = _unit_rows(_between_tenths(rim.bone_inward, hours))
    across = _between_tenths(rim.outward, hours)
    across = _unit_rows(across - (across * inward).sum(axis=1, keepdims=True) * inward)
    along = np.cross(inward, across)
    angle = np.radians(30.0 * hours)[:, None]
    forward = -np.sin(angle) * rim.twelve + np.cos(angle) * rim.three
    along = np.where((along * forward).sum(axis=1, keepdims=True) < 0.0, -along, along)
    return np.stack([inward, across, along], axis=1)


def _radial(rim: RimCurve, hours: Floats) -> Floats:
    """Unit direction of each hour in the plane of the dial, (h, 3)."""
    angle = np.radians(30.0 * hours)[:, None]
    return np.cos(angle) * rim.twelve + np.sin(angle) * rim.three


def _unit_rows(rows: Floats) -> Floats:
    """Rows scaled to length one."""
    return rows / np.linalg.norm(rows, axis=1, keepdims=True)


def _between_tenths(values: Floats, hours: Floats) -> Floats:
    """Linear between the tenths of an hour, as the rim's own look-ups are, (h, 3)."""
    at = np.mod(hours, HOURS_ON_DIAL) / RIM_STEP_HOURS
    low = np.floor(at + 1e-9)
    share = np.where(at - low < 1e-9, 0.0, at - low)[:, None]
    first = low.astype(np.int64) % N_RIM_HOURS
    # A tenth itself must not take in its neighbour, which may lie in the notch.
    mixed = (1 - share) * values[first] + share * values[(first + 1) % N_RIM_HOURS]
    return np.where(share == 0.0, values[first], mixed)


@njit(cache=True, nogil=True)
def _section(point, across, reach, corners, box, span, right, pieces, owners):  # type: ignore[no-untyped-def]
    """Cut the triangles near a point by the plane through it; pieces (n, 6), owners (n,)."""
    n_pieces = 0
    stack = np.empty(STACK, dtype=np.int64)
    n = 0
    if len(span):
        stack[0] = 0
        n = 1
    side = np.empty(3)
    while n:
        n -= 1
        b = stack[n]
        if box_point_mm2(box, b, point[0], point[1], point[2]) > reach * reach:
            continue
        if right[b] >= 0:
            stack[n], stack[n + 1] = right[b], b + 1
            n += 2
            continue
        for t in range(span[b, 0], span[b, 1]):
            for corner in range(3):
                total = 0.0
                for axis in range(3):
                    total += (corners[t, 3 * corner + axis] - point[axis]) * across[axis]
                side[corner] = total
            found = 0
            for corner in range(3):
                other = (corner + 1) % 3
                # A corner on the plane counts as above it, so every closed curve stays closed.
                if (side[corner] >= 0.0) != (side[other] >= 0.0) and found < 2:
                    share = side[corner] / (side[corner] - side[other])
                    for axis in range(3):
                        low = corners[t, 3 * corner + axis]
                        high = corners[t, 3 * other + axis]
                        pieces[n_pieces, 3 * found + axis] = low + share * (high - low)
                    found += 1
            if found == 2:
                owners[n_pieces] = t
                n_pieces += 1
                if n_pieces == len(pieces):
                    return n_pieces
    return n_pieces


@njit(cache=True, nogil=True)
def _walk(pieces, owners, n, start_piece, start, towards_end, used, offsets, points, owner_at):  # type: ignore[no-untyped-def]
    """Walk along the pieces from a start; writes the point at each offset; returns the length."""
    used[:n] = False
    at = start.copy()
    piece = start_piece
    end = 1 if towards_end else 0
    walked = 0.0
    next_offset = 0
    while True:
        used[piece] = True
        step = 0.0
        for axis in range(3):
            step += (pieces[piece, 3 * end + axis] - at[axis]) ** 2
        step = np.sqrt(step)
        while next_offset < len(offsets) and offsets[next_offset] <= walked + step and step > 0.0:
            share = (offsets[next_offset] - walked) / step
            for axis in range(3):
                points[next_offset, axis] = at[axis] + share * (
                    pieces[piece, 3 * end + axis] - at[axis]
                )
            owner_at[next_offset] = owners[piece]
            next_offset += 1
        walked += step
        for axis in range(3):
            at[axis] = pieces[piece, 3 * end + axis]
        if next_offset == len(offsets):
            return walked
        found = -1
        for i in range(n):
            if used[i]:
                continue
            for tip in range(2):
                off = 0.0
                for axis in range(3):
                    off += (pieces[i, 3 * tip + axis] - at[axis]) ** 2
                if off < JOIN_MM * JOIN_MM:
                    found = i
                    end = 1 - tip
                    break
            if found >= 0:
                break
        if found < 0:
            return walked
        piece = found


@njit(cache=True, nogil=True)
def _walk_all(rim, across, outward, offsets, corners, box, span, right, points, normals):  # type: ignore[no-untyped-def]
    """For each hour the branch of the outer section that leads outward."""
    n_offsets = len(offsets)
    pieces = np.empty((MAX_PIECES, 6))
    owners = np.empty(MAX_PIECES, dtype=np.int64)
    used = np.zeros(MAX_PIECES, dtype=np.bool_)
    here = np.empty((2, n_offsets, 3))
    owner_at = np.empty((2, n_offsets), dtype=np.int64)
    start = np.empty(3)
    reach = offsets[n_offsets - 1] + WALK_SPARE_MM
    for h in range(len(rim)):
        n = _section(rim[h], across[h], reach, corners, box, span, right, pieces, owners)
        best = np.inf
        start_piece = -1
        for i in range(n):
            length = 0.0
            along = 0.0
            for axis in range(3):
                v = pieces[i, 3 + axis] - pieces[i, axis]
                length += v * v
                along += v * (rim[h, axis] - pieces[i, axis])
            share = min(max(along / length, 0.0), 1.0) if length > 0.0 else 0.0
            off = 0.0
            for axis in range(3):
                q = pieces[i, axis] + share * (pieces[i, 3 + axis] - pieces[i, axis])
                off += (q - rim[h, axis]) ** 2
            if off < best:
                best = off
                start_piece = i
                for axis in range(3):
                    start[axis] = pieces[i, axis] + share * (pieces[i, 3 + axis] - pieces[i, axis])
        if start_piece < 0:
            continue
        chosen = -1
        lead = 0.0
        for branch in range(2):
            here[branch] = np.nan
            owner_at[branch] = -1
            _walk(
                pieces, owners, n, start_piece, start, branch == 1, used, offsets,
                here[branch], owner_at[branch],
            )  # fmt: skip
            last = -1
            for o in range(n_offsets):
                if owner_at[branch, o] >= 0:
                    last = o
            if last < 0:
                continue
            gain = 0.0
            for axis in range(3):
                gain += (here[branch, last, axis] - start[axis]) * outward[h, axis]
            if gain > lead:
                lead = gain
                chosen = branch
        if chosen < 0:
            continue
        for o in range(n_offsets):
            t = owner_at[chosen, o]
            if t < 0:
                continue
            c = corners[t]
            e1x, e1y, e1z = c[3] - c[0], c[4] - c[1], c[5] - c[2]
            e2x, e2y, e2z = c[6] - c[0], c[7] - c[1], c[8] - c[2]
            nx = e1y * e2z - e1z * e2y
            ny = e1z * e2x - e1x * e2z
            nz = e1x * e2y - e1y * e2x
            size = np.sqrt(nx * nx + ny * ny + nz * nz)
            if size <= 0.0:
                continue
            points[h, o] = here[chosen, o]
            normals[h, o, 0], normals[h, o, 1], normals[h, o, 2] = nx / size, ny / size, nz / size
