"""Measure the bones wrapped in a scan, leaving out what the field may have cut."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from rimwright.anatomy import (
    HipGeometry,
    Measurement,
    Progress,
    Side,
    SphereFit,
    TriangleMesh,
    Vector,
)
from rimwright.errors import BoneRefusal
from rimwright.morphology.measure import measure_hip
from rimwright.morphology.scan.dark_band import find_dark_band
from rimwright.morphology.scan.field_checks import is_at_edge, margin_mm
from rimwright.morphology.scan.oriented import OrientedGrid
from rimwright.morphology.scan.scan_bones import ScanBones

ASIS_ABOVE_MM, ASIS_BELOW_TOP_MM = 40.0, 25.0
"""An ASIS lies further above the socket than the first and, where the hip bone is cut by the top
of the field, further below that cut than the second, mm."""
LEAST_NECK_SHARE = 0.4
"""Least radius of a neck in radii of its head (adults: 0.55 to 0.8, from memory)."""
NECK_KEYS = ("alpha_angle_max", "head_neck_offset", "neck_shaft_angle", "femoral_version")
"""What rests on the neck and its axis."""
TUBERCLE_MEDIAL_MM = 25.0
WIDEN_MM = 2.0
"""A socket's radius beyond its head's, mm, to begin with."""


def measure_wrapped(
    scan: OrientedGrid,
    bones: ScanBones,
    side: Side,
    *,
    other: tuple[Vector, float] | None,
    landmarks_mm: Mapping[str, Vector] | None,
    tell: Progress,
) -> HipGeometry:
    """
    Measure the bones of a scan; landmarks that may be cut bone are left out.

    Parameters
    ----------
    scan, bones
        The scan and what was wrapped in it.
    side
        Side of the hip.
    other
        Sphere of the other hip's head, None if not in the scan.
    landmarks_mm
        Set by the user; they win over those found.
    tell
        Told the stages; may raise to cancel.

    Returns
    -------
    HipGeometry
        A femur that cannot be measured is left out with the reason, its head as its rays saw it.

    Raises
    ------
    BoneRefusal
        The socket cannot be measured.
    """
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
    hip: HipGeometry | None = None
    while hip is None:
        try:
            hip = measure_hip(
                side=side,
                hip_bone=bones.hip_bone,
                other_hip_bone=bones.other_hip_bone if use_other else None,
                femur=femur,
                seed=bones.socket_seed,
                other_seed=_sphere(*other) if use_other and other is not None else None,
                landmarks_mm=given,
                progress=tell,
            )
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
    reason = _neck_doubt(scan, bones, hip)
    if reason:
        warnings = (*warnings, reason)
        measurements = {
            key: Measurement.refused(item.unit, reason, method=item.method)
            if key in NECK_KEYS and item.value is not None
            else item
            for key, item in hip.measurements.items()
        }
        hip = replace(hip, measurements=measurements)
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


def _neck_doubt(scan: OrientedGrid, bones: ScanBones, hip: HipGeometry) -> str:
    """Why nothing that rests on the neck is told; '' where it may be."""
    if hip.femur is None or hip.head is None:
        return ""
    if margin_mm(scan, hip.femur.neck_centre_mm) < hip.femur.neck_radius_mm:
        return "the field cuts the neck where it is narrowest"
    if hip.femur.neck_radius_mm < LEAST_NECK_SHARE * hip.head.radius_mm:
        return (
            f"the neck found is thinner than any (radius {hip.femur.neck_radius_mm:.1f} mm): the "
            "femur came out hollow, as where the field cuts it"
        )
    band = find_dark_band(
        scan,
        centre_mm=hip.head.centre_mm,
        radius_mm=hip.head.radius_mm,
        axis=hip.femur.neck_axis,
        plates=bones.plates,
    )
    if band is not None:
        return (
            f"a dark band crosses the head {band:.0f} mm from its middle towards the neck: an open "
            "growth plate or a fracture; it is not measured as a grown and whole femur"
        )
    return ""


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
