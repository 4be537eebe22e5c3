"""Measure one hip: from bones to HipGeometry."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from rimwright.anatomy import (
    MEASUREMENT_KEYS,
    ByHour,
    Floats,
    HipGeometry,
    Measurement,
    Progress,
    RimCurve,
    Side,
    SocketFaces,
    SphereFit,
    TriangleMesh,
    Vector,
    hours_of_rim,
    no_progress,
)
from rimwright.errors import BoneRefusal, CaseRefusal, LayoutRefusal
from rimwright.morphology.acetabular_angles import coverage_by_point
from rimwright.morphology.femur import FEMORAL_LANDMARKS, FemurGeometry, measure_femur
from rimwright.morphology.hip_bones import find_hip_bones
from rimwright.morphology.joint_space import (
    joint_space_by_hour,
    least_joint_space,
    measure_joint_space,
)
from rimwright.morphology.mirroring import (
    mirror_hip,
    mirror_landmarks,
    mirror_mesh,
    mirror_sphere,
)
from rimwright.morphology.pelvic_landmarks import find_pelvic_frame
from rimwright.morphology.rim_curve import build_rim_curve
from rimwright.morphology.socket import Socket, find_socket
from rimwright.morphology.socket_faces import find_socket_faces
from rimwright.morphology.socket_measurements import UNITS, measure_socket
from rimwright.morphology.socket_search import fit_lunate

NOTCH_LANDMARKS = ("notch_anterior", "notch_posterior")
PELVIC_LANDMARKS = ("asis", "asis_other", "pubic_tubercle", "pubic_tubercle_other")
LANDMARKS = (*PELVIC_LANDMARKS, *NOTCH_LANDMARKS, *FEMORAL_LANDMARKS)
"""Landmarks that a person may set, image frame."""
SEATED_MM = 6.0
"""A head this far from the socket's centre is not seated as in life: a warning, mm."""
SAME_HIP_MM = 20.0
"""A head further away than this belongs to another hip or lies in another frame, mm."""
JOINT_SPACE_SEED, N_RESAMPLES = 3, 32
"""Seed and number of the resamplings that give the joint space its spread; neighbouring triangles
are alike, so each takes a quarter of them."""
JOINT_SPACE_METHOD = (
    "1st percentile by area of the gap between lunate and head surface, along rays from the "
    "head centre"
)
SURFACE_REASON = (
    "from bone surfaces: a cut-off read on radiographs does not apply, and the surface's own "
    "error is of the size of a narrow joint"
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Bones:
    """The bones of one hip as a left one."""

    hip_bone: TriangleMesh | None
    other_hip_bone: TriangleMesh | None
    femur: TriangleMesh | None
    seed: SphereFit | None
    other_seed: SphereFit | None
    landmarks_mm: Mapping[str, Vector]


def measure_hip(
    *,
    side: Side,
    hip_bone: TriangleMesh | None = None,
    other_hip_bone: TriangleMesh | None = None,
    femur: TriangleMesh | None = None,
    seed: SphereFit | None = None,
    other_seed: SphereFit | None = None,
    axes_assumed: bool = False,
    landmarks_mm: Mapping[str, Vector] | None = None,
    progress: Progress | None = None,
) -> HipGeometry:
    """
    Measure everything that the bones given allow.

    Parameters
    ----------
    side
        Side of the hip.
    hip_bone, other_hip_bone, femur
        Image frame (LPS, mm), outward; at least the hip bone or the femur.
    seed, other_seed
        Rough socket spheres, as `choose_hip_bone` gives them; searched for when left out.
    axes_assumed
        Whether the file did not say which way its axes run.
    landmarks_mm
        Landmarks set by the user, image frame, see LANDMARKS; they win over those found.
    progress
        Told the stages; may raise to cancel.

    Returns
    -------
    HipGeometry
        Measurements that cannot be taken are refused with the reason.

    Raises
    ------
    LayoutRefusal
        Neither hip bone nor femur.
    BoneRefusal
        A bone is not what it is said to be.
    CaseRefusal
        Only one end of the notch is set.

    Notes
    -----
    A right hip is measured as its mirror image, so that both sides give one answer.
    """
    if hip_bone is None and femur is None:
        raise LayoutRefusal(
            "no bone given (need a hip bone, a femur or both)",
            "measure",
            "Give --pelvis, --femur or --image",
        )
    tell = progress or no_progress
    flip = side is Side.RIGHT
    given = dict(landmarks_mm or {})
    bones = _Bones(
        hip_bone=mirror_mesh(hip_bone) if flip else hip_bone,
        other_hip_bone=mirror_mesh(other_hip_bone) if flip else other_hip_bone,
        femur=mirror_mesh(femur) if flip else femur,
        seed=mirror_sphere(seed) if flip else seed,
        other_seed=mirror_sphere(other_seed) if flip else other_seed,
        landmarks_mm=mirror_landmarks(given) if flip else given,
    )
    hip = replace(_measure_left(bones, tell), axes_assumed=axes_assumed)
    if axes_assumed:
        doubt = "the file does not say which way its axes run; its format's usual ones were taken"
        hip = replace(hip, warnings=(*hip.warnings, doubt))
    if flip:
        return mirror_hip(hip, pelvis_bone=hip_bone, femur_bone=femur)
    return hip


def _measure_left(bones: _Bones, tell: Progress) -> HipGeometry:
    """Measure a left hip (or the mirror image of a right one)."""
    measurements: dict[str, Measurement] = {}
    unavailable: dict[str, str] = {}
    warnings: list[str] = []
    tell(0.0, "finding the socket")
    bone = bones.hip_bone
    lunate = other_centre = None
    if bone is not None:
        seed = bones.seed or find_hip_bones([bone], where="hip bone")[0].lunate.sphere
        lunate = fit_lunate(
            bone, centre_mm=seed.centre_mm, radius_mm=seed.radius_mm, where="hip bone"
        )
        if bones.other_hip_bone is not None:
            other_seed = bones.other_seed or _other_seed(bones.other_hip_bone)
            other_centre = other_seed.centre_mm
    found = find_pelvic_frame(
        bone,
        centre_mm=lunate.sphere.centre_mm if lunate else None,
        other_bone=bones.other_hip_bone,
        other_centre_mm=other_centre,
        given_mm={
            name: point for name, point in bones.landmarks_mm.items() if name in PELVIC_LANDMARKS
        },
    )
    if found.reason:
        warnings.append(f"pelvic frame from the image axes ({found.reason})")
    tell(0.2, "tracing the rim")
    socket = rim = faces = None
    if bone is not None and lunate is not None:
        socket = find_socket(
            bone, lunate, frame=found.frame, notch_ends_mm=_notch_ends(bones.landmarks_mm)
        )
        rim = build_rim_curve(socket)
        faces = find_socket_faces(bone, socket)
        warnings += _rim_doubts(rim)
    tell(0.5, "measuring the femur")
    femur = None
    if bones.femur is not None:
        femur = measure_femur(
            bones.femur,
            side=Side.LEFT,
            frame=found.frame,
            seed_centre_mm=socket.sphere.centre_mm if socket else None,
            landmarks_mm=bones.landmarks_mm,
        )
        measurements.update(femur.measurements)
        unavailable.update(femur.unavailable)
        warnings += femur.warnings
        if socket is not None:
            warnings += _seating_doubts(femur.head, socket.sphere)
    tell(0.8, "measuring coverage")
    if socket is not None and faces is not None and bone is not None:
        measurements.update(
            measure_socket(
                bone,
                faces,
                socket=socket,
                frame=found.frame,
                head=femur.head if femur else None,
            )
        )
    gap = _gap(bone, faces, bones.femur, femur)
    measurements["joint_space_min"] = _least_gap(gap, bone, faces, has_femur=femur is not None)
    _explain_missing(measurements, unavailable, femur=femur, socket=socket)
    tell(1.0, "measured")
    return HipGeometry(
        side=Side.LEFT,
        frame=found.frame,
        axes_assumed=False,
        head=femur.head if femur else None,
        socket=socket.sphere if socket else None,
        opening_axis=socket.axis if socket else None,
        rim=rim,
        faces=faces,
        femur=femur.axes if femur else None,
        landmarks_mm={**found.points_mm, **(femur.landmarks_mm if femur else {})},
        measurements={key: measurements[key] for key in MEASUREMENT_KEYS},
        by_hour=_by_hour(rim, femur, gap, bone, faces),
        pelvis_bone=bone,
        femur_bone=bones.femur,
        unavailable=unavailable,
        warnings=tuple(warnings),
    )


def _notch_ends(given: Mapping[str, Vector]) -> tuple[Vector, Vector] | None:
    """Both ends of the notch as set by the user, or None."""
    ends = [given[name] for name in NOTCH_LANDMARKS if name in given]
    if len(ends) == 2:
        return ends[0], ends[1]
    if ends:
        raise CaseRefusal(
            "only one end of the notch is set",
            "landmarks",
            "Set both, notch_anterior and notch_posterior, or neither",
        )
    return None


def _other_seed(bone: TriangleMesh) -> SphereFit:
    """Socket sphere of the other side's hip bone; in a fused pelvis the right one of the two."""
    found = find_hip_bones([bone], where="other hip bone")
    right = [item for item in found if item.side is Side.RIGHT]
    return (right or list(found))[0].lunate.sphere


def _rim_doubts(rim: RimCurve) -> list[str]:
    """What is doubtful about the hours."""
    if rim.notch_from_hour is None:
        return ["no acetabular notch was seen: hours are counted from 12 cranial"]
    return []


def _seating_doubts(head: SphereFit, socket: SphereFit) -> list[str]:
    """Refuse a femur of another hip; warn of one that is not seated."""
    apart = float(np.linalg.norm(head.centre_mm - socket.centre_mm))
    if apart > SAME_HIP_MM or head.radius_mm > socket.radius_mm + 3.0:
        raise BoneRefusal(
            f"the femoral head does not belong in this socket (centres {apart:.1f} mm apart, "
            f"radii {head.radius_mm:.1f} and {socket.radius_mm:.1f} mm)",
            "femur",
            "Give the femur of the same side and of the same scan",
        )
    if apart > SEATED_MM:
        return [
            f"the femoral head lies {apart:.1f} mm from the socket's centre: not seated, or "
            "subluxed; angles about the head centre shift with it"
        ]
    return []


def _gap(
    bone: TriangleMesh | None,
    faces: SocketFaces | None,
    femur_bone: TriangleMesh | None,
    femur: FemurGeometry | None,
) -> Floats | None:
    """Gap at every lunate triangle, or None without both bones."""
    if bone is None or faces is None or femur_bone is None or femur is None:
        return None
    return measure_joint_space(bone, faces, femur=femur_bone, head=femur.head)


def _least_gap(
    gap: Floats | None,
    bone: TriangleMesh | None,
    faces: SocketFaces | None,
    *,
    has_femur: bool,
) -> Measurement:
    """The smallest joint space, robustly, with the spread of a quarter of the surface."""
    if gap is None or bone is None or faces is None or not np.isfinite(gap).any():
        reason = "no hip bone given" if has_femur else "no femur given"
        if gap is not None:
            reason = "no ray met both surfaces"
        return Measurement.refused("mm", reason, method=JOINT_SPACE_METHOD)
    area = np.linalg.norm(bone.area_vectors_mm2()[faces.lunate], axis=1)
    random = np.random.default_rng(JOINT_SPACE_SEED)
    again = []
    for _ in range(N_RESAMPLES):
        some = random.choice(len(gap), size=len(gap) // 4 + 1)
        if np.isfinite(gap[some]).any():
            again.append(least_joint_space(gap[some], area[some]))
    return Measurement(
        value=least_joint_space(gap, area),
        unit="mm",
        method=JOINT_SPACE_METHOD,
        spread=float(np.std(again)),
    ).doubted(SURFACE_REASON)


def _explain_missing(
    measurements: dict[str, Measurement],
    unavailable: dict[str, str],
    *,
    femur: FemurGeometry | None,
    socket: Socket | None,
) -> None:
    """A refusal with its reason for every key and part that is not there."""
    for key in MEASUREMENT_KEYS:
        if key not in measurements:
            lacking = "no femur given" if femur is None and socket else "no hip bone given"
            measurements[key] = Measurement.refused(UNITS[key], lacking)
    if femur is None:
        for part in ("head", "femoral_axes", "alpha_angle", "joint_space"):
            unavailable[part] = "no femur given"
    if socket is None:
        for part in ("socket", "rim", "coverage", "joint_space"):
            unavailable[part] = "no hip bone given"


def _by_hour(
    rim: RimCurve | None,
    femur: FemurGeometry | None,
    gap: Floats | None,
    bone: TriangleMesh | None,
    faces: SocketFaces | None,
) -> ByHour:
    """Curves by hour."""
    hours = hours_of_rim()
    coverage = np.full(len(hours), np.nan)
    space = coverage.copy()
    if rim is not None:
        centre = femur.head.centre_mm if femur else rim.centre_mm
        coverage = coverage_by_point(rim.points_mm - centre, -rim.axis)
    if rim is not None and gap is not None and bone is not None and faces is not None:
        space = joint_space_by_hour(gap, bone, faces, rim=rim)
    return ByHour(
        hours=hours,
        coverage_deg=coverage,
        joint_space_mm=space,
        femoral_hours=femur.femoral_hours if femur else np.zeros(0),
        alpha_deg=femur.alpha_deg if femur else np.zeros(0),
    )
