"""Plans one case: the hip, corridors, options, layouts, graft, equipment, order of work."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import replace

from rimwright.anatomy import (
    CamPlan,
    HipGeometry,
    Plan,
    PlannedOption,
    Progress,
    Sector,
    Stance,
    Volume,
    no_progress,
)
from rimwright.casework.cam_wish import cam_of
from rimwright.casework.case import Case
from rimwright.casework.case_findings import (
    findings_of,
    patient_facts,
)
from rimwright.casework.case_settings import SettingsInForce, printed_settings, settings_in_force
from rimwright.casework.equipment import list_equipment
from rimwright.casework.ground import BoneToFix, corridors_of, cut_once, ground_of
from rimwright.casework.hip_inputs import hip_files_of, measure_files
from rimwright.casework.hip_store import StoredHip, code_digest
from rimwright.casework.measured_hip import MeasuredHip
from rimwright.casework.metal_ground import metal_obstacles
from rimwright.casework.option_layout import OptionLayouts
from rimwright.casework.plan_cautions import list_cautions, trim_cautions
from rimwright.casework.revision_ground import revision_obstacles
from rimwright.casework.trimmed_ground import trim_effect_of
from rimwright.casework.worse_case import plan_for_worse
from rimwright.errors import CaseRefusal
from rimwright.fixation import build_mesh_field
from rimwright.treatment import Findings, assess_candidacy, list_options, referral_summary


def prepare_hip(case: Case, *, progress: Progress | None = None) -> StoredHip | None:
    """
    Read the bones or the scan of a case, measure the hip and build its bone field.

    Parameters
    ----------
    case
        With bones, with an image, or with neither.
    progress
        Told the stages; may raise to cancel.

    Returns
    -------
    StoredHip or None
        None where the case names nothing to measure; the field is None where no rim was found.

    Raises
    ------
    Refusal
        A file cannot be read, or does not hold the bone or side claimed.
    """
    tell = progress or no_progress
    files = hip_files_of(case)
    if files is None:
        return None
    (measured,) = measure_files(
        files, (case.side,), progress=lambda done, stage: tell(0.8 * done, stage)
    )
    tell(0.8, "building the bone field")
    stored = stored_hip(measured)
    tell(1.0, "the hip is measured")
    return stored


def stored_hip(measured: MeasuredHip) -> StoredHip:
    """
    A measured hip ready for planning.

    Parameters
    ----------
    measured
        From surfaces or from a scan.

    Returns
    -------
    StoredHip
        With its bone field, where the bone allows one.
    """
    stored = StoredHip(
        hip=measured.hip,
        input_digest=measured.input_digest,
        made_by=code_digest(),
        metal=measured.metal,
        source=measured.source,
    )
    return with_field(stored, density=measured.density)


def with_field(stored: StoredHip, *, density: Volume | None = None) -> StoredHip:
    """The same hip with its bone field, built if it was not kept and the bone allows it."""
    hip = stored.hip
    ready = hip.pelvis_bone is not None and hip.faces is not None and hip.socket is not None
    if stored.field is not None or not ready:
        return stored
    assert hip.pelvis_bone is not None
    assert hip.faces is not None
    assert hip.socket is not None
    field = build_mesh_field(
        hip.pelvis_bone, hip.faces, centre_mm=hip.socket.centre_mm, density=density
    )
    return replace(stored, field=field)


def plan_case(
    case: Case, *, hip: StoredHip | None = None, progress: Progress | None = None
) -> Plan:
    """
    Plan a case.

    Parameters
    ----------
    case
        Validated.
    hip
        A hip measured before; None measures it now.
    progress
        Told the stages; may raise to cancel.

    Returns
    -------
    Plan
        All five options, laid out where the bones allow it.

    Raises
    ------
    Refusal
        A file the case names cannot be used, the stored hip is of the other side, or a setting
        is impossible.

    Notes
    -----
    Deterministic: the same case and hip give the same plan.
    """
    tell = progress or no_progress
    tell(0.0, "reading the settings")
    used = settings_in_force(case)
    share = 0.6 if hip is None else 0.0
    stored = hip
    if stored is None:
        stored = prepare_hip(case, progress=lambda done, stage: tell(share * done, stage))
    elif stored.hip.side is not case.side:
        raise CaseRefusal(
            f"the stored hip is of the {stored.hip.side} side (got {case.side}, need the same)",
            f"{case.where}, side",
            "Measure this hip again: run the plan without the stored one",
        )
    if stored is not None:
        stored = with_field(stored)
    measured = None if stored is None else stored.hip
    tell(share, "portals and corridors")
    effect = trim_effect_of(measured, case.rim_trim, table=used.table)
    cut = stored
    if stored is not None and effect is not None:
        cut = cut_once(stored, case.rim_trim, table=used.table)
    cam = cam_of(case, stored, table=used.table)
    earlier = revision_obstacles(case.revision, measured, table=used.table)
    listed = (*case.old_anchors, *earlier.bodies)
    metal = metal_obstacles(stored, listed=listed, limits=used.limits)
    in_the_rim = (*listed, *metal.bodies)
    found = ground_of(cut, old_anchors=in_the_rim, used=used)
    ground = found if isinstance(found, BoneToFix) else None
    why_not = found if isinstance(found, str) else ""
    corridors = corridors_of(ground, used=used) if ground else ()
    tell(share + 0.5 * (1 - share), "options")
    findings = findings_of(case, measured)
    options = list_options(
        case.labrum, findings, used.table, notch=_notch(measured), rules=used.rules
    )
    layouts = OptionLayouts(
        ground=ground, why_not=why_not, hip=None if cut is None else cut.hip, used=used
    )
    planned = []
    for number, option in enumerate(options):
        done = share + (1 - share) * (0.5 + 0.5 * number / len(options))
        tell(done, f"laying out {option.name}")
        planned.append(layouts.lay_out(option))
    shown = _shown_first(case, planned)
    worse = plan_for_worse(shown, planned, layouts=layouts)
    tell(1.0, "planned")
    return Plan(
        case_id=case.id,
        side=case.side,
        hip=measured,
        labrum=case.labrum,
        candidacy=assess_candidacy(findings, used.table, rules=used.rules),
        planned_option=str(shown.option.name),
        options=tuple(planned),
        corridors=corridors,
        portals=ground.portals if ground else (),
        orders_of_work=tuple(item.for_option(shown.option) for item in used.techniques),
        equipment_list=list_equipment(
            shown,
            grafts=used.grafts,
            table=used.table,
            worse=worse,
            rim_trim=case.rim_trim if effect else (),
            cam=cam if isinstance(cam, CamPlan) else None,
        ),
        cautions=list_cautions(
            case,
            stored,
            used=used,
            from_bone=(
                *metal.cautions,
                *(ground.placement.cautions if ground else ()),
                *earlier.cautions,
                *trim_cautions(case, effect),
            ),
        ),
        settings=printed_settings(case, used),
        patient=patient_facts(case),
        digest=_digest(case, stored, used),
        old_anchors=in_the_rim,
        corridor_kind=used.anchors[0] if corridors else None,
        person=case.person,
        clinic=case.clinic,
        revision=case.revision,
        rim_trim=tuple(
            {
                "from_hour": item.sector.from_hour,
                "to_hour": item.sector.to_hour,
                "depth_mm": item.depth_mm,
            }
            for item in case.rim_trim
        ),
        trim_effect=effect,
        cam_plan=cam if isinstance(cam, CamPlan) else None,
        no_cam=cam if isinstance(cam, str) else "",
        worse_plan=worse,
        referral=_referral(findings, used),
        source=None if stored is None else stored.source,
    )


def _notch(hip: HipGeometry | None) -> Sector | None:
    """The measured notch."""
    rim = None if hip is None else hip.rim
    if rim is None or rim.notch_from_hour is None or rim.notch_to_hour is None:
        return None
    return Sector(from_hour=rim.notch_from_hour, to_hour=rim.notch_to_hour)


def _shown_first(case: Case, planned: Sequence[PlannedOption]) -> PlannedOption:
    """The option the case asks for, else the first that is not excluded, else the first."""
    if case.settings.option is not None:
        return next(item for item in planned if item.option.name == case.settings.option)
    for excluded in (
        {Stance.NOT_POSSIBLE, Stance.ADVISED_AGAINST},
        {Stance.NOT_POSSIBLE},
    ):
        for item in planned:
            if item.option.stance not in excluded:
                return item
    return planned[0]


def _referral(findings: Findings, used: SettingsInForce) -> tuple[str, ...]:
    """The summary for a surgeon of another road, where coverage calls for one."""
    summary = referral_summary(findings, used.table, rules=used.rules)
    return () if summary is None else summary.paragraphs()


def _digest(case: Case, stored: StoredHip | None, used: SettingsInForce) -> str:
    """Digest of everything the plan rests on: case, hip, settings, techniques and code."""
    inputs = {
        "case": case.digest,
        "hip": "" if stored is None else stored.input_digest,
        "made_by": code_digest(),
        "settings": {name: setting.value for name, setting in used.table.settings.items()},
        "techniques": [
            [item.name, *(step.text for step in item.steps)] for item in used.techniques
        ],
    }
    return hashlib.sha256(json.dumps(inputs, sort_keys=True).encode()).hexdigest()
