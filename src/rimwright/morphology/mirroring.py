"""One handedness: a right hip is measured as its mirror image, so both sides give one answer.

The only place where x changes sign. Everything below `measure_hip` sees a left hip.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import overload

import numpy as np

from rimwright.anatomy import (
    FemoralAxes,
    Floats,
    HipGeometry,
    PelvicFrame,
    RigidTransform,
    RimCurve,
    Side,
    SphereFit,
    TriangleMesh,
    Vector,
)

_FLIP = np.array([-1.0, 1.0, 1.0])


@overload
def mirror_array(values: None) -> None: ...
@overload
def mirror_array(values: Floats) -> Floats: ...
def mirror_array(values: Floats | None) -> Floats | None:
    """Points or directions, (..., 3), mirrored at the plane x = 0."""
    return None if values is None else np.asarray(values) * _FLIP


def mirror_mesh(mesh: TriangleMesh | None) -> TriangleMesh | None:
    """A body mirrored at x = 0, its triangles in the same order and still facing outward."""
    if mesh is None:
        return None
    return TriangleMesh(
        vertices_mm=mesh.vertices_mm * _FLIP, triangles=mesh.triangles[:, [0, 2, 1]]
    )


def mirror_sphere(sphere: SphereFit | None) -> SphereFit | None:
    """A sphere mirrored at x = 0."""
    return None if sphere is None else replace(sphere, centre_mm=sphere.centre_mm * _FLIP)


def mirror_landmarks(landmarks: Mapping[str, Vector]) -> dict[str, Vector]:
    """Landmarks mirrored at x = 0; their names stay, as they speak of own and other side."""
    return {name: point * _FLIP for name, point in landmarks.items()}


def mirror_frame(frame: PelvicFrame) -> PelvicFrame:
    """The pelvic frame of the mirrored hip."""
    transform = frame.pelvic_from_image
    return PelvicFrame(
        side=frame.side.other,
        reference=frame.reference,
        pelvic_from_image=RigidTransform(
            source=transform.source,
            target=transform.target,
            axes=transform.axes * _FLIP,
            origin_mm=transform.origin_mm * _FLIP,
        ),
    )


def mirror_rim(rim: RimCurve | None) -> RimCurve | None:
    """A rim mirrored at x = 0; its hours stay."""
    if rim is None:
        return None
    names = ("points_mm", "outward", "bone_inward", "centre_mm", "axis", "twelve", "three")
    return replace(rim, **{name: getattr(rim, name) * _FLIP for name in names})


def mirror_femoral_axes(femur: FemoralAxes | None) -> FemoralAxes | None:
    """Femoral axes mirrored at x = 0."""
    if femur is None:
        return None
    names = (
        "neck_centre_mm",
        "neck_axis",
        "femoral_twelve",
        "femoral_three",
        "shaft_axis",
        "shaft_point_mm",
        "condyle_medial_mm",
        "condyle_lateral_mm",
        "greater_trochanter_mm",
    )
    return replace(femur, **{name: mirror_array(getattr(femur, name)) for name in names})


def mirror_hip(
    hip: HipGeometry,
    *,
    pelvis_bone: TriangleMesh | None,
    femur_bone: TriangleMesh | None,
) -> HipGeometry:
    """
    Turn the geometry measured on a mirrored hip back to the side it came from.

    Parameters
    ----------
    hip
        Measured on the mirror image.
    pelvis_bone, femur_bone
        The bones as they were given.

    Returns
    -------
    HipGeometry
        The same numbers on the other side.
    """
    side: Side = hip.side.other
    return replace(
        hip,
        side=side,
        frame=mirror_frame(hip.frame),
        head=mirror_sphere(hip.head),
        socket=mirror_sphere(hip.socket),
        opening_axis=mirror_array(hip.opening_axis),
        rim=mirror_rim(hip.rim),
        femur=mirror_femoral_axes(hip.femur),
        landmarks_mm=mirror_landmarks(hip.landmarks_mm),
        pelvis_bone=pelvis_bone,
        femur_bone=femur_bone,
    )
