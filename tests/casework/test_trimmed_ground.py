"""A rim trim feeds corridors, anchors and graft; the hip measured stays as measured."""

from __future__ import annotations

import json

import jsonschema
import numpy as np
import pytest

from rimwright.casework import (
    case_from_document,
    document_schema,
    plan_case,
    plan_document,
)
from rimwright.casework.trimmed_ground import LAID_OUT_ON_TRIM, stored_after_trim
from rimwright.evidence import load_evidence

TRIM = {"from_hour": 11.5, "to_hour": 2.5, "depth_mm": 3.0}


@pytest.fixture(scope="module")
def bare(demo, demo_path):
    """The demo case without what surgery left."""
    document = {**demo.document, "revision": [], "old_anchor": []}
    return case_from_document(document, folder=demo_path.parent)


@pytest.fixture(scope="module")
def trimmed(bare, demo_path):
    """The same with 3 mm of trim in front."""
    document = {**bare.document, "rim_trim": [TRIM]}
    return case_from_document(document, folder=demo_path.parent)


@pytest.fixture(scope="module")
def plans(bare, trimmed, stored):
    """Before and after."""
    return plan_case(bare, hip=stored), plan_case(trimmed, hip=stored)


def test_anchors_enter_the_bone_that_is_left(trimmed, stored, plans):
    """Every entry lies on the cut bone; none of the trimmed arc lies on bone that is gone."""
    cut = stored_after_trim(stored, trimmed.rim_trim, table=load_evidence())
    anchors = [item for item in plans[1].anchors if 0.0 <= item.hour <= 2.0]
    assert anchors
    entries = np.array([item.entry_mm for item in anchors])
    sample = cut.field.sample(entries)
    # an entry is found on a triangle, so it misses the surface by rounding alone
    assert np.minimum(sample.joint_mm, sample.cortex_mm).max() < 1e-3
    for item in anchors:
        gone = np.linalg.norm(stored.hip.rim.point_at(item.hour) - item.entry_mm)
        assert gone > 2.0


def test_far_from_the_trim_nothing_changes(plans):
    """Corridors from 8:30 to 10:00 and at 4:00 keep their room to the hundredth of a degree."""
    before, after = ({item.hour: item for item in plan.corridors} for plan in plans)
    assert before.keys() == after.keys()
    for hour in (4.0, 8.5, 9.0, 10.0):
        assert after[hour].half_angle_deg == pytest.approx(before[hour].half_angle_deg, abs=0.01)
    assert any(
        abs(after[hour].half_angle_deg - before[hour].half_angle_deg) > 0.5
        for hour in (0.0, 0.5, 1.0, 1.5, 2.0)
    )


def test_the_hip_measured_stays_and_the_plan_says_on_what_it_lies(plans):
    """The plan's hip is the one from before the trim; the effect holds what comes after."""
    before, after = plans
    assert after.hip is before.hip
    assert LAID_OUT_ON_TRIM in after.cautions
    key = "lateral_centre_edge_angle"
    assert after.trim_effect.before[key].value == before.hip.measurements[key].value
    assert after.trim_effect.after[key].value < before.hip.measurements[key].value - 1.0
    assert (before.trim_effect, before.rim_trim) == (None, ())
    assert any(item.item.startswith("burr for the rim") for item in after.equipment_list)


def test_the_document_holds_the_trim(plans):
    """`rim_trim` holds the arcs asked for; what they do stands beside them, by schema."""
    document = json.loads(json.dumps(plan_document(plans[1]), allow_nan=False))
    jsonschema.Draft202012Validator(document_schema("plan")).validate(document)
    assert document["rim_trim"] == [TRIM]
    assert document["trim_effect"]["depth_mm"][0] == 3.0
    assert plan_document(plans[0])["trim_effect"] is None
    assert plan_document(plans[0])["unavailable"]["trim_effect"] == "nothing is trimmed"


def test_without_bones_a_trim_is_kept_and_said_to_do_nothing(trimmed):
    """The wish stays in the plan; nothing is worked out from it."""
    document = {key: value for key, value in trimmed.document.items() if key != "sources"}
    plan = plan_case(case_from_document(document, folder=trimmed.sources.pelvis.parent))
    assert plan_document(plan)["rim_trim"] == [TRIM]
    assert plan.trim_effect is None
    assert any("changes nothing here" in text for text in plan.cautions)
