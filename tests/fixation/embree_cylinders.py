"""Drills judged by rays: sixteen along each cylinder, cast by embree; nothing of the planner."""

from __future__ import annotations

import numpy as np
import pytest

N_RAYS = 16
FAR = 1e30


class RayJudge:
    """
    Two scenes of one bone: the joint side, and everything else; single precision near `centre`.

    Clear means that no ray on a cylinder about the axis hits surface: from the entry on for the
    joint; for the rest from where the ray has left a ball of 4 mm about the entry.
    """

    def __init__(self, bone, joint_faces, centre_mm) -> None:
        self.rtcore = pytest.importorskip("embreex.rtcore_scene", reason="embreex not at hand")
        self.meshes = pytest.importorskip("embreex.mesh_construction")
        self.centre = np.asarray(centre_mm, dtype=float)
        self.vertices = (bone.vertices_mm - self.centre).astype(np.float32)
        self.triangles = bone.triangles
        self.normals = bone.normals()
        is_joint = np.zeros(len(bone.triangles), dtype=bool)
        is_joint[joint_faces] = True
        self.is_joint = is_joint
        self.joint = self.scene_of(bone.triangles[is_joint])
        self.other = self.scene_of(bone.triangles[~is_joint])
        self.whole = self.scene_of(bone.triangles)

    def scene_of(self, triangles):
        scene = self.rtcore.EmbreeScene()
        self.meshes.TriangleMesh(scene, self.vertices, triangles.astype(np.int32))
        # The tree of boxes is built by the first ray.
        scene.run(np.zeros((1, 3), np.float32), np.ones((1, 3), np.float32))
        return scene

    @staticmethod
    def rays(entries, directions, *, radius_mm: float, from_mm: float):
        """Starts and directions of the rays on each cylinder, (n * 16, 3) single precision."""
        small = np.eye(3)[np.abs(directions).argmin(axis=1)]
        side = np.cross(directions, small)
        side /= np.linalg.norm(side, axis=1, keepdims=True)
        other = np.cross(directions, side)
        turn = np.arange(N_RAYS) * 2 * np.pi / N_RAYS
        ring = radius_mm * (
            np.cos(turn)[None, :, None] * side[:, None]
            + np.sin(turn)[None, :, None] * other[:, None]
        )
        starts = entries[:, None] + from_mm * directions[:, None] + ring
        return (
            starts.reshape(-1, 3).astype(np.float32),
            np.repeat(directions, N_RAYS, axis=0).astype(np.float32),
        )

    def clear(
        self, entries_mm, directions, *, depth_mm: float, joint_mm: float, other_mm: float,
        zone_mm: float = 4.0, from_mm: float | None = None,
    ) -> np.ndarray:  # fmt: skip
        """Whether each cylinder is clear and runs inside bone, (n,) bool.

        `from_mm`: depth at which the rays that mind the other surfaces start; left out, where
        they leave the ball of `zone_mm`.
        """
        entries = np.asarray(entries_mm) - self.centre
        directions = np.asarray(directions)
        begin = np.sqrt(max(zone_mm**2 - other_mm**2, 0.0)) if from_mm is None else from_mm
        starts, along = self.rays(entries, directions, radius_mm=other_mm, from_mm=begin)
        hit = self.other.run(starts, along, query="DISTANCE").reshape(-1, N_RAYS)
        clear = (hit >= depth_mm - begin).all(axis=1)
        starts, along = self.rays(entries, directions, radius_mm=joint_mm, from_mm=0.0)
        hit = self.joint.run(starts, along, query="DISTANCE").reshape(-1, N_RAYS)
        clear &= (hit >= depth_mm).all(axis=1)
        # From inside bone the axis leaves through the back of a triangle.
        inside = (entries + zone_mm * directions).astype(np.float32)
        face = self.whole.run(inside, directions.astype(np.float32))
        leaves = (self.normals[face] * directions).sum(axis=1) > 0
        return clear & (face >= 0) & leaves
