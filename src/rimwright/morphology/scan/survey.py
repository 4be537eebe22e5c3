"""What a CT holds of hips, before anything is measured."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import LabelMap, Modality, Progress, Side, Vector, Volume, no_progress
from rimwright.errors import BoneRefusal
from rimwright.morphology.scan.block_mean import coarsen
from rimwright.morphology.scan.field_checks import (
    HEAD_MARGIN_MM,
    SOCKET_MARGIN_MM,
    THICK_MM,
    check_grid,
    margin_mm,
)
from rimwright.morphology.scan.hip_search import find_hips
from rimwright.morphology.scan.label_bones import find_labelled_hips
from rimwright.morphology.scan.measure_scan import COARSE_MM
from rimwright.morphology.scan.metal import find_metal
from rimwright.morphology.scan.oriented import OrientedGrid, orient
from rimwright.morphology.scan.scanned_hip import HipInScan, ScanSurvey

SHAFT_BELOW_MM = 90.0
"""A neck-shaft angle wants the femur down to here below the head, mm (a straight part of shaft
begins under the lesser trochanter, about 70 mm down)."""
CONDYLES_BELOW_MM = 330.0
"""Femoral version wants the condyles; a short femur has them this far below its head, mm."""
SPINES_ABOVE_MM = 85.0
"""The anterior pelvic plane wants both ASIS with some crest above them, mm above the heads."""


def survey_scan(
    volume: Volume, *, labels: LabelMap | None = None, progress: Progress | None = None
) -> ScanSurvey:
    """
    Look for hips in a CT and say what it can give.

    Parameters
    ----------
    volume
        A CT, any orientation.
    labels
        A label map of it, used instead of the search.
    progress
        Told the stages; may raise to cancel.

    Returns
    -------
    ScanSurvey
        A volume that is no CT, or holds no hip, has the reason.
    """
    tell = progress or no_progress
    if volume.modality is not Modality.CT:
        return ScanSurvey(
            hips=(), reason=f"bones are looked for in a CT only, this is {volume.modality}"
        )
    tell(0.0, "looking for the hips")
    scan = orient(volume)
    doubts = []
    try:
        check_grid(scan)
        spheres: dict[Side, tuple[Vector, float]]
        if labels is not None:
            found = find_labelled_hips(labels, scan).hips
            spheres = {hip.side: (hip.centre_mm, hip.radius_mm) for hip in found}
        else:
            hips = find_hips(scan, coarsen(scan, wanted_mm=COARSE_MM))
            spheres = {hip.side: (hip.centre_mm, hip.radius_mm) for hip in hips}
    except BoneRefusal as refusal:
        return ScanSurvey(hips=(), reason=refusal.wrong)
    longest = float(scan.voxel_mm.max())
    if longest > THICK_MM:
        doubts.append(f"voxels {longest:.1f} mm long: angles to about 3 degrees")
    tell(0.8, "looking for metal")
    surveyed = tuple(
        _hip(scan, side, *spheres[side], has_other=side.other in spheres)
        for side in (Side.LEFT, Side.RIGHT)
        if side in spheres
    )
    tell(1.0, "looked through")
    return ScanSurvey(
        hips=surveyed,
        reason="" if surveyed else "no ball of bone in a hollow of bone of a hip's size was found",
        doubts=tuple(doubts),
    )


def _hip(
    scan: OrientedGrid, side: Side, centre: Vector, radius: float, *, has_other: bool
) -> HipInScan:
    """One hip with what the field allows."""
    unfit: dict[str, str] = {}
    doubts = []
    below, above = _reach(scan, centre)
    if below < SHAFT_BELOW_MM:
        unfit["neck_shaft_angle"] = (
            f"the scan ends {below:.0f} mm below the head (about {SHAFT_BELOW_MM:.0f} mm are "
            "needed)"
        )
    if below < CONDYLES_BELOW_MM:
        unfit["femoral_version"] = (
            f"the condyles are not in the scan (it ends {below:.0f} mm below the head)"
        )
    if above < SPINES_ABOVE_MM or not has_other:
        lacking = (
            "the other hip is not in the scan"
            if not has_other
            else f"the scan ends {above:.0f} mm above the head, under the iliac spines"
        )
        doubts.append(
            f"{lacking}: angles are taken in the image axes, as cautions, not in the pelvis' own"
        )
    room = margin_mm(scan, centre) - radius
    if room < HEAD_MARGIN_MM:
        doubts.append("cut by the field: it will be refused")
    elif room < SOCKET_MARGIN_MM:
        doubts.append(f"the field ends {room:.0f} mm beyond the head: the rim may be cut")
    metal = find_metal(scan, centre)
    total = float(sum(piece.volume_mm3 for piece in metal))
    if metal:
        doubts.append(f"metal near it ({total:.0f} mm³): streaks and blooming move surfaces")
    return HipInScan(
        side=side,
        centre_mm=centre,
        radius_mm=radius,
        metal_mm3=total,
        unfit=unfit,
        doubts=tuple(doubts),
    )


def _reach(scan: OrientedGrid, centre: Vector) -> tuple[float, float]:
    """How far the scan goes below and above a point along its own cranial axis, mm."""
    index = scan.to_index(centre)
    height = float(abs(scan.step[2, 0]) / np.linalg.norm(scan.step[:, 0])) * scan.spacing_mm[0]
    return float(index[0] * height), float((scan.values.shape[0] - 1 - index[0]) * height)
