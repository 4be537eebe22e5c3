"""Made-up records of the clinic, of earlier surgery and of work on bone, for the report's tests."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import plan_fixture

from rimwright.anatomy import (
    CamPlan,
    ClinicRecord,
    CoverageLimit,
    Effect,
    Examination,
    Injection,
    Measurement,
    NonOperativeCare,
    Onset,
    Plan,
    PreviousOperation,
    PublishedEffect,
    RangeOfMotion,
    RevisionFinding,
    RevisionKind,
    RimTrim,
    Score,
    Sector,
    SeenOn,
    Side,
    Symptoms,
    TrimEffect,
    TrimStep,
    WorsePlan,
    hours_of_rim,
)

LCEA, ACEA = "lateral_centre_edge_angle", "anterior_centre_edge_angle"
EXTRUSION = "extrusion_index"


def made_clinic(side: Side) -> ClinicRecord:
    """A record in which every part is given once."""
    return ClinicRecord(
        side=side,
        symptoms=Symptoms(
            site="groin", duration_months=30.0, onset=Onset.GRADUAL, on=date(2026, 1, 5)
        ),
        examinations=(
            Examination(
                motion=RangeOfMotion(flexion_deg=100.0, internal_rotation_90_deg=10.0),
                impingement_sign=True,
                apprehension_sign=False,
                laxity_score=3,
                on=date(2026, 1, 5),
            ),
        ),
        injections=(Injection(what="local anaesthetic", relief=Effect.PARTIAL),),
        care=(NonOperativeCare(kind="physiotherapy", weeks=12.0, effect=Effect.NONE),),
        scores=(Score(instrument="iHOT-12", value=41.0, on=date(2026, 1, 5)),),
        operations=(PreviousOperation(side=side, year=2021, done="labrum sutured"),),
    )


def made_revision() -> tuple[RevisionFinding, ...]:
    """One finding by hour, one by sector, one whose place is not known."""
    return (
        RevisionFinding(
            kind=RevisionKind.ANCHOR, hour=1.2, size_mm=2.9, depth_mm=15.0, seen_by=SeenOn.CT
        ),
        RevisionFinding(
            kind=RevisionKind.EARLIER_TRIM,
            sector=Sector(from_hour=12.0 % 12, to_hour=2.0),
            size_mm=2.0,
            note="operation note of 2021",
            seen_by=SeenOn.OPERATION_NOTE,
        ),
        RevisionFinding(kind=RevisionKind.CYST),
    )


def made_trim_effect(depth_mm: float = 2.5) -> TrimEffect:
    """A trim whose numbers are worked out by hand: each mm takes 1 deg of LCEA, 2 of ACEA."""
    hours = hours_of_rim()
    away = np.abs((hours - 1.0 + 6.0) % 12.0 - 6.0)
    depth = depth_mm * np.clip(1.5 - away, 0.0, 1.0)
    before_deg = np.where((hours > 4.6) & (hours < 7.2), np.nan, 90.0)
    start = {LCEA: 27.0, ACEA: 26.0, EXTRUSION: 21.0}
    loss = {LCEA: 1.0, ACEA: 2.0, EXTRUSION: -1.0}
    steps = tuple(
        TrimStep(
            depth_mm=float(d),
            values={key: start[key] - loss[key] * d for key in start},
            coverage_deg=before_deg - 2.4 * d * np.clip(1.5 - away, 0.0, 1.0),
        )
        for d in range(7)
    )
    measure = {
        key: Measurement(
            value=value, unit="%" if key == EXTRUSION else "deg", method="made", spread=0.5
        )
        for key, value in start.items()
    }
    after = {
        key: replace(found, value=start[key] - loss[key] * depth_mm)
        for key, found in measure.items()
    }
    limits = tuple(
        CoverageLimit(
            measurement=key,
            setting="rim_trim.lcea_floor_deg",
            evidence=("planning:3.09",),
            status="from memory",
            limit=limit,
            before=start[key],
            after=after[key].value,
            room_mm=(start[key] - limit) / loss[key],
            is_kept=(start[key] - loss[key] * depth_mm - limit) * loss[key] >= 0,
        )
        for key, limit in ((LCEA, 25.0), (ACEA, 20.0), (EXTRUSION, 25.0))
    )
    return TrimEffect(
        trims=(RimTrim(sector=Sector(from_hour=0.0, to_hour=2.0), depth_mm=depth_mm),),
        hours=hours,
        depth_mm=depth,
        coverage_before_deg=before_deg,
        coverage_after_deg=before_deg - 2.4 * depth,
        before=measure,
        after=after,
        steps=steps,
        limits=limits,
        published=(
            PublishedEffect(
                evidence="planning:3.01",
                status="from memory",
                statement="in vivo the lateral angle fell by 1.8 and 0.64 for each millimetre",
                measurement=LCEA,
                change=-3.4,
            ),
            PublishedEffect(
                evidence="planning:3.06", status="abstract read", statement="load rose in 6 hips"
            ),
        ),
        warnings=("the lateral centre-edge angle falls under its limit",),
    )


def made_cam_plan() -> CamPlan:
    """A cam round 1:30 on a head of 24 mm: 3 mm high, taken down to the head."""
    hours = np.arange(0.0, 12.0, 0.25)
    angles = np.arange(20.0, 121.0, 1.0)
    away = np.abs((hours - 1.5 + 6.0) % 12.0 - 6.0)
    height = 3.0 * np.clip(1.0 - away / 2.0, 0.0, 1.0)
    hump = np.exp(-0.5 * ((angles - 50.0) / 10.0) ** 2)
    base = np.where(angles < 45.0, 24.0 + (45.0 - angles) * 0.6, 24.0)
    before = base[None, :] + height[:, None] * hump[None, :]
    depth_map = np.where(angles[None, :] > 40.0, before - base[None, :], 0.0)
    depth = depth_map.max(axis=1)
    alpha_before = 45.0 + 10.0 * height
    alpha_after = np.minimum(alpha_before, 50.0)
    return CamPlan(
        femoral_hours=hours,
        angles_deg=angles,
        contour_before_mm=before,
        contour_after_mm=before - depth_map,
        depth_map_mm=depth_map,
        depth_mm=depth,
        alpha_before_deg=alpha_before,
        alpha_after_deg=alpha_after,
        target_alpha_deg=50.0,
        target_source="femur.alpha_cam_deg",
        other_targets=("55 degrees in other papers (planning:2.38)",),
        resected_hours=np.flatnonzero(depth > 0.05),
        neck_share_removed=0.12,
        neck_share_hour=1.5,
        volume_mm3=640.0,
        cautions=("taking more than 30 % of the neck is held to weaken it (from memory)",),
    )


def worked_plan(side: Side = Side.LEFT, **changes: object) -> Plan:
    """The full plan with everything the second part of planning adds."""
    plan = plan_fixture.full_plan(side)
    segmental = next(p for p in plan.options if p.option.name == "segmental reconstruction")
    worse = WorsePlan(
        planned=segmental,
        anchors_more=2,
        graft_more_mm=15.0,
        says=("if the remnant does not hold, its sectors are replaced",),
    )
    values: dict[str, object] = {
        "clinic": made_clinic(side),
        "revision": made_revision(),
        "trim_effect": made_trim_effect(),
        "cam_plan": made_cam_plan(),
        "worse_plan": worse,
        "referral": ("Low coverage: opinion of a surgeon who does osteotomies.",),
    }
    return replace(plan, **{**values, **changes})  # type: ignore[arg-type]
