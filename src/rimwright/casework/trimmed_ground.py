"""The hip as a rim trim leaves it: the bone that anchors are then laid out on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from rimwright.anatomy import HipGeometry, RimTrim, SocketFaces, TrimEffect
from rimwright.casework.hip_store import StoredHip
from rimwright.evidence import EvidenceTable
from rimwright.fixation import build_mesh_field
from rimwright.morphology import predict_trim, trimmed_bone, trimmed_rim

ON_THE_JOINT_MM = 1e-3
"""A face of the cut bone whose middle is nearer to the old joint surface than this is part of it,
mm: above the rounding of a cut, below the size of any face."""


LAID_OUT_ON_TRIM = (
    "Corridors, anchors and graft lie on the rim as the trim asked for leaves it; the measurements "
    "are those from before it"
)


def trim_effect_of(
    hip: HipGeometry | None, trims: Sequence[RimTrim], *, table: EvidenceTable
) -> TrimEffect | None:
    """
    What a trim does to the coverage of a hip.

    Parameters
    ----------
    hip
        As measured.
    trims
        What is taken; empty for none.
    table
        Settings and evidence in force.

    Returns
    -------
    TrimEffect or None
        None where nothing is trimmed, or no rim is measured to trim.

    Raises
    ------
    Refusal
        A depth beyond the largest worked out.
    """
    if not trims or hip is None or hip.rim is None or hip.pelvis_bone is None:
        return None
    return predict_trim(hip, trims, table=table)


def stored_after_trim(
    stored: StoredHip, trims: Sequence[RimTrim], *, table: EvidenceTable
) -> StoredHip:
    """
    Cut the bone beyond the new edge off a stored hip and build its field anew.

    Parameters
    ----------
    stored
        As measured, with its field.
    trims
        What is taken.
    table
        Settings in force.

    Returns
    -------
    StoredHip
        The same hip with the trimmed rim, bone, joint side and field; its measurements are those
        from before the trim.

    Raises
    ------
    Refusal
        No rim or bone to trim, or a depth beyond the largest worked out.
    """
    hip, field = stored.hip, stored.field
    rim = trimmed_rim(hip, trims, table=table)
    bone = trimmed_bone(hip, trims, table=table)
    if field is None or hip.socket is None:
        return replace(stored, hip=replace(hip, rim=rim, pelvis_bone=bone))
    near = field.sample(bone.corners_mm().mean(axis=1)).joint_mm <= ON_THE_JOINT_MM
    joint = near.nonzero()[0]
    faces = SocketFaces(joint=joint, lunate=joint)
    return replace(
        stored,
        hip=replace(hip, rim=rim, pelvis_bone=bone, faces=faces),
        field=build_mesh_field(bone, faces, centre_mm=hip.socket.centre_mm, density=field.density),
    )
