"""Femur and hip bone of a label map: told by where they meet, never by their numbers or names."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import binary_dilation, find_objects

from rimwright.anatomy import Floats, LabelMap, Points, Side, Vector
from rimwright.errors import BoneRefusal
from rimwright.morphology.scan.graded_grid import GradedGrid
from rimwright.morphology.scan.growing import FEMUR, HIP_BONE, OTHER_HIP_BONE, Codes
from rimwright.morphology.scan.head_sphere import fit_head_sphere
from rimwright.morphology.scan.oriented import OrientedGrid, orient

LEAST_CM3, MOST_CM3 = 20.0, 3000.0
"""Volumes between which a label may be a bone of a hip, cm³ (children's to giants')."""
LEAST_BONE_HU = 60.0
"""A label paler than this on average is no bone: muscle has about 50, fat −100, HU."""
NEAR_MM = 8.0
"""Femur and hip bone come this near to each other, mm."""
LEAST_SHARE = 0.3
"""Least share of the head's surface towards the hip bone that lies on one sphere."""
LEAST_RADIUS_MM, MOST_RADIUS_MM = 13.0, 34.0
LEAST_CONTACT = 60
MOST_RMS_MM = 1.2


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LabelledHip:
    """
    A hip of a label map.

    Parameters
    ----------
    side
        Told by which way the hip bone lies from the head.
    femur_label, hip_bone_label
        Numbers of the map.
    centre_mm, radius_mm
        Sphere through the femur's surface towards the hip bone.
    """

    side: Side
    femur_label: int
    hip_bone_label: int
    centre_mm: Vector
    radius_mm: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class LabelledHips:
    """
    All hips of a label map, and the map as an array in the scan's order.

    Parameters
    ----------
    hips
        None, one or two, left first.
    grid
        The map.
    """

    hips: tuple[LabelledHip, ...]
    grid: OrientedGrid


def find_labelled_hips(labels: LabelMap, scan: OrientedGrid) -> LabelledHips:
    """
    Find which labels are femur and hip bone.

    Parameters
    ----------
    labels
        The map; its grid need not be the scan's.
    scan
        The scan: a label that is not bone in it is left out.

    Returns
    -------
    LabelledHips
        A ball of one label in a hollow of another.

    Raises
    ------
    BoneRefusal
        No two labels meet as head and socket.
    """
    grid = orient(labels)
    voxel = float(abs(np.linalg.det(grid.step)))
    boxes = find_objects(grid.values.astype(np.int32))
    bones = []
    for number, box in enumerate(boxes, start=1):
        if box is None:
            continue
        mask = grid.values[box] == number
        volume = float(mask.sum()) * voxel / 1000.0
        if not LEAST_CM3 < volume < MOST_CM3:
            continue
        index = np.argwhere(mask)[:: max(1, int(mask.sum()) // 4000)]
        points = grid.to_mm(index + [part.start for part in box])
        if _mean_hu(scan, points) > LEAST_BONE_HU:
            bones.append(number)
    found: list[LabelledHip] = []
    for femur in bones:
        best: LabelledHip | None = None
        most = 0
        for hip_bone in bones:
            if hip_bone == femur:
                continue
            contact = _facing(grid, boxes, femur, hip_bone)
            if len(contact) < max(LEAST_CONTACT, most):
                continue
            hip = _as_hip(grid, contact, femur, hip_bone)
            if hip is not None:
                best, most = hip, len(contact)
        if best is not None:
            found.append(best)
    if not found:
        raise BoneRefusal(
            "no two labels of the map meet as a femoral head and its socket",
            "label map",
            "Give a map with a number of its own for each femur and each hip bone, on this scan",
        )
    found.sort(key=lambda hip: -hip.side.lateral_x_lps)
    return LabelledHips(hips=tuple(found), grid=grid)


def _mean_hu(scan: OrientedGrid, points: Points) -> float:
    """Mean brightness of the scan at some points."""
    at = np.round(scan.to_index(points)).astype(int)
    inside = ((at >= 0) & (at < scan.values.shape)).all(axis=1)
    if not inside.any():
        return -np.inf
    return float(scan.values[tuple(at[inside].T)].mean())


def _facing(grid: OrientedGrid, boxes: list[tuple[slice, ...]], a: int, b: int) -> Points:
    """Points of label a's surface that lie near label b, (n, 3) mm."""
    reach = np.maximum(1, np.round(NEAR_MM / grid.spacing_mm)).astype(int)
    spans = []
    for axis in range(3):
        low = max(boxes[a - 1][axis].start, boxes[b - 1][axis].start - reach[axis])
        high = min(boxes[a - 1][axis].stop, boxes[b - 1][axis].stop + reach[axis])
        if high <= low:
            return np.zeros((0, 3))
        spans.append(slice(max(0, low - 1), min(grid.values.shape[axis], high + 1)))
    block = grid.values[tuple(spans)]
    first, second = block == a, block == b
    if not (first.any() and second.any()):
        return np.zeros((0, 3))
    near = second
    for axis, steps in enumerate(reach):
        line = np.ones([2 * steps + 1 if m == axis else 1 for m in range(3)])
        near = binary_dilation(near, line)
    points = []
    for axis in range(3):
        ahead = np.diff(first.astype(np.int8), axis=axis) != 0
        index = np.argwhere(ahead).astype(np.float64)
        keep = near[tuple(np.argwhere(ahead).T)]
        index = index[keep]
        index[:, axis] += 0.5
        points.append(index)
    index = np.concatenate(points) + [span.start for span in spans]
    out: Points = grid.to_mm(index)
    return out


def _as_hip(grid: OrientedGrid, contact: Points, femur: int, hip_bone: int) -> LabelledHip | None:
    """A head and its socket, or None where the first label is no ball there or bulges inward."""
    sphere = fit_head_sphere(contact, np.ones(len(contact)), np.ones(len(contact), dtype=bool))
    if not LEAST_RADIUS_MM < sphere.radius_mm < MOST_RADIUS_MM:
        return None
    if sphere.share < LEAST_SHARE or sphere.rms_mm > MOST_RMS_MM:
        return None
    at = np.round(grid.to_index(sphere.centre_mm)).astype(int)
    inside = ((at >= 0) & (at < grid.values.shape)).all()
    if not inside or int(grid.values[tuple(at)]) != femur:
        return None
    towards: Floats = contact.mean(axis=0) - sphere.centre_mm
    side = Side.LEFT if towards[0] < 0 else Side.RIGHT
    return LabelledHip(
        side=side,
        femur_label=femur,
        hip_bone_label=hip_bone,
        centre_mm=sphere.centre_mm,
        radius_mm=sphere.radius_mm,
    )


def codes_from_labels(grid: GradedGrid, labelled: LabelledHips, hip: LabelledHip) -> Codes:
    """
    Whose each box is, by the map.

    Parameters
    ----------
    grid
        The scan in boxes.
    labelled, hip
        The map and the hip in it.

    Returns
    -------
    (nz, ny, nx) uint8
        FEMUR, HIP_BONE, OTHER_HIP_BONE or 0.
    """
    values = labelled.grid.values
    meaning = np.zeros(int(values.max()) + 1, np.uint8)
    for other in labelled.hips:
        if other is not hip and other.hip_bone_label != hip.hip_bone_label:
            meaning[other.hip_bone_label] = OTHER_HIP_BONE
    meaning[hip.femur_label] = FEMUR
    meaning[hip.hip_bone_label] = HIP_BONE
    lines = [np.asarray(line) for line in grid.lines]
    matrix = labelled.grid.to_index_matrix
    steps = matrix @ grid.scan.step
    start = matrix @ (grid.scan.origin_mm - labelled.grid.origin_mm)
    at = []
    for row in range(3):
        part = (
            start[row]
            + steps[row, 0] * lines[0][:, None, None]
            + steps[row, 1] * lines[1][None, :, None]
            + steps[row, 2] * lines[2][None, None, :]
        )
        at.append(np.round(part).astype(np.int32))
    inside = np.ones(grid.values.shape, dtype=bool)
    for row in range(3):
        inside &= (at[row] >= 0) & (at[row] < values.shape[row])
        np.clip(at[row], 0, values.shape[row] - 1, out=at[row])
    codes: Codes = meaning[values[at[0], at[1], at[2]]]
    codes[~inside] = 0
    return codes
