"""General doubts of a plan: what it rests on that is assumed, unseen, old or not known."""

from __future__ import annotations

from collections.abc import Sequence

from rimwright.anatomy import HipGeometry, RevisionKind, TrimEffect
from rimwright.casework.case import Case
from rimwright.casework.case_findings import JOINT_SPACE_TAKEN_AS, joint_spaces
from rimwright.casework.case_settings import SettingsInForce
from rimwright.casework.hip_store import StoredHip, code_digest
from rimwright.casework.trimmed_ground import LAID_OUT_ON_TRIM

UNSEEN_ANCHORS = (
    "Earlier surgery is recorded, and where its anchors lie is not: the rim may hold anchors or "
    "tunnels that this plan does not avoid; those not of metal are often not seen on CT, so an "
    "empty image is no free rim (planning:4.37, from memory)"
)
SAME_LANDMARK_MM = 1e-6
"""Landmarks nearer than this are one, mm: rounding of a stored file, far below any picking."""
OTHER_CODE = (
    "The measured hip was stored by another version of the code; run the plan without it to "
    "measure again"
)


def list_cautions(
    case: Case,
    stored: StoredHip | None,
    *,
    used: SettingsInForce,
    from_bone: Sequence[str],
) -> tuple[str, ...]:
    """
    General doubts, each once.

    Parameters
    ----------
    case
        As read.
    stored
        The hip planned on; None where the case names no bones.
    used
        Settings in force.
    from_bone
        What portals, obstacles and a trim have to say.

    Returns
    -------
    tuple of str
        In the order a surgeon needs them: measuring, bone, labrum, settings.
    """
    found: list[str] = []
    if stored is None:
        found.append(
            "The case names no bones: nothing is measured, and no anchor, portal or graft length "
            "is computed"
        )
    else:
        found += stored.hip.warnings
        if stored.made_by and stored.made_by != code_digest():
            found.append(OTHER_CODE)
        found += _moved_landmarks(case, stored.hip)
    found += from_bone
    if _was_operated(case) and not _says_where(case):
        found.append(UNSEEN_ANCHORS)
    unknown = case.labrum.unknown_sectors()
    if unknown:
        arcs = ", ".join(str(sector) for sector in unknown)
        found.append(f"Labrum unknown, not healthy: {arcs}")
    found += case.labrum_beside
    if joint_spaces(case.grades) and case.grades.joint_space_seen_by is None:
        found.append(JOINT_SPACE_TAKEN_AS)
    found += used.doubts
    return tuple(dict.fromkeys(found))


def trim_cautions(case: Case, effect: TrimEffect | None) -> tuple[str, ...]:
    """What is to be said of a trim: on what the anchors lie, and what coverage comes to."""
    if effect is not None:
        return (LAID_OUT_ON_TRIM, *effect.warnings)
    if case.rim_trim:
        return ("A rim trim is asked for, and no rim is measured: it changes nothing here",)
    return ()


def _was_operated(case: Case) -> bool:
    """Whether anything says that this hip was operated on before."""
    return (
        bool(case.history.previous_hip_arthroscopy)
        or any(sector.prior_suture for sector in case.labrum.sectors)
        or any(item.kind.is_left_by_surgery for item in case.revision)
        or bool(case.clinic and case.clinic.operations_on(case.side))
    )


def _says_where(case: Case) -> bool:
    """Whether an anchor or tunnel in the rim is entered."""
    return bool(case.old_anchors) or any(
        item.kind in (RevisionKind.ANCHOR, RevisionKind.TUNNEL) and item.place
        for item in case.revision
    )


def _moved_landmarks(case: Case, hip: HipGeometry) -> list[str]:
    """Landmarks of the case that a hip stored earlier was measured without."""
    moved = [
        name
        for name, point in case.landmarks_mm.items()
        if name in hip.landmarks_mm and abs(hip.landmarks_mm[name] - point).max() > SAME_LANDMARK_MM
    ]
    if not moved:
        return []
    return [f"The stored hip was measured with other landmarks: {', '.join(moved)}. Measure again"]
