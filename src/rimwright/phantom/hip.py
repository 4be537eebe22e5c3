"""Make a synthetic hip: bones and truth from one shape."""

from __future__ import annotations

from dataclasses import dataclass

from rimwright.anatomy import TriangleMesh
from rimwright.phantom.femur_mesh import build_femur
from rimwright.phantom.femur_surface import FemurSurface
from rimwright.phantom.pelvis_parts import HALF_WIDTH_MM, build_hip_bone, mirrored
from rimwright.phantom.placement import placement_of
from rimwright.phantom.shape import HipShape
from rimwright.phantom.socket_surface import SocketSurface
from rimwright.phantom.truth import HipTruth


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PhantomHip:
    """
    One synthetic hip in the image frame.

    Parameters
    ----------
    shape
        What it was made from.
    hip_bone, other_hip_bone, femur
        Closed bodies, outward, LPS mm; the other hip bone None where the shape has none.
    truth
        Every measurement, by construction.
    """

    shape: HipShape
    hip_bone: TriangleMesh
    other_hip_bone: TriangleMesh | None
    femur: TriangleMesh
    truth: HipTruth


EDGE_MM = 1.2
"""Length of triangle edges on lunate, rim and head unless another is asked for, mm."""


def make_hip(shape: HipShape, *, edge_mm: float = EDGE_MM) -> PhantomHip:
    """
    Build the bones of a shape.

    Parameters
    ----------
    shape
        Its numbers.
    edge_mm
        Length wanted of triangle edges on lunate, rim and head, mm; 0.6 to 2. Up to 1.2 the
        triangles there lie within 0.02 mm of the true surfaces; the miss grows with its square.

    Returns
    -------
    PhantomHip
        About 33,000 triangles a hip bone and 28,000 a femur at 1.2 mm.
    """
    placement = placement_of(shape)
    bone = build_hip_bone(SocketSurface(shape=shape), edge_mm=edge_mm)
    other = None
    if shape.with_other_hip_bone:
        points = mirrored(bone.points_mm, half_width_mm=HALF_WIDTH_MM * shape.scale)
        other = placement.mesh(points, bone.triangles[:, ::-1])
    femur = build_femur(FemurSurface(shape=shape), edge_mm=edge_mm)
    return PhantomHip(
        shape=shape,
        hip_bone=placement.mesh(bone.points_mm, bone.triangles),
        other_hip_bone=other,
        femur=placement.mesh(femur.points_mm, femur.triangles),
        truth=HipTruth(shape=shape),
    )
