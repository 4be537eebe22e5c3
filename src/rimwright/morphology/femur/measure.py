"""Measure one femur: head, neck, shaft, condyles, and the four numbers that rest on them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import (
    FemoralAxes,
    Floats,
    Measurement,
    PelvicFrame,
    Side,
    SphereFit,
    TriangleMesh,
    Vector,
    spoken_hour,
)
from rimwright.errors import BoneRefusal
from rimwright.morphology.femur.alpha import (
    DEPARTURE_MM,
    N_ALPHA_HOURS,
    alpha_by_hour,
    alpha_hours,
    head_neck_offset_mm,
    largest_alpha,
)
from rimwright.morphology.femur.condyles import FoundCondyles, find_condyles
from rimwright.morphology.femur.geometry import FemurGeometry
from rimwright.morphology.femur.head import FoundHead, find_head
from rimwright.morphology.femur.neck import FoundNeck, find_neck
from rimwright.morphology.femur.sections import Dial, RadialContours, radial_contours
from rimwright.morphology.femur.shaft import SHORT_MM, FoundShaft, find_shaft
from rimwright.morphology.femur.side_check import check_side
from rimwright.morphology.femur.spread import (
    FemurSpread,
    neck_shaft_angle_deg,
    refit_spread,
    version_angle_deg,
)
from rimwright.morphology.femur.surface import CRANIAL, WHERE, FemurSurface, prepare_surface
from rimwright.morphology.femur.trochanters import greater_trochanter, lesser_trochanter

ROUGH_HEAD_MM = 0.8
"""A head that misses its sphere by more than this (rms, mm) is worn, rough or holds metal."""
LITTLE_COVER = 0.5
"""A head of which less than this share of the ball is seen is doubtful."""
HOURS_SEEN_LEAST = 0.8
"""Share of the femoral hours that must have an alpha angle for the largest to be trusted."""
OFFSET_HOUR = 3.0
"""Femoral hour of the head-neck offset: anterior."""

ALPHA_METHOD = (
    f"radial planes through the neck axis, every quarter hour; contour more than "
    f"{DEPARTURE_MM:.1f} mm outside the head sphere"
)
OFFSET_METHOD = (
    "femoral 3 o'clock: head radius less the distance of the anterior neck's tangent "
    "parallel to the neck axis"
)
NECK_SHAFT_METHOD = "neck axis (head centre to narrowest neck) against shaft axis, in space"
VERSION_METHOD = (
    "head centre to neck centre at its narrowest, against the posterior condylar line, both "
    "seen along the shaft axis"
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Parts:
    """What was found on the surface, pelvic frame."""

    surface: FemurSurface
    head: FoundHead
    neck: FoundNeck
    shaft: FoundShaft | str
    condyles: FoundCondyles | str
    dial: Dial
    contours: RadialContours


def measure_femur(
    femur: TriangleMesh,
    *,
    side: Side,
    frame: PelvicFrame,
    seed_centre_mm: Vector | None = None,
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
    warnings = _head_doubts(surface, head)
    neck = find_neck(surface, head)
    if isinstance(neck, str):
        return _head_alone(head, frame, neck, warnings)
    shaft = find_shaft(surface, head.sphere)
    condyles = shaft if isinstance(shaft, str) else find_condyles(surface, neck, shaft)
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
    parts = _Parts(
        surface=surface,
        head=head,
        neck=neck,
        shaft=shaft,
        condyles=condyles,
        dial=dial,
        contours=contours,
    )
    return _assemble(parts, frame, warnings)


def _head_doubts(surface: FemurSurface, head: FoundHead) -> list[str]:
    """What is doubtful about the head as a whole."""
    doubts = []
    if surface.n_bodies > 1:
        doubts.append(
            f"the femur came in {surface.n_bodies} separate bodies; the largest was measured"
        )
    if head.sphere.rms_mm > ROUGH_HEAD_MM:
        doubts.append(
            f"the femoral head misses its sphere by {head.sphere.rms_mm:.1f} mm rms: "
            "worn, rough or holding metal"
        )
    if head.cover_fraction < LITTLE_COVER:
        doubts.append(
            f"only {100 * head.cover_fraction:.0f} % of the head's ball lies on its sphere"
        )
    return doubts


def _head_alone(
    head: FoundHead, frame: PelvicFrame, reason: str, warnings: list[str]
) -> FemurGeometry:
    """The result where no neck is seen."""
    return FemurGeometry(
        head=_sphere_in_image(head, frame),
        axes=None,
        measurements={
            "alpha_angle_max": Measurement.refused("deg", reason, method=ALPHA_METHOD),
            "head_neck_offset": Measurement.refused("mm", reason, method=OFFSET_METHOD),
            "neck_shaft_angle": Measurement.refused("deg", reason, method=NECK_SHAFT_METHOD),
            "femoral_version": Measurement.refused("deg", reason, method=VERSION_METHOD),
        },
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


def _assemble(parts: _Parts, frame: PelvicFrame, warnings: list[str]) -> FemurGeometry:
    """Take the four measurements and bring everything back to the image frame."""
    head, neck, shaft, condyles = parts.head, parts.neck, parts.shaft, parts.condyles
    hours = alpha_hours()
    radius_mm = head.sphere.radius_mm
    alpha = alpha_by_hour(parts.contours, radius_mm=radius_mm)
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
        "alpha_angle_max": _alpha_max(parts, hours, alpha, spread),
        "head_neck_offset": _offset(parts, offset, spread),
        "neck_shaft_angle": _neck_shaft(parts, spread),
        "femoral_version": _version(parts, spread),
    }
    unavailable: dict[str, str] = {}
    if isinstance(shaft, str):
        unavailable["shaft"] = shaft
    if isinstance(condyles, str):
        unavailable["condyles"] = condyles
    whole_shaft = None if isinstance(shaft, str) else shaft
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


def _head_doubted(measurement: Measurement, parts: _Parts) -> Measurement:
    """Pass the doubts of the head on to what rests on its sphere."""
    for doubt in _head_doubts(parts.surface, parts.head):
        measurement = measurement.doubted(doubt)
    return measurement


def _alpha_max(parts: _Parts, hours: Floats, alpha: Floats, spread: FemurSpread) -> Measurement:
    """The largest alpha angle and where it is."""
    seen = np.isfinite(alpha)
    place = largest_alpha(alpha)
    if seen.mean() < 0.5 or place is None:
        return Measurement.refused(
            "deg",
            f"the outline of head and neck is seen at {np.count_nonzero(seen)} of {len(alpha)} "
            "femoral hours only",
            method=ALPHA_METHOD,
        )
    clock = "" if not isinstance(parts.shaft, str) else "; 12 is cranial in the image (no shaft)"
    measurement = Measurement(
        value=float(alpha[place]),
        unit="deg",
        method=f"{ALPHA_METHOD}; largest from 9 "
        f"through 12 to 5, at femoral {spoken_hour(hours[place])}{clock}",
        spread=spread.alpha_deg,
    )
    if seen.mean() < HOURS_SEEN_LEAST:
        measurement = measurement.doubted(
            f"seen at {np.count_nonzero(seen)} of {len(alpha)} femoral hours only"
        )
    return _head_doubted(measurement, parts)


def _offset(parts: _Parts, offset_mm: float | None, spread: FemurSpread) -> Measurement:
    """The anterior head-neck offset."""
    if offset_mm is None:
        return Measurement.refused(
            "mm", "the anterior outline of head and neck is not seen", method=OFFSET_METHOD
        )
    measurement = Measurement(
        value=offset_mm, unit="mm", method=OFFSET_METHOD, spread=spread.offset_mm
    )
    if isinstance(parts.shaft, str):
        measurement = measurement.doubted("femoral 3 o'clock rests on the image axes: no shaft")
    return _head_doubted(measurement, parts)


def _neck_shaft(parts: _Parts, spread: FemurSpread) -> Measurement:
    """The neck-shaft angle."""
    if isinstance(parts.shaft, str):
        return Measurement.refused("deg", parts.shaft, method=NECK_SHAFT_METHOD)
    measurement = Measurement(
        value=neck_shaft_angle_deg(parts.neck.axis, parts.shaft.axis),
        unit="deg",
        method=f"{NECK_SHAFT_METHOD}; {parts.shaft.seen_mm:.0f} mm of shaft seen",
        spread=spread.neck_shaft_deg,
    )
    return _shaft_doubted(measurement, parts.shaft)


def _version(parts: _Parts, spread: FemurSpread) -> Measurement:
    """The femoral version."""
    if isinstance(parts.condyles, str) or isinstance(parts.shaft, str):
        return Measurement.refused("deg", str(parts.condyles), method=VERSION_METHOD)
    shaft, condyles = parts.shaft, parts.condyles
    across = parts.neck.axis - (parts.neck.axis @ shaft.axis) * shaft.axis
    measurement = Measurement(
        value=version_angle_deg(across, condyles.towards_medial, condyles.forward),
        unit="deg",
        method=VERSION_METHOD,
        spread=spread.version_deg,
    )
    return _shaft_doubted(measurement, shaft)


def _shaft_doubted(measurement: Measurement, shaft: FoundShaft) -> Measurement:
    """A short shaft makes a doubtful direction."""
    if shaft.seen_mm < SHORT_MM:
        return measurement.doubted(
            f"only {shaft.seen_mm:.0f} mm of shaft is seen (need {SHORT_MM:.0f} mm)"
        )
    return measurement
