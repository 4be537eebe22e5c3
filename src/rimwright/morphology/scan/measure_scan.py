"""Measure one hip in a CT: from voxels to the same HipGeometry as from bones."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from rimwright.anatomy import (
    LabelMap,
    Modality,
    Progress,
    Side,
    Vector,
    Volume,
    no_progress,
)
from rimwright.errors import BoneRefusal
from rimwright.morphology.scan.block_mean import coarsen
from rimwright.morphology.scan.field_checks import (
    check_field,
    check_grid,
)
from rimwright.morphology.scan.hip_search import find_hips
from rimwright.morphology.scan.label_bones import (
    LabelledHip,
    LabelledHips,
    find_labelled_hips,
)
from rimwright.morphology.scan.metal import find_metal
from rimwright.morphology.scan.oriented import OrientedGrid, orient
from rimwright.morphology.scan.refining import refine
from rimwright.morphology.scan.resolution import name_unresolved
from rimwright.morphology.scan.scan_bones import POOR_HEAD_SHARE, wrap_hip
from rimwright.morphology.scan.scan_doubts import metal_doubts, with_doubts
from rimwright.morphology.scan.scanned_hip import ScannedHip
from rimwright.morphology.scan.wrapped_hip import measure_wrapped

COARSE_MM = 3.0
"""Voxels that hips are looked for in, mm."""
DENSITY_REACH_MM = 78.0
"""The part of the scan that is kept reaches this far round the head, mm."""


def measure_scan(
    volume: Volume,
    *,
    side: Side,
    labels: LabelMap | None = None,
    landmarks_mm: Mapping[str, Vector] | None = None,
    progress: Progress | None = None,
) -> ScannedHip:
    """
    Find and measure one hip in a CT.

    Parameters
    ----------
    volume
        A CT, any orientation and memory order.
    side
        The hip asked for.
    labels
        A label map with a number of its own for each femur and hip bone: it takes the place of
        the search; surfaces are still sought between the voxels of the scan.
    landmarks_mm
        Landmarks set by the user, image frame; they win over those found.
    progress
        Told the stages; may raise to cancel.

    Returns
    -------
    ScannedHip
        The hip, the CT about it and the metal in it.

    Raises
    ------
    BoneRefusal
        The volume is no CT, shows no hip of this side, or cuts it; the socket is in pieces.
    CaseRefusal
        Only one end of the notch is set.
    """
    tell = progress or no_progress
    if volume.modality is not Modality.CT:
        raise BoneRefusal(
            f"bones are found in a CT only (got {volume.modality})",
            "scan",
            "Read an MR on its radial reformats, or give surfaces of the bones",
        )
    tell(0.0, "looking for the hips")
    scan = orient(volume)
    check_grid(scan)
    labelled: tuple[LabelledHips, LabelledHip] | None = None
    if labels is not None:
        every = find_labelled_hips(labels, scan)
        spheres = {hip.side: (hip.centre_mm, hip.radius_mm) for hip in every.hips}
        labelled = next(((every, hip) for hip in every.hips if hip.side is side), None)
    else:
        hips = find_hips(scan, coarsen(scan, wanted_mm=COARSE_MM))
        spheres = {hip.side: (hip.centre_mm, hip.radius_mm) for hip in hips}
    if side not in spheres:
        raise BoneRefusal(
            _not_found(side, tuple(spheres)),
            "scan" if labels is None else "label map",
            "Check side and series; a hip that cannot be found may be given as surfaces",
        )
    centre, radius = spheres[side]
    # a label map is as coarse as its voxels: drawing them finer would only draw their steps
    fine = refine(scan) if labels is None else scan
    doubts = check_field(scan, centre, radius, side=str(side))
    bones = wrap_hip(
        fine,
        side=side,
        centre_mm=centre,
        radius_mm=radius,
        other_head=spheres.get(side.other),
        labelled=labelled,
        tell=_within(tell, 0.2, 0.45),
    )
    doubts += bones.doubts
    # whose a box is can be told only where the head is well seen
    is_told = bones.trace.sphere.share >= POOR_HEAD_SHARE or labelled is not None
    metal = find_metal(
        scan,
        bones.trace.sphere.centre_mm,
        grid=bones.grid if is_told else None,
        codes=bones.codes if is_told else None,
    )
    doubts += metal_doubts(metal, bones)
    if labels is not None:
        doubts.append("the bones were told apart by the label map, not by search")
    hip = measure_wrapped(
        fine,
        bones,
        side,
        other=spheres.get(side.other),
        landmarks_mm=landmarks_mm,
        tell=_within(tell, 0.65, 0.33),
    )
    hip = name_unresolved(hip, bones.joint)
    hip = with_doubts(hip, scan, bones, metal, doubts)
    tell(1.0, "measured")
    return ScannedHip(
        hip=hip, density=_crop(volume, scan, bones.trace.sphere.centre_mm), metal=metal
    )


def _not_found(side: Side, seen: tuple[Side, ...]) -> str:
    """What was found instead of the hip asked for."""
    if seen:
        return f"no {side} hip was found (a {seen[0]} one was)"
    return "no hip was found (no ball of bone in a hollow of bone of a hip's size)"


def _crop(volume: Volume, scan: OrientedGrid, centre: Vector) -> Volume:
    """The part of the scan round a head, a copy of its own."""
    reach = DENSITY_REACH_MM / scan.spacing_mm
    middle = scan.to_index(centre)
    low = np.maximum(np.floor(middle - reach), 0).astype(int)
    high = np.minimum(np.ceil(middle + reach) + 1, scan.values.shape).astype(int)
    block = scan.values[low[0] : high[0], low[1] : high[1], low[2] : high[2]].copy()
    affine = np.eye(4)
    affine[:3, :3] = scan.step[:, ::-1]
    affine[:3, 3] = scan.to_mm(low)
    return Volume(
        values=block.transpose(2, 1, 0),
        affine=affine,
        modality=volume.modality,
        frame_id=volume.frame_id,
    )


def _within(tell: Progress, start: float, share: float) -> Progress:
    """Progress of a part of the work as progress of the whole."""

    def inner(fraction: float, stage: str) -> None:
        tell(start + share * fraction, stage)

    return inner
