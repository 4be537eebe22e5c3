"""The measured hip as a document, schema `rimwright.hip/1`: image frame, LPS, mm."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rimwright.anatomy import (
    MEASUREMENT_KEYS,
    ByHour,
    HipGeometry,
    Measurement,
    RimCurve,
    SphereFit,
)
from rimwright.casework.numbers import json_curve, json_number, json_points, json_vector
from rimwright.casework.upgrades import HIP_FAMILY

NOT_SEEN = "not seen in what was given"
"""Reason of last resort; the measuring code gives a better one wherever it knows it."""

_BY_HOUR_PARTS = ("coverage", "joint_space", "femoral_hours", "alpha_angle")


def hip_document(hip: HipGeometry) -> dict[str, Any]:
    """
    The document of a measured hip.

    Parameters
    ----------
    hip
        Any part may be missing.

    Returns
    -------
    dict
        Plain JSON data. Every key is always present; a missing part is None and explained
        under `unavailable`.
    """
    document: dict[str, Any] = {
        "schema": HIP_FAMILY.schema,
        "side": str(hip.side),
        "frame": {
            "axes": "LPS",
            "axes_assumed": bool(hip.axes_assumed),
            "pelvic": str(hip.frame.reference),
        },
        "head": _sphere(hip.head),
        "socket": _socket(hip),
        "rim": _rim(hip.rim),
        "measurements": {key: _measurement(hip.measurements[key]) for key in MEASUREMENT_KEYS},
        "by_hour": _by_hour(hip.by_hour),
        "unavailable": {},
        "warnings": list(hip.warnings),
    }
    document["unavailable"] = _unavailable(document, hip.unavailable)
    return document


def _unavailable(document: Mapping[str, Any], reasons: Mapping[str, str]) -> dict[str, str]:
    """The reasons given, and one for every missing part that has none yet."""
    said = {name: str(reason) for name, reason in reasons.items()}
    for part in ("head", "socket", "rim", "by_hour"):
        if document[part] is None:
            said.setdefault(part, NOT_SEEN)
    if document["socket"] is not None and document["socket"]["opening_axis"] is None:
        said.setdefault("opening_axis", said.get("rim", NOT_SEEN))
    if document["rim"] is not None and document["rim"]["notch"] is None:
        said.setdefault("notch", "no notch was found on the bone")
    if document["by_hour"] is not None:
        because = {
            "coverage": said.get("rim", NOT_SEEN),
            "joint_space": said.get("head", NOT_SEEN),
            "femoral_hours": said.get("head", NOT_SEEN),
            "alpha_angle": said.get("head", NOT_SEEN),
        }
        for part in _BY_HOUR_PARTS:
            if document["by_hour"][part] is None:
                said.setdefault(part, because[part])
    return said


def _sphere(sphere: SphereFit | None) -> dict[str, Any] | None:
    if sphere is None:
        return None
    return {
        "centre_mm": json_vector(sphere.centre_mm),
        "radius_mm": json_number(sphere.radius_mm),
        "rms_mm": json_number(sphere.rms_mm),
    }


def _socket(hip: HipGeometry) -> dict[str, Any] | None:
    socket = _sphere(hip.socket)
    if socket is not None:
        socket["opening_axis"] = json_vector(hip.opening_axis)
    return socket


def _rim(rim: RimCurve | None) -> dict[str, Any] | None:
    if rim is None:
        return None
    notch = None
    if rim.notch_from_hour is not None and rim.notch_to_hour is not None:
        notch = [json_number(rim.notch_from_hour), json_number(rim.notch_to_hour)]
    return {
        "hours": [round(float(hour), 1) for hour in rim.hours],
        "points_mm": json_points(rim.points_mm),
        "notch": notch,
        "length_mm": json_number(rim.length_mm),
        "reference": str(rim.reference),
        "hour_doubt": json_number(rim.hour_doubt),
    }


def _measurement(measurement: Measurement) -> dict[str, Any]:
    return {
        "value": json_number(measurement.value),
        "unit": measurement.unit,
        "spread": json_number(measurement.spread),
        "status": str(measurement.status),
        "reason": measurement.reason,
        "method": measurement.method,
    }


def _by_hour(by_hour: ByHour | None) -> dict[str, Any] | None:
    if by_hour is None:
        return None
    alpha = json_curve(by_hour.alpha_deg)
    return {
        "hours": [round(float(hour), 1) for hour in by_hour.hours],
        "coverage": json_curve(by_hour.coverage_deg),
        "joint_space": json_curve(by_hour.joint_space_mm),
        "femoral_hours": None if alpha is None else json_curve(by_hour.femoral_hours),
        "alpha_angle": alpha,
    }
