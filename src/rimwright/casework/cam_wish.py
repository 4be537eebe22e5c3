"""What a case asks of the head-neck junction, worked out on the measured femur."""

from __future__ import annotations

from rimwright.anatomy import CamPlan, HipGeometry
from rimwright.casework.case import Case
from rimwright.errors import Refusal
from rimwright.evidence import EvidenceTable
from rimwright.morphology import plan_cam

LEFT_ALONE = "the case leaves the neck alone"
NO_FEMUR = "no femur is measured"


def cam_of(case: Case, hip: HipGeometry | None, *, table: EvidenceTable) -> CamPlan | str:
    """
    The cam plan of a case, or why there is none.

    Parameters
    ----------
    case
        Its wish: a target of its own, or none at all.
    hip
        As measured; None where the case names no bones.
    table
        Settings in force.

    Returns
    -------
    CamPlan or str
        The reason where the neck is left alone, not seen, or under the target already.

    Raises
    ------
    CaseRefusal
        A target that no cut is worked out for.
    """
    if case.cam.skip:
        return LEFT_ALONE
    if hip is None or hip.femur_bone is None:
        return NO_FEMUR
    try:
        return plan_cam(hip, table, target_alpha_deg=case.cam.target_alpha_deg)
    except Refusal as refusal:
        if case.cam.target_alpha_deg is None:
            raise
        where = f"{case.where}, [cam], target_alpha_deg"
        raise type(refusal)(refusal.wrong, where, refusal.remedy) from None
