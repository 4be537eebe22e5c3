"""What a scan holds as a document, schema `rimwright.scan/1`: image frame, LPS, mm."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from rimwright.anatomy import MEASUREMENT_KEYS
from rimwright.casework.numbers import json_number, json_vector
from rimwright.casework.scan_check import ScanCheck, good_for
from rimwright.casework.upgrades import SCAN_FAMILY

if TYPE_CHECKING:
    from rimwright.imaging import SeriesFacts
    from rimwright.morphology.scan import HipInScan


def scan_document(check: ScanCheck) -> dict[str, Any]:
    """
    The document of a checked scan.

    Parameters
    ----------
    check
        As `check_scan` gave it.

    Returns
    -------
    dict
        Plain JSON data; every key is always present.
    """
    survey = check.survey
    return {
        "schema": SCAN_FAMILY.schema,
        "series": [_series(item) for item in check.series],
        "taken": check.taken,
        "reason": check.reason or (survey.reason if survey else ""),
        "label_map": check.has_labels,
        "hips": [_hip(item) for item in survey.hips] if survey else [],
        "doubts": list(survey.doubts) if survey else [],
        "warnings": list(check.warnings),
    }


def _series(facts: SeriesFacts) -> dict[str, Any]:
    return {
        "number": int(facts.number),
        "key": str(facts.series_key),
        "modality": str(facts.modality),
        "description": str(facts.description),
        "n_slices": int(facts.n_slices),
        "size": [int(count) for count in facts.size],
        "spacing_mm": [_known(step) for step in facts.spacing_mm],
        "slice_thickness_mm": _known(facts.slice_thickness_mm),
        "coverage_mm": [json_number(float(length)) for length in facts.coverage_mm],
        "gantry_tilt_deg": json_number(facts.gantry_tilt_deg),
        "usable": bool(facts.usable),
        "good_for": good_for(facts),
        "reason": str(facts.reason),
        "notes": list(facts.notes),
    }


def _known(length_mm: float) -> float | None:
    """A length; the readers write 0 where it is not known."""
    return json_number(length_mm) if length_mm else None


def _hip(hip: HipInScan) -> dict[str, Any]:
    return {
        "side": str(hip.side),
        "head_centre_mm": json_vector(hip.centre_mm),
        "head_radius_mm": json_number(hip.radius_mm),
        "metal_mm3": json_number(hip.metal_mm3),
        "measurements": {
            key: {"may_be_tried": key not in hip.unfit, "reason": hip.unfit.get(key, "")}
            for key in MEASUREMENT_KEYS
        },
        "doubts": list(hip.doubts),
    }
