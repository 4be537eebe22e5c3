"""The plan as a document, schema `rimwright.plan/1`: image frame, LPS, mm."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rimwright.anatomy import (
    Anchor,
    AnchorKind,
    Corridor,
    GraftStock,
    OldAnchor,
    Plan,
    PlannedOption,
    Portal,
    ScanSource,
    Sector,
)
from rimwright.casework.document_of_bony_work import cam_document, trim_document
from rimwright.casework.document_of_clinic import clinic_document, revision_document
from rimwright.casework.document_of_hip import NOT_SEEN
from rimwright.casework.numbers import json_number, json_vector
from rimwright.casework.upgrades import PLAN_FAMILY

NO_SEAL = "the seal comparison was not run"
NOTHING_NAMED = "the case names no bones"


def plan_document(plan: Plan) -> dict[str, Any]:
    """
    The document of a plan.

    Parameters
    ----------
    plan
        With or without a measured hip.

    Returns
    -------
    dict
        Plain JSON data. Every key is always present; a missing part is None or an empty list
        and explained under `unavailable`.
    """
    return {
        "schema": PLAN_FAMILY.schema,
        "id": plan.case_id,
        "person": plan.person,
        "version": plan.version,
        "side": str(plan.side),
        "digest": plan.digest,
        "source": _source(plan.source),
        "candidacy": [
            {
                "statement": item.statement,
                "stance": str(item.stance),
                "evidence": list(item.evidence),
            }
            for item in plan.candidacy
        ],
        "planned_option": plan.planned_option,
        "options": [_option(item) for item in plan.options],
        "corridors": [_corridor(item) for item in plan.corridors],
        "corridor_drill": None if plan.corridor_kind is None else _kind(plan.corridor_kind),
        "anchors": [_anchor(item) for item in plan.anchors],
        "graft": _graft(plan.graft),
        "rim_trim": [
            {key: json_number(value) for key, value in item.items()} for item in plan.rim_trim
        ],
        "trim_effect": trim_document(plan.trim_effect),
        "cam": cam_document(plan.cam_plan),
        "revision": [revision_document(item) for item in plan.revision],
        "clinic": clinic_document(plan.clinic),
        "worse": _worse(plan),
        "referral": list(plan.referral),
        "portals": [_portal(item) for item in plan.portals],
        "old_anchors": [_old_anchor(item) for item in plan.old_anchors],
        "orders_of_work": [
            {"name": item.name, "steps": list(item.steps), "source": item.source}
            for item in plan.orders_of_work
        ],
        "equipment_list": [
            {"item": item.item, "count": item.count, "note": item.note}
            for item in plan.equipment_list
        ],
        "seal": None,
        "cautions": list(plan.cautions),
        "settings": {key: _plain(value) for key, value in plan.settings.items()},
        "unavailable": _unavailable(plan),
    }


def _unavailable(plan: Plan) -> dict[str, str]:
    """Why each missing part is missing."""
    reasons = {"seal": NO_SEAL}
    hip = plan.hip
    if plan.source is None:
        reasons["source"] = NOTHING_NAMED if hip is None else "measured on surfaces, not in a scan"
    if hip is None:
        reasons["hip"] = NOTHING_NAMED
    if not plan.corridors:
        reasons["corridors"] = (
            NOTHING_NAMED if hip is None else hip.unavailable.get("rim", NOT_SEEN)
        )
    if not plan.portals:
        reasons["portals"] = (
            NOTHING_NAMED
            if hip is None
            else "the spine of the ilium or the trochanter is outside what was given"
        )
    if plan.graft is None:
        reasons["graft"] = (
            "the option shown first brings no graft"
            if hip is not None
            else "no rim to measure the arc on, or the option brings no graft"
        )
    if plan.trim_effect is None:
        reasons["trim_effect"] = (
            "no rim is measured" if hip is None or hip.rim is None else "nothing is trimmed"
        )
    if plan.cam_plan is None:
        reasons["cam"] = plan.no_cam or "no femur is measured"
    if plan.clinic is None:
        reasons["clinic"] = "the case gives no record of the clinic"
    if plan.worse_plan is None:
        reasons["worse"] = "the option shown first rests on no remnant"
    return reasons


def _source(source: ScanSource | None) -> dict[str, Any] | None:
    if source is None:
        return None
    return {
        "modality": str(source.modality),
        "spacing_mm": [json_number(step) for step in source.spacing_mm],
        "n_slices": source.n_slices,
        "slice_thickness_mm": json_number(source.slice_thickness_mm),
        "label_map": source.has_labels,
    }


def _worse(plan: Plan) -> dict[str, Any] | None:
    worse = plan.worse_plan
    if worse is None:
        return None
    return {
        **_option(worse.planned),
        "anchors_more": worse.anchors_more,
        "graft_more_mm": json_number(worse.graft_more_mm),
        "says": list(worse.says),
    }


def _sector(sector: Sector) -> dict[str, float | None]:
    return {"from_hour": json_number(sector.from_hour), "to_hour": json_number(sector.to_hour)}


def _option(item: PlannedOption) -> dict[str, Any]:
    option = item.option
    return {
        "name": str(option.name),
        "stance": str(option.stance),
        "actions": [
            {**_sector(action.sector), "action": str(action.action)} for action in option.actions
        ],
        "reasons": [
            {"text": reason.text, "evidence": list(reason.evidence)} for reason in option.reasons
        ],
        "anchors": [_anchor(anchor) for anchor in item.anchors],
        "graft": _graft(item.graft),
        "cautions": list(item.cautions),
    }


def _corridor(corridor: Corridor) -> dict[str, Any]:
    return {
        "hour": json_number(corridor.hour),
        "entry_mm": json_vector(corridor.entry_mm),
        "direction": json_vector(corridor.direction),
        "half_angle_deg": json_number(corridor.half_angle_deg),
        "rim_angle_deg": json_number(corridor.rim_angle_deg),
        "depth_to_cortex_mm": json_number(corridor.depth_to_cortex_mm),
        "bone_volume_mm3": json_number(corridor.bone_volume_mm3),
        "blocked_by": corridor.blocked_by,
    }


def _anchor(anchor: Anchor) -> dict[str, Any]:
    return {
        "hour": json_number(anchor.hour),
        "entry_mm": json_vector(anchor.entry_mm),
        "direction": json_vector(anchor.direction),
        "depth_mm": json_number(anchor.depth_mm),
        "drill_mm": json_number(anchor.drill_mm),
        "clearance_joint_mm": json_number(anchor.clearance_joint_mm),
        "clearance_cortex_mm": json_number(anchor.clearance_cortex_mm),
        "half_angle_deg": json_number(anchor.half_angle_deg),
        "portal": anchor.portal,
        "portal_off_deg": json_number(anchor.portal_off_deg),
        "status": str(anchor.status),
        "reason": anchor.reason,
        "density_mean_hu": json_number(anchor.density_mean_hu),
        "density_least_hu": json_number(anchor.density_least_hu),
    }


def _graft(graft: GraftStock | None) -> dict[str, Any] | None:
    if graft is None:
        return None
    return {
        "kind": graft.kind,
        "diameter_mm": json_number(graft.diameter_mm),
        "stock_length_mm": json_number(graft.stock_length_mm),
        "arc_mm": json_number(graft.arc_mm),
        "allowances": [
            {
                "reason": item.reason,
                "length_mm": json_number(item.length_mm),
                "evidence": list(item.evidence),
            }
            for item in graft.allowances
        ],
    }


def _portal(portal: Portal) -> dict[str, Any]:
    return {
        "name": portal.name,
        "skin_mm": json_vector(portal.skin_mm),
        "reaches": [_sector(sector) for sector in portal.reaches],
        "evidence": list(portal.evidence),
    }


def _kind(kind: AnchorKind) -> dict[str, float | None]:
    return {"drill_mm": json_number(kind.drill_mm), "depth_mm": json_number(kind.depth_mm)}


def _old_anchor(anchor: OldAnchor) -> dict[str, Any]:
    return {
        "hour": json_number(anchor.hour),
        "entry_mm": json_vector(anchor.entry_mm),
        "direction": json_vector(anchor.direction),
        "drill_mm": json_number(anchor.drill_mm),
        "depth_mm": json_number(anchor.depth_mm),
    }


def _plain(value: object) -> Any:
    """A setting as JSON: numbers, text, lists and tables as they are, the rest as text."""
    if isinstance(value, bool) or value is None or isinstance(value, (int, str)):
        return str(value) if isinstance(value, str) else value
    if isinstance(value, float):
        return json_number(value)
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    return str(value)
