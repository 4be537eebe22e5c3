"""All bones of the person a made hip belongs to, as a scanner would meet them."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import TriangleMesh
from rimwright.phantom.hip import PhantomHip


def person_bones(hip: PhantomHip) -> tuple[TriangleMesh, ...]:
    """
    Bones of both sides of a made person.

    Parameters
    ----------
    hip
        Made with or without its other hip bone.

    Returns
    -------
    tuple of TriangleMesh
        Hip bone and femur; where the other hip bone was made, that one too and the femur mirrored
        in the same plane, so that no socket of the scan stands empty.
    """
    if hip.other_hip_bone is None:
        return hip.hip_bone, hip.femur
    # Every vertex of one hip bone is the mirror image of the same vertex of the other.
    across = hip.hip_bone.vertices_mm - hip.other_hip_bone.vertices_mm
    normal = across.sum(axis=0)
    normal /= np.linalg.norm(normal)
    middle = 0.5 * (hip.hip_bone.vertices_mm + hip.other_hip_bone.vertices_mm).mean(axis=0)
    points = hip.femur.vertices_mm
    mirrored = points - 2.0 * np.outer((points - middle) @ normal, normal)
    other_femur = TriangleMesh(vertices_mm=mirrored, triangles=hip.femur.triangles[:, ::-1])
    return hip.hip_bone, hip.femur, hip.other_hip_bone, other_femur
