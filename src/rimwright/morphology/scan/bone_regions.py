"""Femur and hip bone of a scan as solids of boxes, parted at the joint by its traced surfaces."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import binary_dilation

from rimwright.anatomy import Points, Vector
from rimwright.morphology.scan.blur import Plates
from rimwright.morphology.scan.graded_grid import GradedGrid
from rimwright.morphology.scan.growing import (
    FEMUR,
    HIP_BONE,
    JOINT,
    NOTHING,
    OTHER_HIP_BONE,
    WALL,
    Codes,
    grow_regions,
    largest_piece,
    make_solid,
    make_well_composed,
)
from rimwright.morphology.scan.joint_map import JointMap
from rimwright.morphology.scan.unwrap import POLAR_DEG

BONE_SHARE = 0.2
"""Bone begins at this share of the way from soft tissue to a plate: low enough for thin walls."""
LEAST_BONE_HU, MOST_BONE_HU = 130.0, 300.0
"""Bounds of that limit, HU: above vessels without contrast, below dense spongy bone."""
SEED_DEPTH_MM = 3.0
"""Bone this far beyond the socket's surface is hip bone, mm."""
HEAD_SHARE = 0.8
"""Everything within this share of the head's radius is femur, where the map does not reach."""
POLE_CONE_RAYS = 47.0
"""Rings about the pole, to 95 degrees, in which no part of the femur lies beyond its head."""
SMEAR_SHARE = 1.0
"""In thick slices nothing nearer than this share of a slice beyond a head that the socket no longer
covers is bone."""
WHOLE_SHARE = 0.97
"""A piece with this share of a region is the bone; the rest are specks."""
LEAST_BEYOND_MM = 2.2
"""Where no socket was traced, bone from here on beyond the head is none of its smear, mm."""
OTHER_HEAD_MARGIN_MM, OTHER_SOCKET_MM = 3.0, 10.0
"""The other hip's head with this margin is kept out of the pelvis; bone up to the second distance
beyond it, on its medial side, is hip bone, mm."""
CLOSE_MM, MOST_CLOSE = 2.4, 2
"""Length of the closing that takes in porous bone, in whole boxes: 1 to MOST_CLOSE steps."""
PAD = 3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoneSolid:
    """
    One bone as boxes of a graded grid.

    Parameters
    ----------
    inside
        (nz, ny, nx) bool, padded by PAD on every face.
    field
        (nz, ny, nx) float32, HU where this bone borders soft tissue; beyond the limit on the
        right side where it does not.
    level
        The limit, HU.
    corner
        Index, in the graded grid, of the first unpadded box.
    """

    inside: npt.NDArray[np.bool_]
    field: npt.NDArray[np.float32]
    level: float
    corner: tuple[int, int, int]


def bone_limit(plates: Plates) -> float:
    """The brightness from which a box counts as bone, HU."""
    return float(
        np.clip(
            plates.soft_hu + BONE_SHARE * (plates.plate_hu - plates.soft_hu),
            LEAST_BONE_HU,
            MOST_BONE_HU,
        )
    )


def part_bones(
    grid: GradedGrid,
    joint: JointMap,
    plates: Plates,
    *,
    other_head: tuple[Vector, float] | None,
) -> Codes:
    """
    Say of each box which bone it belongs to.

    Parameters
    ----------
    grid
        The scan in boxes.
    joint
        The traced joint: it parts head from socket.
    plates
        For the limit of bone.
    other_head
        Middle and radius of the other hip's head, which is kept out of the pelvis; None if not
        in the scan.

    Returns
    -------
    (nz, ny, nx) uint8
        FEMUR, HIP_BONE, OTHER_HIP_BONE, JOINT or NOTHING.
    """
    level = bone_limit(plates)
    is_bone = grid.values > level
    codes = np.zeros(grid.values.shape, np.uint8)
    _seed_joint(grid, joint, codes, is_bone)
    if other_head is not None:
        _seed_other_hip(grid, codes, is_bone, joint.rays.centre_mm, *other_head)
    grow_regions(codes, is_bone)
    codes[codes == WALL] = NOTHING
    if other_head is not None:
        _part_at_midline(grid, codes, joint.rays.centre_mm, other_head[0])
    return codes


def _largest_piece(mask: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_] | None:
    """The largest part of a region with all that lies within a box of it; None of an empty one."""
    box = _box_of(mask)
    if box is None:
        return None
    part = mask[box]
    largest = largest_piece(part)
    if np.count_nonzero(largest) <= WHOLE_SHARE * np.count_nonzero(part):
        # porous bone in coarse boxes falls apart: what lies a box apart belongs together
        near = largest_piece(binary_dilation(part, np.ones((3, 3, 3), dtype=bool)))
        largest = part & near
    out = np.zeros_like(mask)
    out[box] = largest
    return out


def _box_of(mask: npt.NDArray[np.bool_]) -> tuple[slice, ...] | None:
    """The box that holds a region."""
    slices = []
    for axis in range(3):
        others = tuple(a for a in range(3) if a != axis)
        hit = np.flatnonzero(mask.any(axis=others))
        if not len(hit):
            return None
        slices.append(slice(int(hit[0]), int(hit[-1]) + 1))
    return tuple(slices)


def _seed_joint(
    grid: GradedGrid, joint: JointMap, codes: Codes, is_bone: npt.NDArray[np.bool_]
) -> None:
    """Seeds of both bones, and the joint between as a wall."""
    reach = float(np.nanmax(np.where(joint.covered, joint.socket_mm, joint.head_mm))) + 8.0
    low = grid.nearest(_box_corner(grid, joint.rays.centre_mm, -reach))
    high = grid.nearest(_box_corner(grid, joint.rays.centre_mm, reach))
    low, high = np.minimum(low, high), np.maximum(low, high) + 1
    ranges = [np.arange(a, b) for a, b in zip(low, high, strict=True)]
    index = np.stack(np.meshgrid(*ranges, indexing="ij"), axis=-1).reshape(-1, 3)
    spacing = grid.scan.spacing_mm
    polar, turn, radius = joint.rays.cells(grid.to_mm(index))
    on_map = polar <= len(POLAR_DEG) - 1
    near_polar = np.clip(np.round(polar), 0, len(POLAR_DEG) - 1).astype(int)
    near_turn = np.round(turn).astype(int) % joint.rays.shape[1]
    head = joint.head_mm[near_polar, near_turn]
    socket = joint.socket_mm[near_polar, near_turn]
    covered = joint.covered[near_polar, near_turn] & on_map
    free = joint.free[near_polar, near_turn] & on_map
    is_cone = on_map & (polar < POLE_CONE_RAYS)
    seen = joint.head_seen[near_polar, near_turn] & on_map
    box = float(max(np.diff(line).min() * h for line, h in zip(grid.lines, spacing, strict=True)))
    with np.errstate(invalid="ignore"):
        middle = 0.5 * (head + socket)
        # a free head's smear is its own, that of a covered one may be the socket's
        femur = (seen & (radius < head + np.where(covered, -0.2, 0.6))) | (
            radius < HEAD_SHARE * np.nanmedian(joint.head_mm)
        )
        femur |= is_cone & (radius < head - 0.3)
        femur |= covered & (radius < np.minimum(middle, head + 0.2))
        hip_bone = covered & (radius > np.maximum(middle, socket - 0.2))
        hip_bone &= radius < socket + SEED_DEPTH_MM
        # towards the pole there is nothing but hip bone beyond the head
        beyond = is_cone & (radius < head + 2.0 * SEED_DEPTH_MM + box)
        hip_bone |= beyond & np.where(
            covered, radius > middle, radius > head + max(1.6 * box, LEAST_BEYOND_MM)
        )
        between = covered & (radius >= head + 0.2) & (radius <= socket - 0.2)
        if max(grid.scan.drawn) > 1:
            # thick slices smear the rim onto the head beyond the end of the joint
            between |= (
                is_cone
                & seen
                & ~covered
                & (radius > head + 0.6)
                & (radius < head + SMEAR_SHARE * float(grid.scan.voxel_mm.max()))
            )
        # a free head ends where it ends: what is bright just beyond is not grown from it
        wall = free & ~covered & (radius > head + 0.7) & (radius < head + 0.7 + 1.1 * box)
    at = tuple(index.T)
    values = np.zeros(len(index), np.uint8)
    values[wall] = WALL
    values[between] = JOINT
    values[hip_bone & is_bone[at]] = HIP_BONE
    values[femur] = FEMUR
    codes[at] = values


def _box_corner(grid: GradedGrid, centre: Vector, reach: float) -> Points:
    """A corner of the cube about a point, along the scan's own axes."""
    axes = grid.scan.step / grid.scan.spacing_mm
    return np.asarray(centre + axes @ np.full(3, reach))


def _seed_other_hip(
    grid: GradedGrid,
    codes: Codes,
    is_bone: npt.NDArray[np.bool_],
    own: Vector,
    centre: Vector,
    radius: float,
) -> None:
    """Seed the other hip bone beyond its head's medial side, and keep that head out of it."""
    reach = radius + OTHER_SOCKET_MM
    low = grid.nearest(_box_corner(grid, centre, -reach))
    high = grid.nearest(_box_corner(grid, centre, reach))
    low, high = np.minimum(low, high), np.maximum(low, high) + 1
    ranges = [np.arange(a, b) for a, b in zip(low, high, strict=True)]
    index = np.stack(np.meshgrid(*ranges, indexing="ij"), axis=-1).reshape(-1, 3)
    away = grid.to_mm(index) - centre
    distance = np.linalg.norm(away, axis=1)
    head = distance < radius + OTHER_HEAD_MARGIN_MM
    # medial and cranial of a head there is nothing but its hip bone
    towards = (own - centre) / np.linalg.norm(own - centre)
    medial = (away @ towards > 0.35 * distance) & (away[:, 2] > -0.2 * distance)
    seeds = medial & ~head & (distance < reach)
    at = tuple(index.T)
    codes[tuple(index[head].T)] = WALL
    chosen = seeds & is_bone[at] & (codes[at] == NOTHING)
    codes[tuple(index[chosen].T)] = OTHER_HIP_BONE


def _part_at_midline(grid: GradedGrid, codes: Codes, own: Vector, other: Vector) -> None:
    """Part the pelvis at the plane midway between both heads."""
    middle, across = 0.5 * (own + other), own - other
    # the plane in this grid's indices: nearer to one head than to the other
    lines = [grid.scan.step[:, axis, None] * line for axis, line in enumerate(grid.lines)]
    parts = [across @ line for line in lines]
    offset = across @ (grid.scan.origin_mm - middle)
    beyond = (
        parts[0][:, None, None] + parts[1][None, :, None] + parts[2][None, None, :] + offset
    ) < 0
    pelvis = (codes == HIP_BONE) | (codes == OTHER_HIP_BONE)
    codes[pelvis & beyond] = OTHER_HIP_BONE
    codes[pelvis & ~beyond] = HIP_BONE


def solid_of(
    grid: GradedGrid,
    codes: Codes,
    code: int,
    *,
    level: float,
    beside: BoneSolid | None = None,
    is_labelled: bool = False,
) -> BoneSolid | None:
    """
    One bone as a filled solid.

    Parameters
    ----------
    grid, codes
        The scan in boxes and whose they are.
    code
        The bone wanted.
    level
        The limit of bone, HU.
    beside
        The bone across the joint, filled before; with the joint it closes this one.
    is_labelled
        Whether a label map drew the region: then its walls are whole, and nothing is bridged.

    Returns
    -------
    BoneSolid or None
        None where the scan has nothing of it.
    """
    mask = _largest_piece(codes == code)
    if mask is None:
        return None
    spans = []
    for axis in range(3):
        others = tuple(a for a in range(3) if a != axis)
        hit = np.flatnonzero(mask.any(axis=others))
        spans.append((int(hit[0]), int(hit[-1]) + 1))
    box = tuple(slice(a, b) for a, b in spans)
    foreign = np.pad(codes[box] == JOINT, PAD)
    if beside is not None and not is_labelled:
        foreign |= _placed(beside, foreign.shape, (spans[0][0], spans[1][0], spans[2][0]))
    inside = make_solid(
        np.pad(mask[box], PAD),
        foreign=foreign,
        n_close=0 if is_labelled else _n_close(grid),
        first=PAD,
        cuts=tuple((low == 0, high == n) for (low, high), n in zip(spans, mask.shape, strict=True)),
    )
    inside &= ~np.pad((codes[box] != code) & (codes[box] != NOTHING), PAD)
    inside[:1] = inside[-1:] = False
    make_well_composed(inside)
    field = np.pad(grid.values[box], PAD, mode="edge").astype(np.float32)
    field = np.where(inside, np.maximum(field, level + 1.0), np.minimum(field, level - 1.0))
    edge = np.zeros_like(inside)
    edge[PAD:-PAD, PAD:-PAD, PAD:-PAD] = True
    field[~edge] = level - 400.0
    return BoneSolid(
        inside=inside,
        field=field.astype(np.float32),
        level=level,
        corner=(spans[0][0], spans[1][0], spans[2][0]),
    )


def _n_close(grid: GradedGrid) -> int:
    """Steps of closing for the grid's fine boxes."""
    spacing = grid.scan.spacing_mm
    finest = max(
        float(np.diff(line).min() * h) for line, h in zip(grid.lines, spacing, strict=True)
    )
    return int(np.clip(round(CLOSE_MM / finest), 1, MOST_CLOSE))


def _placed(
    solid: BoneSolid, shape: tuple[int, ...], corner: tuple[int, int, int]
) -> npt.NDArray[np.bool_]:
    """Another solid's boxes on the padded array of a bone."""
    out = np.zeros(shape, dtype=bool)
    there, here = [], []
    for axis in range(3):
        shift = solid.corner[axis] - corner[axis]
        low = max(0, shift)
        high = min(shape[axis], shift + solid.inside.shape[axis])
        if high <= low:
            return out
        here.append(slice(low, high))
        there.append(slice(low - shift, high - shift))
    out[tuple(here)] = solid.inside[tuple(there)]
    return out
