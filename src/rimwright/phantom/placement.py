"""From the frame a hip is built in (lateral, cranial, anterior) to the image, and back."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, Points, Side, TriangleMesh, frozen_floats
from rimwright.anatomy.arrays import Ints
from rimwright.phantom.shape import HipShape


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Placement:
    """
    Pose of the finished person: turn, move, and mirror for a right side.

    Parameters
    ----------
    side
        Side in the image.
    turn
        (3, 3) rotation in lateral, cranial, anterior.
    shift_mm
        (3,) socket centre: lateral, cranial, anterior.
    """

    side: Side
    turn: Floats
    shift_mm: Floats

    def __post_init__(self) -> None:
        object.__setattr__(self, "turn", frozen_floats(self.turn, shape=(3, 3), name="turn"))
        object.__setattr__(
            self, "shift_mm", frozen_floats(self.shift_mm, shape=(3,), name="shift_mm")
        )

    def points(self, built_mm: Points) -> Points:
        """Built points, (..., 3) mm, to the image (LPS)."""
        return self._to_image(np.asarray(built_mm) @ self.turn.T + self.shift_mm)

    def directions(self, built: Floats) -> Floats:
        """Built directions, (..., 3), to the image (LPS)."""
        return self._to_image(np.asarray(built) @ self.turn.T)

    def image_axes_built(self) -> Floats:
        """Rows: lateral, cranial, anterior of the image, as directions of the built frame."""
        return self.turn.copy()

    def mesh(self, built_mm: Points, triangles: Ints) -> TriangleMesh:
        """A built body with outward triangles, in the image, outward still."""
        if self.side is Side.RIGHT:
            triangles = triangles[:, ::-1]
        return TriangleMesh(vertices_mm=self.points(built_mm), triangles=triangles)

    def _to_image(self, placed: Floats) -> Floats:
        """Lateral, cranial, anterior to LPS: x = ± lateral, y = −anterior, z = cranial."""
        return np.stack(
            [self.side.lateral_x_lps * placed[..., 0], -placed[..., 2], placed[..., 1]], axis=-1
        )


def placement_of(shape: HipShape) -> Placement:
    """The pose a shape asks for."""
    tilt, lift, turn = np.radians([shape.tilt_deg, shape.obliquity_deg, shape.rotation_deg])
    # Axes: 0 lateral, 1 cranial, 2 anterior. + tilt moves cranial to anterior.
    about_lateral = np.array(
        [[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]]
    )
    about_anterior = np.array(
        [[np.cos(lift), -np.sin(lift), 0], [np.sin(lift), np.cos(lift), 0], [0, 0, 1]]
    )
    about_cranial = np.array(
        [[np.cos(turn), 0, -np.sin(turn)], [0, 1, 0], [np.sin(turn), 0, np.cos(turn)]]
    )
    return Placement(
        side=shape.side,
        turn=about_cranial @ about_anterior @ about_lateral,
        shift_mm=np.array(shape.position_mm),
    )
