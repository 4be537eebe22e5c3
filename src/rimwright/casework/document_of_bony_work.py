"""Work on bone in the plan's document: what a trim does to coverage, and the cam by hour."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rimwright.anatomy import CamPlan, Floats, Measurement, TrimEffect
from rimwright.casework.numbers import json_number


def trim_document(effect: TrimEffect | None) -> dict[str, Any] | None:
    """
    What trimming does to coverage.

    Parameters
    ----------
    effect
        None where nothing is measured.

    Returns
    -------
    dict or None
        Angles in deg, lengths in mm, hours of the rim; None where a number is missing.
    """
    if effect is None:
        return None
    return {
        "hours": _list(effect.hours),
        "depth_mm": _list(effect.depth_mm),
        "coverage_before": _list(effect.coverage_before_deg),
        "coverage_after": _list(effect.coverage_after_deg),
        "before": _values(effect.before),
        "after": _values(effect.after),
        "steps": [
            {
                "depth_mm": json_number(step.depth_mm),
                "values": {key: json_number(value) for key, value in step.values.items()},
            }
            for step in effect.steps
        ],
        "limits": [
            {
                "measurement": item.measurement,
                "setting": item.setting,
                "evidence": list(item.evidence),
                "status": item.status,
                "limit": json_number(item.limit),
                "before": json_number(item.before),
                "after": json_number(item.after),
                "room_mm": json_number(item.room_mm),
                "is_kept": item.is_kept,
            }
            for item in effect.limits
        ],
        "published": [
            {
                "evidence": item.evidence,
                "status": item.status,
                "statement": item.statement,
                "measurement": item.measurement,
                "change": json_number(item.change),
            }
            for item in effect.published
        ],
        "warnings": list(effect.warnings),
    }


def cam_document(cam: CamPlan | None) -> dict[str, Any] | None:
    """
    Where the neck would be reshaped.

    Parameters
    ----------
    cam
        None where no femur is measured or none is wanted.

    Returns
    -------
    dict or None
        By hour of the femoral clock; the contours themselves are in the report.
    """
    if cam is None:
        return None
    return {
        "femoral_hours": _list(cam.femoral_hours),
        "depth_mm": _list(cam.depth_mm),
        "alpha_before": _list(cam.alpha_before_deg),
        "alpha_after": _list(cam.alpha_after_deg),
        "target_alpha": json_number(cam.target_alpha_deg),
        "target_source": cam.target_source,
        "other_targets": list(cam.other_targets),
        "resected_hours": _list(cam.femoral_hours[cam.resected_hours]),
        "neck_share_removed": json_number(cam.neck_share_removed),
        "neck_share_hour": json_number(cam.neck_share_hour),
        "volume_mm3": json_number(cam.volume_mm3),
        "cautions": list(cam.cautions),
    }


def _list(array: Floats) -> list[float | None]:
    """An array as numbers, None for NaN."""
    return [json_number(float(value)) for value in array]


def _values(measurements: Mapping[str, Measurement]) -> dict[str, float | None]:
    """Measurements as bare values, in the unit of their key."""
    return {key: json_number(item.value) for key, item in measurements.items()}
