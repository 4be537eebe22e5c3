"""A measured hip taken apart into plain data and named arrays, and put together again."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rimwright.anatomy import (
    ByHour,
    ClockReference,
    FemoralAxes,
    Frame,
    HipGeometry,
    Measurement,
    PelvicFrame,
    PelvicReference,
    RigidTransform,
    RimCurve,
    Side,
    SocketFaces,
    SphereFit,
    Status,
    TriangleMesh,
)

Arrays = dict[str, NDArray[Any]]

_RIM_ARRAYS = (
    "hours",
    "points_mm",
    "outward",
    "bone_inward",
    "centre_mm",
    "axis",
    "twelve",
    "three",
)
_FEMUR_ARRAYS = (
    "neck_centre_mm",
    "neck_axis",
    "femoral_twelve",
    "femoral_three",
    "shaft_axis",
    "shaft_point_mm",
    "condyle_medial_mm",
    "condyle_lateral_mm",
    "greater_trochanter_mm",
)
_BY_HOUR_ARRAYS = ("hours", "coverage_deg", "joint_space_mm", "femoral_hours", "alpha_deg")


def take_apart(hip: HipGeometry) -> tuple[dict[str, Any], Arrays]:
    """
    A hip as JSON data and arrays.

    Parameters
    ----------
    hip
        Any part may be missing.

    Returns
    -------
    tuple
        Plain data, and arrays by name; `put_together` is the way back.
    """
    transform = hip.frame.pelvic_from_image
    plain: dict[str, Any] = {
        "side": str(hip.side),
        "pelvic": str(hip.frame.reference),
        "axes_assumed": bool(hip.axes_assumed),
        "measurements": {
            name: {
                "value": item.value,
                "unit": item.unit,
                "method": item.method,
                "spread": item.spread,
                "status": str(item.status),
                "reason": item.reason,
            }
            for name, item in hip.measurements.items()
        },
        "unavailable": dict(hip.unavailable),
        "warnings": list(hip.warnings),
    }
    arrays: Arrays = {"frame_axes": transform.axes, "frame_origin_mm": transform.origin_mm}
    for name, sphere in (("head", hip.head), ("socket", hip.socket)):
        if sphere is not None:
            plain[name] = {
                "radius_mm": sphere.radius_mm,
                "rms_mm": sphere.rms_mm,
                "n_points": sphere.n_points,
            }
            arrays[f"{name}_centre_mm"] = sphere.centre_mm
    if hip.opening_axis is not None:
        arrays["opening_axis"] = hip.opening_axis
    if hip.rim is not None:
        plain["rim"] = {
            "notch_from_hour": hip.rim.notch_from_hour,
            "notch_to_hour": hip.rim.notch_to_hour,
            "reference": str(hip.rim.reference),
            "hour_doubt": hip.rim.hour_doubt,
            "length_mm": hip.rim.length_mm,
        }
        _put(arrays, "rim", hip.rim, _RIM_ARRAYS)
    if hip.faces is not None:
        _put(arrays, "faces", hip.faces, ("joint", "lunate"))
    if hip.femur is not None:
        plain["femur"] = {"neck_radius_mm": hip.femur.neck_radius_mm}
        _put(arrays, "femur", hip.femur, _FEMUR_ARRAYS)
    if hip.by_hour is not None:
        _put(arrays, "by_hour", hip.by_hour, _BY_HOUR_ARRAYS)
    for name, bone in (("pelvis_bone", hip.pelvis_bone), ("femur_bone", hip.femur_bone)):
        if bone is not None:
            _put(arrays, name, bone, ("vertices_mm", "triangles"))
    for name, point in hip.landmarks_mm.items():
        arrays[f"landmark.{name}"] = np.asarray(point, dtype=np.float64)
    return plain, arrays


def put_together(plain: Mapping[str, Any], arrays: Mapping[str, NDArray[Any]]) -> HipGeometry:
    """
    The hip that `take_apart` took apart.

    Parameters
    ----------
    plain, arrays
        As it gave them.

    Returns
    -------
    HipGeometry
        Equal in every number.

    Raises
    ------
    KeyError, ValueError, TypeError
        A part is missing or misshapen; the reader of files turns them into a refusal.
    """
    side = Side(plain["side"])
    frame = PelvicFrame(
        side=side,
        reference=PelvicReference(plain["pelvic"]),
        pelvic_from_image=RigidTransform(
            source=Frame.IMAGE,
            target=Frame.PELVIC,
            axes=arrays["frame_axes"],
            origin_mm=arrays["frame_origin_mm"],
        ),
    )
    return HipGeometry(
        side=side,
        frame=frame,
        axes_assumed=bool(plain["axes_assumed"]),
        head=_sphere(plain, arrays, "head"),
        socket=_sphere(plain, arrays, "socket"),
        opening_axis=arrays.get("opening_axis"),
        rim=_rim(plain, arrays),
        faces=SocketFaces(joint=arrays["faces.joint"], lunate=arrays["faces.lunate"])
        if "faces.joint" in arrays
        else None,
        femur=_femur(plain, arrays),
        landmarks_mm={
            name.partition(".")[2]: point
            for name, point in arrays.items()
            if name.startswith("landmark.")
        },
        measurements={
            name: Measurement(**{**item, "status": Status(item["status"])})
            for name, item in plain["measurements"].items()
        },
        by_hour=ByHour(**{name: arrays[f"by_hour.{name}"] for name in _BY_HOUR_ARRAYS})
        if "by_hour.hours" in arrays
        else None,
        pelvis_bone=_bone(arrays, "pelvis_bone"),
        femur_bone=_bone(arrays, "femur_bone"),
        unavailable=dict(plain["unavailable"]),
        warnings=tuple(plain["warnings"]),
    )


def _put(arrays: Arrays, prefix: str, record: object, names: tuple[str, ...]) -> None:
    """Lay the arrays of a record under its name; what is None is left out."""
    for name in names:
        value = getattr(record, name)
        if value is not None:
            arrays[f"{prefix}.{name}"] = value


def _sphere(
    plain: Mapping[str, Any], arrays: Mapping[str, NDArray[Any]], name: str
) -> SphereFit | None:
    """A sphere, if there is one."""
    if name not in plain:
        return None
    return SphereFit(centre_mm=arrays[f"{name}_centre_mm"], **plain[name])


def _rim(plain: Mapping[str, Any], arrays: Mapping[str, NDArray[Any]]) -> RimCurve | None:
    """The rim, if there is one."""
    if "rim" not in plain:
        return None
    facts: dict[str, Any] = {name: arrays[f"rim.{name}"] for name in _RIM_ARRAYS}
    facts.update(plain["rim"], reference=ClockReference(plain["rim"]["reference"]))
    return RimCurve(**facts)


def _femur(plain: Mapping[str, Any], arrays: Mapping[str, NDArray[Any]]) -> FemoralAxes | None:
    """The femoral axes, if there are any."""
    if "femur" not in plain:
        return None
    facts: dict[str, Any] = {name: arrays.get(f"femur.{name}") for name in _FEMUR_ARRAYS}
    return FemoralAxes(**facts, **plain["femur"])


def _bone(arrays: Mapping[str, NDArray[Any]], name: str) -> TriangleMesh | None:
    """A bone, if it was kept."""
    if f"{name}.vertices_mm" not in arrays:
        return None
    return TriangleMesh(
        vertices_mm=arrays[f"{name}.vertices_mm"], triangles=arrays[f"{name}.triangles"]
    )
