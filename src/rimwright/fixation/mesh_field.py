"""The bone field of a mesh: exact distances to joint and other bone surface, and the side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numba import njit

from rimwright.anatomy import (
    FieldSample,
    Mask,
    OldAnchor,
    Points,
    SocketFaces,
    TriangleMesh,
    Volume,
)
from rimwright.anatomy import Floats as _Floats
from rimwright.anatomy import Vector as _Vector
from rimwright.errors import LayoutRefusal
from rimwright.fixation.density_block import density_arrays, density_at, density_of_arrays
from rimwright.fixation.tree_queries import count_hits
from rimwright.fixation.triangle_tree import TriangleTree, build_triangle_tree

ROUNDING_MM = 1e-6
"""Bound on the rounding of a distance in double precision at the size of a pelvis, mm; the
distances themselves are exact to the triangles."""
_RAYS = np.array(
    [
        [0.5613871, 0.3719246, 0.7392518],
        [-0.6847213, 0.6117935, 0.3960482],
        [0.2175968, -0.7935241, 0.5683127],
    ]
)
"""Three directions, along no axis and no likely edge, whose crossings vote on inside or outside."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False, weakref_slot=True)
class MeshBoneField:
    """
    A bone's surface as two trees of triangles: joint side, and everything else.

    Parameters
    ----------
    joint, cortex
        Trees of the joint-side triangles (lunate and fossa) and of all others, corners in mm
        from `origin_mm`.
    origin_mm
        (3,), mm, image frame: near the socket, so that single precision suffices in bulk tests.
    obstacles
        Anchors and tunnels already in the bone; the distances do not know of them.
    density
        The part of the CT about the hip; None where the bone came as a surface.
    """

    joint: TriangleTree
    cortex: TriangleTree
    origin_mm: _Vector
    obstacles: tuple[OldAnchor, ...] = ()
    density: Volume | None = None

    @property
    def error_mm(self) -> float:
        """Largest error of a distance, mm."""
        return ROUNDING_MM

    @property
    def n_triangles(self) -> int:
        """Triangles of the bone."""
        return self.joint.n_triangles + self.cortex.n_triangles

    def sample(self, points_mm: Points) -> FieldSample:
        """
        Distances, side and density at points; a mesh without its CT knows no density.

        Parameters
        ----------
        points_mm
            (n, 3), mm, image frame.

        Returns
        -------
        FieldSample
            Exact distances; inside by crossings counted along three rays, two of which must
            agree, so that one bad triangle does not turn a point inside out. Density is NaN
            outside the block of the CT.
        """
        points = np.ascontiguousarray(
            np.asarray(points_mm, dtype=np.float64).reshape(-1, 3) - self.origin_mm
        )
        return FieldSample(
            joint_mm=self.joint.nearest_mm(points),
            cortex_mm=self.cortex.nearest_mm(points),
            inside=self.is_inside(points),
            density_hu=self.density_at(points_mm),
        )

    def density_at(self, points_mm: Points) -> _Floats:
        """Hounsfield units at (n, 3) points, image frame, (n,); NaN where none are known."""
        return density_at(self.density, points_mm)

    def is_inside(self, points: Points) -> Mask:
        """Whether (n, 3) points, mm from `origin_mm`, lie in bone, (n,) bool."""
        a, b = self.joint, self.cortex
        return _votes_inside(
            np.ascontiguousarray(points),
            _RAYS / np.linalg.norm(_RAYS, axis=1, keepdims=True),
            a.corners_mm,
            a.box_mm,
            a.span,
            a.right,
            b.corners_mm,
            b.box_mm,
            b.span,
            b.right,
        )

    def with_obstacles(self, obstacles: Sequence[OldAnchor]) -> MeshBoneField:
        """The same bone with other anchors and tunnels already in it."""
        return replace(self, obstacles=tuple(obstacles))

    def to_arrays(self) -> dict[str, np.ndarray]:
        """Every array under a name, for saving; obstacles belong to the case and stay out."""
        return {
            "origin_mm": np.array(self.origin_mm),
            **self.joint.to_arrays("joint_"),
            **self.cortex.to_arrays("cortex_"),
            **density_arrays(self.density),
        }

    @classmethod
    def from_arrays(
        cls, arrays: Mapping[str, np.ndarray], *, obstacles: Sequence[OldAnchor] = ()
    ) -> MeshBoneField:
        """The field that `to_arrays` took apart."""
        return cls(
            joint=TriangleTree.from_arrays(arrays, "joint_"),
            cortex=TriangleTree.from_arrays(arrays, "cortex_"),
            origin_mm=np.array(arrays["origin_mm"], dtype=np.float64),
            obstacles=tuple(obstacles),
            density=density_of_arrays(arrays),
        )


def build_mesh_field(
    bone: TriangleMesh,
    faces: SocketFaces,
    *,
    centre_mm: _Vector,
    obstacles: Sequence[OldAnchor] = (),
    density: Volume | None = None,
) -> MeshBoneField:
    """
    Build the field of one hip bone.

    Parameters
    ----------
    bone
        The hip bone, closed, image frame.
    faces
        Which of its triangles face the joint.
    centre_mm
        (3,), mm: the socket's centre; distances are worked out from here.
    obstacles
        Anchors and tunnels already in the bone.
    density
        The part of the CT about the hip, where it came from one.

    Returns
    -------
    MeshBoneField
        O(m log m) in the triangles.
    """
    is_joint = np.zeros(bone.n_triangles, dtype=bool)
    is_joint[faces.joint] = True
    origin = np.array(centre_mm, dtype=np.float64)
    local = TriangleMesh(vertices_mm=bone.vertices_mm - origin, triangles=bone.triangles)
    return MeshBoneField(
        joint=build_triangle_tree(local, np.flatnonzero(is_joint)),
        cortex=build_triangle_tree(local, np.flatnonzero(~is_joint)),
        origin_mm=origin,
        obstacles=tuple(obstacles),
        density=density,
    )


def check_same_bone(field: MeshBoneField, bone: TriangleMesh) -> None:
    """
    Refuse a field that was built from another bone.

    Parameters
    ----------
    field, bone
        Must have the same number of triangles.

    Raises
    ------
    LayoutRefusal
        They have not.
    """
    if field.n_triangles != bone.n_triangles:
        raise LayoutRefusal(
            f"it was built from another bone (got {field.n_triangles} triangles, need "
            f"{bone.n_triangles})",
            "bone field",
            "Build the field again from this bone",
        )


@njit(cache=True, nogil=True)
def _votes_inside(  # type: ignore[no-untyped-def]
    points,
    rays,
    corners_a,
    box_a,
    span_a,
    right_a,
    corners_b,
    box_b,
    span_b,
    right_b,
):  # fmt: skip
    """Odd crossings on two of three rays mean inside."""
    out = np.zeros(len(points), dtype=np.bool_)
    for k in range(len(points)):
        votes = 0
        for r in range(3):
            n = count_hits(points[k], rays[r], corners_a, box_a, span_a, right_a)
            n += count_hits(points[k], rays[r], corners_b, box_b, span_b, right_b)
            votes += n % 2
            if votes == 2 or votes + 2 - r < 2:
                break
        out[k] = votes >= 2
    return out
