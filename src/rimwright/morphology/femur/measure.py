"""Measure one femur: head, neck, shaft, condyles, and the four numbers that rest on them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from rimwright.anatomy import (
    FemoralAxes,
    PelvicFrame,
    Side,
    SphereFit,
    TriangleMesh,
    Vector,
)
from rimwright.errors import BoneRefusal
from rimwright.morphology.femur.alpha import (
    N_ALPHA_HOURS,
    alpha_by_hour,
    alpha_hours,
    departure_mm,
    head_neck_offset_mm,
)
from rimwright.morphology.femur.condyles import find_condyles
from rimwright.morphology.femur.geometry import FemurGeometry
from rimwright.morphology.femur.given_landmarks import (
    FEMORAL_LANDMARKS,
    with_given_condyles,
    with_given_neck,
)
from rimwright.morphology.femur.head import FoundHead, find_head
from rimwright.morphology.femur.neck import FoundNeck, find_neck
from rimwright.morphology.femur.readings import (
    FemurParts,
    alpha_reading,
    head_doubts,
    neck_shaft_reading,
    offset_reading,
    refused_readings,
    version_reading,
)
from rimwright.morphology.femur.sections import Dial, radial_contours
from rimwright.morphology.femur.shaft import FoundShaft, find_shaft
from rimwright.morphology.femur.side_check import check_side
from rimwright.morphology.femur.spread import refit_spread
from rimwright.morphology.femur.surface import CRANIAL, WHERE, prepare_surface
from rimwright.morphology.femur.trochanters import greater_trochanter, lesser_trochanter

LOOSE_FRACTION = 0.02
"""Loose pieces and inner walls of more than this share of the surface are told."""
OFFSET_HOUR = 3.0
"""Femoral hour of the head-neck offset: anterior."""


def measure_femur(
    femur: TriangleMesh,
    *,
    side: Side,
    frame: PelvicFrame,
    seed_centre_mm: Vector | None = None,
    landmarks_mm: Mapping[str, Vector] | None = None,
) -> FemurGeometry:
    """
    Measure a proximal or whole femur.

    Parameters
    ----------
    femur
        Image frame (LPS, mm), outward.
    side
        The side claimed; a femur of the other side is refused.
    frame
        Pelvic frame of that side. It names lateral, cranial and anterior; the angles are taken
        on the femur itself and do not hang on it.
    seed_centre_mm
        (3,), image frame: a place near the head centre, if one is known (the socket's centre).
    landmarks_mm
        Set by a person, image frame: 'neck_centre', 'condyle_medial', 'condyle_lateral',
        'greater_trochanter'; they win over those found.

    Returns
    -------
    FemurGeometry
        All that could be measured; the rest refused with its reason.

    Raises
    ------
    BoneRefusal
        Not a femur, or not of this side, or not in these axes.

    Notes
    -----
    Computed in the pelvic frame of the femur's own side, so that a mirrored femur gives the
    mirrored answer. Neck axis: head centre to the centre of the narrowest section across it.
    """
    if frame.side is not side:
        raise BoneRefusal(
            f"the pelvic frame is of the other side (got {frame.side}, need {side})",
            WHERE,
            "Give the frame of the femur's own side",
        )
    surface = prepare_surface(femur, frame=frame)
    seed = None if seed_centre_mm is None else frame.pelvic_from_image.points(seed_centre_mm)
    head = find_head(surface, seed_mm=seed)
    warnings = head_doubts(head)
    if surface.left_out_fraction > LOOSE_FRACTION:
        warnings.append(
            f"{100 * surface.left_out_fraction:.0f} % of the femur's surface lies in separate "
            "bodies and was left out"
        )
    given = {
        name: frame.pelvic_from_image.points(point)
        for name, point in (landmarks_mm or {}).items()
        if name in FEMORAL_LANDMARKS
    }
    neck = with_given_neck(find_neck(surface, head), head, given)
    if isinstance(neck, str):
        return _head_alone(head, frame, neck, warnings)
    shaft = find_shaft(surface, head.sphere)
    condyles = shaft if isinstance(shaft, str) else find_condyles(surface, neck, shaft)
    condyles = with_given_condyles(condyles, shaft, given)
    warnings += check_side(
        side=side,
        neck=neck,
        shaft=None if isinstance(shaft, str) else shaft,
        condyles=None if isinstance(condyles, str) else condyles,
    )
    dial = _femoral_dial(head, neck, shaft)
    contours = radial_contours(
        surface.points_mm,
        surface.near(head.sphere.centre_mm, reach_mm=neck.along_mm + head.sphere.radius_mm),
        dial=dial,
        n_hours=N_ALPHA_HOURS,
    )
    parts = FemurParts(
        surface=surface,
        head=head,
        neck=neck,
        shaft=shaft,
        condyles=condyles,
        dial=dial,
        contours=contours,
    )
    return _assemble(parts, frame, warnings, given)


def _head_alone(
    head: FoundHead, frame: PelvicFrame, reason: str, warnings: list[str]
) -> FemurGeometry:
    """The result where no neck is seen."""
    return FemurGeometry(
        head=_sphere_in_image(head, frame),
        axes=None,
        measurements=refused_readings(reason),
        femoral_hours=alpha_hours(),
        alpha_deg=np.full(N_ALPHA_HOURS, np.nan),
        unavailable={"femoral_axes": reason},
        warnings=(*warnings, "the side of the femur could not be checked: no neck is seen"),
    )


def _femoral_dial(head: FoundHead, neck: FoundNeck, shaft: FoundShaft | str) -> Dial:
    """The clock round the neck: 12 proximal along the shaft, else cranial; 3 to the front."""
    if isinstance(shaft, str):
        proximal = np.zeros(3)
        proximal[CRANIAL] = 1.0
    else:
        proximal = shaft.axis
    twelve = proximal - (proximal @ neck.axis) * neck.axis
    twelve /= np.linalg.norm(twelve)
    # Pelvic coordinates of the own side: lateral x cranial = anterior, on both sides.
    return Dial(
        centre_mm=head.sphere.centre_mm,
        axis=neck.axis,
        twelve=twelve,
        three=np.cross(neck.axis, twelve),
    )


def _assemble(
    parts: FemurParts, frame: PelvicFrame, warnings: list[str], given: Mapping[str, Vector]
) -> FemurGeometry:
    """Take the four measurements and bring everything back to the image frame."""
    head, neck, shaft, condyles = parts.head, parts.neck, parts.shaft, parts.condyles
    hours = alpha_hours()
    radius_mm = head.sphere.radius_mm
    departure = departure_mm(head.sphere.rms_mm)
    alpha = alpha_by_hour(parts.contours, radius_mm=radius_mm, departure=departure)
    offset_index = int(np.argmin(np.abs(hours - OFFSET_HOUR)))
    offset = None
    if np.isfinite(alpha[offset_index]):
        offset = head_neck_offset_mm(
            parts.contours,
            hour_index=offset_index,
            radius_mm=radius_mm,
            neck_mm=neck.along_mm,
            alpha_deg=float(alpha[offset_index]),
        )
    spread = refit_spread(
        head=head,
        neck=neck,
        shaft=None if isinstance(shaft, str) else shaft,
        condyles=None if isinstance(condyles, str) else condyles,
        dial=parts.dial,
        contours=parts.contours,
        offset_index=offset_index,
    )
    measurements = {
        "alpha_angle_max": alpha_reading(parts, hours, alpha, spread=spread),
        "head_neck_offset": offset_reading(parts, offset, spread=spread),
        "neck_shaft_angle": neck_shaft_reading(parts, spread=spread),
        "femoral_version": version_reading(parts, spread=spread),
    }
    unavailable: dict[str, str] = {}
    if isinstance(shaft, str):
        unavailable["shaft"] = shaft
    if isinstance(condyles, str):
        unavailable["condyles"] = condyles
    whole_shaft = None if isinstance(shaft, str) else shaft
    greater = given.get("greater_trochanter")
    if greater is None:
        greater = greater_trochanter(parts.surface, head, neck, whole_shaft)
    lesser = (
        None if whole_shaft is None else lesser_trochanter(parts.surface, head, neck, whole_shaft)
    )
    found = {
        "greater_trochanter": greater,
        "lesser_trochanter": lesser,
        "condyle_medial": None if isinstance(condyles, str) else condyles.medial_mm,
        "condyle_lateral": None if isinstance(condyles, str) else condyles.lateral_mm,
    }
    if "neck_centre" in given:
        found["neck_centre"] = given["neck_centre"]
    back = frame.pelvic_from_image.inverse()
    landmarks = {name: back.points(at) for name, at in found.items() if at is not None}
    for name in ("greater_trochanter", "lesser_trochanter"):
        if name not in landmarks:
            unavailable[name] = f"no {name.replace('_', ' ')} is seen"
    axes = FemoralAxes(
        neck_centre_mm=back.points(neck.centre_mm),
        neck_axis=back.directions(neck.axis),
        neck_radius_mm=neck.radius_mm,
        femoral_twelve=back.directions(parts.dial.twelve),
        femoral_three=back.directions(parts.dial.three),
        shaft_axis=None if whole_shaft is None else back.directions(whole_shaft.axis),
        shaft_point_mm=None if whole_shaft is None else back.points(whole_shaft.point_mm),
        condyle_medial_mm=landmarks.get("condyle_medial"),
        condyle_lateral_mm=landmarks.get("condyle_lateral"),
        greater_trochanter_mm=landmarks.get("greater_trochanter"),
    )
    return FemurGeometry(
        head=_sphere_in_image(head, frame),
        axes=axes,
        measurements=measurements,
        femoral_hours=hours,
        alpha_deg=alpha,
        landmarks_mm=landmarks,
        shaft_seen_mm=0.0 if whole_shaft is None else whole_shaft.seen_mm,
        unavailable=unavailable,
        warnings=tuple(warnings),
    )


def _sphere_in_image(head: FoundHead, frame: PelvicFrame) -> SphereFit:
    """The head's sphere in the image frame."""
    return SphereFit(
        centre_mm=frame.pelvic_from_image.inverse().points(head.sphere.centre_mm),
        radius_mm=float(head.sphere.radius_mm),
        rms_mm=head.sphere.rms_mm,
        n_points=head.sphere.n_points,
    )
