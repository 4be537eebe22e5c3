"""The bones of one hip out of a scan: found or labelled, parted at the joint, wrapped."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import label

from rimwright.anatomy import Progress, Side, SphereFit, TriangleMesh, Vector
from rimwright.errors import BoneRefusal
from rimwright.morphology.scan.blur import Plates, Scanner, learn_scanner
from rimwright.morphology.scan.bone_regions import (
    PAD,
    BoneSolid,
    bone_limit,
    part_bones,
    solid_of,
)
from rimwright.morphology.scan.bone_surface import rough_surface_of, surface_of
from rimwright.morphology.scan.graded_grid import GradedGrid, grade
from rimwright.morphology.scan.growing import FEMUR, HIP_BONE, OTHER_HIP_BONE, Codes
from rimwright.morphology.scan.joint_map import JointMap, map_joint
from rimwright.morphology.scan.joint_trace import JointTrace, trace_joint
from rimwright.morphology.scan.label_bones import LabelledHip, LabelledHips, codes_from_labels
from rimwright.morphology.scan.oriented import OrientedGrid

FINE_MM, COARSE_MM = 1.0, 2.6
"""Boxes about the joint and elsewhere, mm: a broad rim's summit wants the scan's own voxels."""
FINE_BEYOND_MM = 8.5
"""The fine boxes reach this far beyond the head: over the rim and the socket's plate, mm."""
LEAST_HEAD_SHARE = 0.08
"""A head of which less is seen as a sphere is not measured (the poorest real one: 0.12)."""
POOR_HEAD_SHARE = 0.25
"""A head of which less is seen is a caution."""
MOST_FROM_LABEL_MM = 4.0
"""A head traced further than this from its label's sphere is not the label's, mm."""
PIECE_SHARE = 0.12
"""A second piece of the socket with this share of it is no speck but a bone of its own."""
ROOF_UPWARD, BEHIND_ROOF_MM, LEAST_ROOF_RAYS, LEAST_FILLED = 0.6, 5.0, 100, 0.7
"""Rays that point up more than this part meet the roof; so far behind its surface it is bone in
every hip, mm; fewer rays tell nothing; and the share of them that must be."""
NECK_BEYOND_MM = 8.0
"""A femur that ends this near outside its head's sphere has lost its neck, mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScanBones:
    """
    The bones of one hip and what was learned on the way.

    Parameters
    ----------
    hip_bone, femur, other_hip_bone
        Closed surfaces, image frame; the last two None where the scan has none.
    socket_seed
        Rough sphere of the socket.
    trace, joint, scanner, plates
        The traced joint.
    grid, codes
        The scan in boxes and whose they are.
    doubts
        In words.
    femur_reason
        Why there is no femur; '' where there is one.
    """

    hip_bone: TriangleMesh
    femur: TriangleMesh | None
    other_hip_bone: TriangleMesh | None
    socket_seed: SphereFit
    trace: JointTrace
    joint: JointMap
    scanner: Scanner
    plates: Plates
    grid: GradedGrid
    codes: Codes
    doubts: tuple[str, ...]
    femur_reason: str = ""


def wrap_hip(
    scan: OrientedGrid,
    *,
    side: Side,
    centre_mm: Vector,
    radius_mm: float,
    other_head: tuple[Vector, float] | None,
    labelled: tuple[LabelledHips, LabelledHip] | None,
    tell: Progress,
) -> ScanBones:
    """
    Trace a hip that was found and wrap its bones.

    Parameters
    ----------
    scan
        The scan.
    side
        Its side.
    centre_mm, radius_mm
        Rough sphere of its head.
    other_head
        Sphere of the other hip's head, None if not in the scan.
    labelled
        The label map and the hip in it; None where the bones were searched for.
    tell
        Told the stages; may raise to cancel.

    Returns
    -------
    ScanBones
        Ready to be measured as bones.

    Raises
    ------
    BoneRefusal
        No head can be traced, or the socket is in pieces.
    """
    tell(0.0, "tracing head and socket")
    trace = trace_joint(scan, centre_mm=centre_mm, radius_mm=radius_mm, side=side)
    doubts = _head_doubts(trace, centre_mm, is_labelled=labelled is not None)
    scanner, plates = learn_scanner(scan, trace)
    joint = map_joint(scan, trace, scanner, plates)
    tell(0.35, "parting the bones")
    grid = grade(
        scan,
        centre_mm=trace.sphere.centre_mm,
        reach_mm=trace.sphere.radius_mm + FINE_BEYOND_MM,
        fine_mm=FINE_MM,
        coarse_mm=COARSE_MM,
    )
    if labelled is None:
        codes = part_bones(grid, joint, plates, other_head=other_head)
    else:
        codes = codes_from_labels(grid, *labelled)
    if trace.sphere.share >= POOR_HEAD_SHARE:
        _check_socket_whole(grid, codes, trace)
    # of a joint hardly seen the bones' own edges tell more than its traced surfaces
    onto = joint if trace.sphere.share >= POOR_HEAD_SHARE else None
    tell(0.5, "wrapping the femur")
    level = bone_limit(plates)
    drawn = labelled is not None
    femur_solid = solid_of(grid, codes, FEMUR, level=level, is_labelled=drawn)
    femur = None
    if femur_solid is not None:
        femur = surface_of(
            grid, femur_solid, scanner=scanner, plates=plates, joint=onto, is_femur=True
        )
    tell(0.65, "wrapping the hip bone")
    hip_solid = solid_of(grid, codes, HIP_BONE, level=level, beside=femur_solid, is_labelled=drawn)
    if hip_solid is None:
        raise BoneRefusal(
            f"no hip bone was found about the {side} head",
            "scan",
            "Give a series that holds the pelvis, or a label map",
        )
    doubts += _hollow_doubts(grid, hip_solid, joint)
    hip_bone = surface_of(
        grid, hip_solid, scanner=scanner, plates=plates, joint=onto, is_femur=False
    )
    other_solid = solid_of(grid, codes, OTHER_HIP_BONE, level=level, is_labelled=drawn)
    other = None
    if other_solid is not None:
        other = rough_surface_of(grid, other_solid)
    femur_reason = _neck_lost(femur, trace)
    tell(1.0, "wrapped")
    return ScanBones(
        hip_bone=hip_bone,
        femur=None if femur_reason else femur,
        other_hip_bone=other,
        socket_seed=_socket_seed(joint, trace),
        trace=trace,
        joint=joint,
        scanner=scanner,
        plates=plates,
        grid=grid,
        codes=codes,
        doubts=tuple(doubts),
        femur_reason=femur_reason,
    )


def _head_doubts(trace: JointTrace, centre_mm: Vector, *, is_labelled: bool) -> list[str]:
    """Refuse a head that is not seen; say how poorly it is."""
    sphere = trace.sphere
    apart = float(np.linalg.norm(sphere.centre_mm - centre_mm))
    if sphere.share < LEAST_HEAD_SHARE or not np.isfinite(sphere.rms_mm):
        raise BoneRefusal(
            f"the femoral head cannot be traced (seen as a sphere on {100 * sphere.share:.0f} % of "
            f"it, need {100 * LEAST_HEAD_SHARE:.0f} %)",
            "scan",
            "Give thinner slices, a bone kernel, or surfaces of the bones",
        )
    doubts = []
    if is_labelled and apart > MOST_FROM_LABEL_MM:
        doubts.append(
            f"the head traced in the scan lies {apart:.1f} mm from its label: check the label map"
        )
    if sphere.share < POOR_HEAD_SHARE:
        doubts.append(
            f"the head is seen as a sphere on only {100 * sphere.share:.0f} % of it: porous bone, "
            "thick slices or metal; every number is soft"
        )
    return doubts


def _check_socket_whole(grid: GradedGrid, codes: Codes, trace: JointTrace) -> None:
    """Refuse a socket in pieces: an open growth cartilage."""
    centre = trace.sphere.centre_mm
    reach = 2.0 * trace.sphere.radius_mm
    axes = grid.scan.step / grid.scan.spacing_mm
    low = grid.nearest(centre + axes @ np.full(3, -reach))
    high = grid.nearest(centre + axes @ np.full(3, reach)) + 1
    block = codes[tuple(slice(int(a), int(b)) for a, b in zip(low, high, strict=True))]
    pieces, n = label(block == HIP_BONE)
    if n < 2:
        return
    sizes = np.sort(np.bincount(pieces.ravel())[1:])[::-1]
    large = int((sizes > PIECE_SHARE * sizes.sum()).sum())
    if large > 1:
        raise BoneRefusal(
            f"the hip bone is in {large} pieces about the socket: an open growth cartilage, a "
            "fracture or an osteotomy",
            "scan",
            "This hip is not measured as a grown and whole one; read it on the images",
        )


def _hollow_doubts(grid: GradedGrid, solid: BoneSolid, joint: JointMap) -> list[str]:
    """Say of a hip bone that its roof holds no bone: cut open, its marrow ran out."""
    roof = joint.covered & (joint.rays.directions[..., 2] > ROOF_UPWARD)
    if np.count_nonzero(roof) < LEAST_ROOF_RAYS:
        return []
    points = joint.rays.points_mm(joint.socket_mm + BEHIND_ROOF_MM)[roof]
    at = grid.nearest(points) - np.array(solid.corner) + PAD
    held = ((at >= 0) & (at < solid.inside.shape)).all(axis=1)
    filled = solid.inside[tuple(at[held].T)]
    if len(filled) and float(filled.mean()) < LEAST_FILLED:
        return [
            "the hip bone came out hollow behind its roof, as where several faces of the field cut "
            "it: corridors and anchors there are not to be believed"
        ]
    return []


def _neck_lost(femur: TriangleMesh | None, trace: JointTrace) -> str:
    """Why the femur cannot be measured; '' where it can."""
    if femur is None:
        return "no femur was found in the scan"
    away = np.linalg.norm(femur.vertices_mm - trace.sphere.centre_mm, axis=1)
    if float(away.max()) < trace.sphere.radius_mm + NECK_BEYOND_MM:
        return (
            "the head stands apart from its neck: an open growth plate or a fracture; it is not "
            "measured as a grown and whole femur"
        )
    return ""


def _socket_seed(joint: JointMap, trace: JointTrace) -> SphereFit:
    """Rough sphere of the socket: the head's, widened by the usual gap."""
    gap = (joint.socket_mm - joint.head_mm)[joint.covered]
    wide = float(np.median(np.minimum(gap, 5.0))) if len(gap) else 2.0
    return SphereFit(
        centre_mm=trace.sphere.centre_mm,
        radius_mm=trace.sphere.radius_mm + wide,
        rms_mm=0.5,
        n_points=max(int(joint.covered.sum()), 1),
    )
