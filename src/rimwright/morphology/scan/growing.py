"""Which bone each box belongs to: regions grow from seeds through bone, and hollows are filled."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from numba import njit

LINING_STEPS = 2
"""Foreign boxes within so many steps of a bone close holes in its wall."""

Codes = npt.NDArray[np.uint8]

NOTHING, FEMUR, HIP_BONE, OTHER_HIP_BONE, JOINT, WALL = 0, 1, 2, 3, 8, 9
"""Codes of the boxes; no region enters the joint or a wall."""


@njit(cache=True, nogil=True, inline="always")
def _beside(k, j, i, step):  # type: ignore[no-untyped-def]
    """One of the six boxes that share a face with a box."""
    ahead = 1 - 2 * (step % 2)
    if step < 2:
        return k + ahead, j, i
    if step < 4:
        return k, j + ahead, i
    return k, j, i + ahead


@njit(cache=True, nogil=True)
def _grow(codes, is_bone, queue, n):  # type: ignore[no-untyped-def]
    """All seeds at once, one step at a time: the nearer seed along bone wins."""
    nz, ny, nx = codes.shape
    head = 0
    while head < n:
        at = queue[head]
        head += 1
        k = at // (ny * nx)
        j = (at // nx) % ny
        i = at % nx
        code = codes[k, j, i]
        for step in range(6):
            z, y, x = _beside(k, j, i, step)
            if z < 0 or y < 0 or x < 0 or z >= nz or y >= ny or x >= nx:
                continue
            if codes[z, y, x] == 0 and is_bone[z, y, x]:
                codes[z, y, x] = code
                queue[n] = (z * ny + y) * nx + x
                n += 1


def grow_regions(codes: Codes, is_bone: npt.NDArray[np.bool_]) -> Codes:
    """
    Let every seed grow through bone until all are met.

    Parameters
    ----------
    codes
        (nz, ny, nx): seeds and walls; changed in place.
    is_bone
        Boxes that may be entered.

    Returns
    -------
    (nz, ny, nx) uint8
        `codes`.
    """
    seeds = np.flatnonzero((codes != NOTHING) & (codes < JOINT))
    queue = np.empty(len(seeds) + int(np.count_nonzero(is_bone)) + 1, np.int64)
    queue[: len(seeds)] = seeds
    _grow(codes, is_bone, queue, len(seeds))
    return codes


@njit(cache=True, nogil=True)
def _number_pieces(mask, number, queue):  # type: ignore[no-untyped-def]
    """Number the connected pieces from 1; the number of the largest, 0 if there is none."""
    nz, ny, nx = mask.shape
    count = 0
    best = 0
    most = 0
    for k0 in range(nz):
        for j0 in range(ny):
            for i0 in range(nx):
                if not mask[k0, j0, i0] or number[k0, j0, i0] != 0:
                    continue
                count += 1
                number[k0, j0, i0] = count
                queue[0] = (k0 * ny + j0) * nx + i0
                head, n = 0, 1
                while head < n:
                    at = queue[head]
                    head += 1
                    k = at // (ny * nx)
                    j = (at // nx) % ny
                    i = at % nx
                    for step in range(6):
                        z, y, x = _beside(k, j, i, step)
                        if z < 0 or y < 0 or x < 0 or z >= nz or y >= ny or x >= nx:
                            continue
                        if mask[z, y, x] and number[z, y, x] == 0:
                            number[z, y, x] = count
                            queue[n] = (z * ny + y) * nx + x
                            n += 1
                if n > most:
                    most = n
                    best = count
    return best


def largest_piece(mask: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """
    The largest connected piece of a region.

    Parameters
    ----------
    mask
        (nz, ny, nx) bool.

    Returns
    -------
    (nz, ny, nx) bool
        Empty of an empty region.
    """
    number = np.zeros(mask.shape, np.int32)
    best = _number_pieces(mask, number, np.empty(int(np.count_nonzero(mask)) + 1, np.int64))
    return (number == best) & mask


@njit(cache=True, nogil=True)
def _shift_any(inside, out, grow):  # type: ignore[no-untyped-def]
    """One step of dilation (grow) or erosion with the six neighbours."""
    nz, ny, nx = inside.shape
    for k in range(nz):
        for j in range(ny):
            for i in range(nx):
                here = inside[k, j, i]
                if here == grow:
                    out[k, j, i] = grow
                    continue
                hit = (
                    (k > 0 and inside[k - 1, j, i] == grow)
                    or (k < nz - 1 and inside[k + 1, j, i] == grow)
                    or (j > 0 and inside[k, j - 1, i] == grow)
                    or (j < ny - 1 and inside[k, j + 1, i] == grow)
                    or (i > 0 and inside[k, j, i - 1] == grow)
                    or (i < nx - 1 and inside[k, j, i + 1] == grow)
                )
                out[k, j, i] = grow if hit else here


@njit(cache=True, nogil=True)
def _flood_outside(solid, outside, queue):  # type: ignore[no-untyped-def]
    """Everything that can be reached from the box's faces without entering the solid."""
    nz, ny, nx = solid.shape
    n = 0
    for k in range(nz):
        for j in range(ny):
            for i in range(nx):
                face = k == 0 or j == 0 or i == 0 or k == nz - 1 or j == ny - 1 or i == nx - 1
                if face and not solid[k, j, i]:
                    outside[k, j, i] = True
                    queue[n] = (k * ny + j) * nx + i
                    n += 1
    head = 0
    while head < n:
        at = queue[head]
        head += 1
        k = at // (ny * nx)
        j = (at // nx) % ny
        i = at % nx
        for step in range(6):
            z, y, x = _beside(k, j, i, step)
            if z < 0 or y < 0 or x < 0 or z >= nz or y >= ny or x >= nx:
                continue
            if not solid[z, y, x] and not outside[z, y, x]:
                outside[z, y, x] = True
                queue[n] = (z * ny + y) * nx + x
                n += 1


def make_solid(
    region: npt.NDArray[np.bool_],
    *,
    foreign: npt.NDArray[np.bool_],
    n_close: int,
    first: int,
    cuts: tuple[tuple[bool, bool], ...],
) -> npt.NDArray[np.bool_]:
    """
    Fill what a bone encloses: marrow, and porous bone paler than the limit.

    Parameters
    ----------
    region
        (nz, ny, nx), boxes of the bone; two free boxes at least on each face of the array.
    foreign
        Boxes that are none of this bone and close it where they touch it: the joint, and a bone
        filled before.
    n_close
        Steps of closing, with the six neighbours, before the inside is told from the outside:
        they take in porous bone and narrow crevices; a hole in a wall of one box stays a hole.
    first
        Free boxes on each face of the array.
    cuts
        For each axis whether the scan cuts the bone at its first and at its last box: there the
        bone is open, and closed for the filling.

    Returns
    -------
    (nz, ny, nx) bool
        The region, what the closing added, and its inside. A bone that several faces of the
        field cut where they meet may stay open there, and hollow: the caller looks.
    """
    lining = region
    for _ in range(LINING_STEPS):
        out = np.empty_like(lining)
        _shift_any(lining, out, True)
        lining = out
    closed = region | (lining & foreign)
    for grow in [True] * n_close + [False] * n_close:
        out = np.empty_like(closed)
        _shift_any(closed, out, grow)
        closed = out
    for axis, ends in enumerate(cuts):
        for at, is_cut in zip((first, -first - 1), ends, strict=True):
            if is_cut:
                # the cut end is a face of the bone: fill what its outline encloses there
                closed = closed.copy()
                layer = np.moveaxis(closed, axis, 0)[at]
                layer |= _filled_layer(np.ascontiguousarray(layer))
    outside = np.zeros_like(closed)
    _flood_outside(closed, outside, np.empty(closed.size, np.int64))
    return ~(outside | foreign)


def _filled_layer(layer: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """One slice with what its outlines enclose."""
    solid = layer[None].copy()
    solid = np.concatenate([np.ones_like(solid), solid, np.ones_like(solid)])
    # the flood may enter from the four sides of the middle layer only
    outside = np.zeros_like(solid)
    _flood_outside(solid, outside, np.empty(solid.size, np.int64))
    return ~outside[1]


@njit(cache=True, nogil=True)
def make_well_composed(inside):  # type: ignore[no-untyped-def]
    """Add boxes until no two of the solid meet in an edge or a corner alone; how many."""
    nz, ny, nx = inside.shape
    added = 1
    total = 0
    while added:
        added = 0
        for k in range(nz - 1):
            for j in range(ny - 1):
                for i in range(nx - 1):
                    # the three faces at this corner of the cube
                    for axis in range(3):
                        if axis == 0:
                            a, b = inside[k, j, i], inside[k, j + 1, i + 1]
                            c, d = inside[k, j + 1, i], inside[k, j, i + 1]
                        elif axis == 1:
                            a, b = inside[k, j, i], inside[k + 1, j, i + 1]
                            c, d = inside[k + 1, j, i], inside[k, j, i + 1]
                        else:
                            a, b = inside[k, j, i], inside[k + 1, j + 1, i]
                            c, d = inside[k + 1, j, i], inside[k, j + 1, i]
                        if a and b and not c and not d:
                            if axis == 0:
                                inside[k, j + 1, i] = True
                            else:
                                inside[k + 1, j, i] = True
                            added += 1
                        elif c and d and not a and not b:
                            inside[k, j, i] = True
                            added += 1
                    # corners that meet across the cube's middle
                    for corner in range(4):
                        j0 = j + (1 if corner in (1, 3) else 0)
                        i0 = i + (1 if corner in (2, 3) else 0)
                        j1 = 2 * j + 1 - j0
                        i1 = 2 * i + 1 - i0
                        a, b = inside[k, j0, i0], inside[k + 1, j1, i1]
                        n = 0
                        for dz in range(2):
                            for dy in range(2):
                                for dx in range(2):
                                    n += inside[k + dz, j + dy, i + dx]
                        if a and b and n == 2:
                            inside[k, j1, i0] = True
                            inside[k, j1, i1] = True
                            added += 1
                        elif not a and not b and n == 6:
                            inside[k, j0, i0] = True
                            added += 1
        total += added
    return total
