"""What a case asks of the head-neck junction, worked out on the measured femur."""

from __future__ import annotations

from collections import OrderedDict

from rimwright.anatomy import CamPlan
from rimwright.casework.case import Case
from rimwright.casework.hip_store import StoredHip
from rimwright.errors import Refusal
from rimwright.evidence import EvidenceTable
from rimwright.morphology import plan_cam

LEFT_ALONE = "the case leaves the neck alone"
NO_FEMUR = "no femur is measured"
MOST_KEPT = 4
"""Cam plans kept: the targets tried in one sitting, on either hip."""

_KEPT: OrderedDict[tuple[object, ...], CamPlan | str] = OrderedDict()


def cam_of(case: Case, stored: StoredHip | None, *, table: EvidenceTable) -> CamPlan | str:
    """
    The cam plan of a case, or why there is none.

    Parameters
    ----------
    case
        Its wish: a target of its own, or none at all.
    stored
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

    Notes
    -----
    Kept while the same bones are planned again, also from a hip loaded anew.
    """
    if case.cam.skip:
        return LEFT_ALONE
    if stored is None or stored.hip.femur_bone is None:
        return NO_FEMUR
    target = case.cam.target_alpha_deg
    numbers = tuple(setting.value for setting in table.settings.values())
    key = (stored.input_digest, stored.made_by, target, numbers)
    is_known = bool(stored.input_digest and stored.made_by)
    if is_known and key in _KEPT:
        return _KEPT[key]
    try:
        found = plan_cam(stored.hip, table, target_alpha_deg=target)
    except Refusal as refusal:
        if target is None:
            raise
        where = f"{case.where}, [cam], target_alpha_deg"
        raise type(refusal)(refusal.wrong, where, refusal.remedy) from None
    if is_known:
        _KEPT[key] = found
        while len(_KEPT) > MOST_KEPT:
            _KEPT.popitem(last=False)
    return found
