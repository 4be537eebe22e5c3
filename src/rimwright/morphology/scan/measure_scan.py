"""Measure one hip in a CT: from voxels to the same HipGeometry as from bones."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from rimwright.anatomy import (
    HipGeometry,
    LabelMap,
    Measurement,
    Modality,
    Progress,
    Side,
    SphereFit,
    TriangleMesh,
    Vector,
    Volume,
    no_progress,
)
from rimwright.errors import BoneRefusal
from rimwright.morphology.measure import measure_hip
from rimwright.morphology.scan.block_mean import coarsen
from rimwright.morphology.scan.field_checks import (
    THICK_MM,
    check_field,
    check_grid,
    is_at_edge,
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
from rimwright.morphology.scan.scan_bones import ScanBones, wrap_hip
from rimwright.morphology.scan.scanned_hip import MetalPiece, ScannedHip

COARSE_MM = 2.5
"""Voxels that hips are looked for in, mm."""
DENSITY_REACH_MM = 78.0
"""The part of the scan that is kept reaches this far round the head, mm."""
ASIS_ABOVE_MM, ASIS_BELOW_TOP_MM = 40.0, 25.0
"""An ASIS lies further above the socket than the first and, where the hip bone is cut by the top
of the field, further below that cut than the second, mm."""
ROOF_KEYS = ("lateral_centre_edge_angle_sourcil", "tonnis_angle")
"""What rests on the ends of the roof; on a made scan of 3 mm slices it missed by up to 40 degrees."""
MOST_TORN_DEG = 25.0
"""Cranial and central version of one socket further apart than this are not of one rim, deg
(retroverted sockets: up to about 20, from memory)."""
TUBERCLE_MEDIAL_MM = 25.0
LANDMARK_NAMES = ("asis", "pubic_tubercle", "asis_other", "pubic_tubercle_other")
WIDEN_MM = 2.0
"""A socket's radius beyond its head's, mm, to begin with."""


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
    metal = find_metal(scan, bones.trace.sphere.centre_mm, grid=bones.grid, codes=bones.codes)
    doubts += _metal_doubts(metal, bones)
    if labels is not None:
        doubts.append("the bones were told apart by the label map, not by search")
    hip = _measured(fine, bones, side, spheres.get(side.other), landmarks_mm, tell)
    hip = name_unresolved(hip, bones.joint)
    hip = _with_doubts(hip, scan, bones, metal, doubts)
    tell(1.0, "measured")
    return ScannedHip(
        hip=hip, density=_crop(volume, scan, bones.trace.sphere.centre_mm), metal=metal
    )


def _not_found(side: Side, seen: tuple[Side, ...]) -> str:
    """What was found instead of the hip asked for."""
    if seen:
        return f"no {side} hip was found (a {seen[0]} one was)"
    return "no hip was found (no ball of bone in a hollow of bone of a hip's size)"


def _measured(
    scan: OrientedGrid,
    bones: ScanBones,
    side: Side,
    other: tuple[Vector, float] | None,
    landmarks_mm: Mapping[str, Vector] | None,
    tell: Progress,
) -> HipGeometry:
    """Measure the surfaces; landmarks that may be cut bone are left out."""
    given = dict(landmarks_mm or {})
    centre = bones.trace.sphere.centre_mm
    own_cut = _cut_landmarks(scan, bones.hip_bone, centre, side)
    other_cut: tuple[str, ...] = ()
    if bones.other_hip_bone is not None and other is not None:
        other_cut = tuple(
            name + "_other"
            for name in _cut_landmarks(scan, bones.other_hip_bone, other[0], side.other)
        )
    cut = tuple(name for name in (*own_cut, *other_cut) if name not in given)
    use_other = bones.other_hip_bone is not None and other is not None and not cut
    femur, femur_reason = bones.femur, bones.femur_reason
    while True:
        try:
            hip = measure_hip(
                side=side,
                hip_bone=bones.hip_bone,
                other_hip_bone=bones.other_hip_bone if use_other else None,
                femur=femur,
                seed=bones.socket_seed,
                other_seed=_sphere(*other) if use_other and other is not None else None,
                landmarks_mm=given,
                progress=_within(tell, 0.65, 0.33),
            )
            break
        except BoneRefusal as refusal:
            if refusal.where == "femur" and femur is not None:
                femur, femur_reason = None, f"the femur cannot be measured: {refusal.wrong}"
                continue
            raise BoneRefusal(
                f"the {side} {refusal.where} cannot be measured: {refusal.wrong}",
                "scan",
                "Look at the images; thinner slices, a larger field or surfaces of the bones may "
                "help",
            ) from None
    warnings = hip.warnings
    if cut:
        spoken = ", ".join(_spoken(name) for name in cut)
        warnings = (*warnings, f"at the edge of the field, so not taken: {spoken}")
    if femur_reason:
        warnings = (*warnings, femur_reason)
        measurements = {
            key: replace(item, reason=femur_reason)
            if item.value is None and item.reason == "no femur given"
            else item
            for key, item in hip.measurements.items()
        }
        unavailable = {
            part: femur_reason if reason == "no femur given" else reason
            for part, reason in hip.unavailable.items()
        }
        unavailable.pop("head", None)
        hip = replace(
            hip,
            measurements=measurements,
            unavailable=unavailable,
            head=_traced_head(bones),
        )
    landmarks = {name: point for name, point in hip.landmarks_mm.items() if name not in cut}
    return replace(hip, landmarks_mm=landmarks, warnings=warnings)


def _cut_landmarks(
    scan: OrientedGrid, bone: TriangleMesh, centre: Vector, side: Side
) -> tuple[str, ...]:
    """Which pelvic landmarks of a bone may be where the field cuts it."""
    relative = bone.vertices_mm - centre
    outward = relative[:, 0] * side.lateral_x_lps
    cut = []
    upper = np.flatnonzero(relative[:, 2] > ASIS_ABOVE_MM)
    if len(upper):
        spine = bone.vertices_mm[upper[np.argmin(relative[upper, 1])]]
        top = bone.vertices_mm[np.argmax(bone.vertices_mm[:, 2])]
        is_low = top[2] - spine[2] > ASIS_BELOW_TOP_MM
        if is_at_edge(scan, spine) or (is_at_edge(scan, top) and not is_low):
            cut.append("asis")
    medial = np.flatnonzero((outward < -TUBERCLE_MEDIAL_MM) & (relative[:, 2] < 20.0))
    if len(medial):
        tubercle = bone.vertices_mm[medial[np.argmin(relative[medial, 1])]]
        if is_at_edge(scan, tubercle):
            cut.append("pubic_tubercle")
    return tuple(cut)


def _spoken(name: str) -> str:
    """A landmark's name as read aloud."""
    stem = name.removesuffix("_other")
    words = "ASIS" if stem == "asis" else "pubic tubercle"
    return words + (" of the other side" if name.endswith("_other") else "")


def _traced_head(bones: ScanBones) -> SphereFit:
    """The head's sphere as its rays saw it, where the femur as a whole cannot be measured."""
    sphere = bones.trace.sphere
    return SphereFit(
        centre_mm=sphere.centre_mm,
        radius_mm=sphere.radius_mm,
        rms_mm=sphere.rms_mm,
        n_points=int(bones.joint.head_seen.sum()),
    )


def _sphere(centre: Vector, radius: float) -> SphereFit:
    """A rough socket about a head."""
    return SphereFit(centre_mm=centre, radius_mm=radius + WIDEN_MM, rms_mm=0.5, n_points=100)


def _metal_doubts(metal: tuple[MetalPiece, ...], bones: ScanBones) -> list[str]:
    """What metal spoils."""
    if not metal:
        return []
    total = sum(piece.volume_mm3 for piece in metal)
    where = sorted({piece.lies_in for piece in metal})
    through = float(bones.trace.metal.mean())
    text = (
        f"metal ({len(metal)} piece{'s' if len(metal) > 1 else ''}, {total:.0f} mm³, in the "
        f"{' and the '.join(where) if where != ['elsewhere'] else 'field beside the bones'}): "
        "streaks and blooming move surfaces"
    )
    if through > 0.005:
        text += f"; {100 * through:.0f} % of the rays about the head pass through it"
    return [text]


def _with_doubts(
    hip: HipGeometry,
    scan: OrientedGrid,
    bones: ScanBones,
    metal: tuple[MetalPiece, ...],
    doubts: list[str],
) -> HipGeometry:
    """Say of every number what the scan as a whole makes doubtful."""
    reasons = []
    longest = float(scan.voxel_mm.max())
    if longest > THICK_MM:
        reasons.append(f"voxels {longest:.1f} mm long: angles to about 3 degrees")
        doubts.append(
            f"voxels of {' × '.join(f'{edge:.1f}' for edge in scan.voxel_mm[::-1])} mm: angles to "
            "about 3 degrees, narrow joints under resolution"
        )
    if any(piece.volume_mm3 > 200.0 and piece.lies_in != "elsewhere" for piece in metal):
        reasons.append("metal in the bone")
    if bones.doubts:
        reasons.append("the head is poorly seen")
    if not bones.scanner.learned:
        doubts.append("the scan's blur could not be learned from it; a usual one was taken")
    measurements = dict(hip.measurements)
    for key, item in measurements.items():
        for reason in reasons:
            item = item.doubted(reason)
        measurements[key] = item
    if longest > THICK_MM:
        for key in ROOF_KEYS:
            item = measurements[key]
            measurements[key] = Measurement.refused(
                item.unit,
                f"voxels {longest:.1f} mm long do not resolve where the roof ends",
                method=item.method,
            )
    _refuse_torn_versions(measurements)
    return replace(hip, measurements=measurements, warnings=(*doubts, *hip.warnings))


def _refuse_torn_versions(measurements: dict[str, Measurement]) -> None:
    """Refuse both versions where they contradict each other: then the rim was not seen."""
    keys = ("acetabular_version_cranial", "acetabular_version_central")
    first, second = (measurements[key].value for key in keys)
    if first is None or second is None or abs(first - second) <= MOST_TORN_DEG:
        return
    reason = (
        f"cranial and central version contradict each other ({first:.0f} and {second:.0f} degrees): "
        "the rim is not seen well enough"
    )
    for key in keys:
        item = measurements[key]
        measurements[key] = Measurement.refused(item.unit, reason, method=item.method)


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
