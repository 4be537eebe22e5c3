"""The hip and the plan as documents: every key, null with its reason, numbers as they are."""

from __future__ import annotations

import json
from dataclasses import replace

import jsonschema
import numpy as np
import pytest

from report.plan_fixture import full_plan, made_hip
from rimwright.anatomy import MEASUREMENT_KEYS, Side
from rimwright.casework import document_schema, hip_document, plan_document
from rimwright.casework.numbers import DOCUMENT_DECIMALS, json_number, json_vector

HIP_KEYS = (
    "schema",
    "side",
    "frame",
    "head",
    "socket",
    "rim",
    "measurements",
    "by_hour",
    "unavailable",
    "warnings",
)
PLAN_KEYS = {
    "schema",
    "side",
    "candidacy",
    "planned_option",
    "options",
    "corridors",
    "anchors",
    "graft",
    "rim_trim",
    "equipment_list",
    "seal",
    "cautions",
    "settings",
}
BARE = {
    "head": None,
    "socket": None,
    "opening_axis": None,
    "rim": None,
    "faces": None,
    "femur": None,
    "by_hour": None,
    "pelvis_bone": None,
    "femur_bone": None,
}


def validate(kind, document):
    """Against the exported schema, after a trip through text."""
    text = json.dumps(document, allow_nan=False)
    jsonschema.Draft202012Validator(document_schema(kind)).validate(json.loads(text))


@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize("femur", [True, False])
def test_hip_holds_every_key_and_validates(side, femur):
    """All keys of the contract are there, whatever is missing; the schema accepts it."""
    document = hip_document(made_hip(side, femur=femur))
    assert tuple(document) == HIP_KEYS
    assert tuple(document["measurements"]) == MEASUREMENT_KEYS
    assert document["side"] == str(side)
    assert document["frame"]["axes"] == "LPS"
    validate("hip", document)


def test_every_null_has_a_reason():
    """A part that is null is explained under `unavailable`, each and every one."""
    document = hip_document(replace(made_hip(Side.LEFT), **BARE, unavailable={}))
    for part in ("head", "socket", "rim", "by_hour"):
        assert document[part] is None
        assert document["unavailable"][part]
    validate("hip", document)
    partial = hip_document(made_hip(Side.LEFT, femur=False))
    assert partial["by_hour"]["femoral_hours"] is None
    assert partial["by_hour"]["alpha_angle"] is None
    assert partial["unavailable"]["alpha_angle"] == "no femur given"
    assert partial["unavailable"]["femoral_hours"] == "no femur given"


def test_rim_is_null_in_the_notch_only():
    """A point every 0.1 h, null where the curve has none, and nowhere else."""
    hip = made_hip(Side.RIGHT)
    rim = hip_document(hip)["rim"]
    assert rim["hours"] == [round(0.1 * step, 1) for step in range(120)]
    assert rim["notch"] == [4.6, 7.2]
    assert [point is not None for point in rim["points_mm"]] == hip.rim.is_bone.tolist()
    assert None in rim["points_mm"]


def test_refused_measurement_has_no_value_and_a_reason():
    """A refused measurement is null with its reason, and the schema would not have it otherwise."""
    document = hip_document(made_hip(Side.LEFT, femur=False))
    refused = document["measurements"]["femoral_version"]
    assert refused["value"] is None
    assert refused["status"] == "refused"
    assert refused["reason"] == "no femur given"
    refused["value"] = 12.0
    with pytest.raises(jsonschema.ValidationError):
        validate("hip", document)


def test_plan_holds_every_key_and_validates():
    """All keys of the contract are there; top-level anchors and graft repeat the planned option."""
    plan = full_plan()
    document = plan_document(plan)
    assert set(document) >= PLAN_KEYS
    shown = next(o for o in document["options"] if o["name"] == document["planned_option"])
    assert document["anchors"] == shown["anchors"]
    assert document["graft"] == shown["graft"]
    assert len(document["options"]) == 5
    assert document["seal"] is None
    assert document["unavailable"]["seal"]
    validate("plan", document)


def test_blocked_corridor_is_zero_never_null():
    """Where nothing fits the numbers are 0; entry and direction are null."""
    blocked = [item for item in plan_document(full_plan())["corridors"] if item["hour"] == 3.0]
    (corridor,) = blocked
    assert corridor["half_angle_deg"] == 0.0
    assert corridor["rim_angle_deg"] == 0.0
    assert corridor["depth_to_cortex_mm"] == 0.0
    assert corridor["bone_volume_mm3"] == 0.0
    assert corridor["entry_mm"] is None


def test_plan_without_bones_says_what_is_missing():
    """A plan of a case without images holds empty lists and the reasons."""
    plan = full_plan(hip=None, corridors=(), portals=(), corridor_kind=None)
    document = plan_document(plan)
    assert document["corridors"] == []
    for part in ("hip", "corridors", "portals"):
        assert document["unavailable"][part] == "the case names no bones"
    validate("plan", document)


def test_directions_are_unit_vectors():
    """Every direction of a document has length 1 within its rounding."""
    document = plan_document(full_plan())
    for anchor in document["anchors"]:
        assert np.linalg.norm(anchor["direction"]) == pytest.approx(1.0, abs=1e-8)


def test_numbers():
    """NaN and infinity become null, minus zero becomes zero, the rest keeps nine decimals."""
    assert json_number(float("nan")) is None
    assert json_number(float("inf")) is None
    assert json_number(None) is None
    assert str(json_number(-0.0)) == "0.0"
    assert json_number(1 / 3) == round(1 / 3, DOCUMENT_DECIMALS)
    assert json_vector(np.array([1.0, np.nan, 2.0])) is None
    assert json_vector(np.array([1.0, -0.0, 2.0])) == [1.0, 0.0, 2.0]
