"""Frames that refuse to mix: image (LPS, mm) and pelvic (lateral, cranial, anterior)."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from rimwright.anatomy.arrays import Floats, Points, Vector, frozen_floats
from rimwright.anatomy.side import Side


class Frame(StrEnum):
    """Names of the coordinate frames in use."""

    IMAGE = "image"
    PELVIC = "pelvic"
    FEMORAL = "femoral"


class PelvicReference(StrEnum):
    """What the pelvic frame was taken from."""

    ANTERIOR_PELVIC_PLANE = "anterior pelvic plane"
    IMAGE_AXES = "image axes"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RigidTransform:
    """
    A change of frame that names both ends.

    Parameters
    ----------
    source, target
        Frames it goes from and to.
    axes
        (3, 3), rows are the target's axes in the source frame. Orthonormal. A pelvic frame of
        a LEFT hip is right-handed (lateral × cranial = anterior), one of a RIGHT hip left-handed.
    origin_mm
        (3,), the target's origin in the source frame, mm.
    """

    source: Frame
    target: Frame
    axes: Floats
    origin_mm: Vector

    def __post_init__(self) -> None:
        axes = frozen_floats(self.axes, shape=(3, 3), name="axes")
        if np.abs(axes @ axes.T - np.eye(3)).max() > 1e-9:
            raise ValueError("axes: rows are not orthonormal")
        object.__setattr__(self, "axes", axes)
        object.__setattr__(
            self, "origin_mm", frozen_floats(self.origin_mm, shape=(3,), name="origin_mm")
        )

    def points(self, points_mm: Points) -> Points:
        """Move points, (..., 3) mm, from source to target."""
        return (np.asarray(points_mm, dtype=np.float64) - self.origin_mm) @ self.axes.T

    def directions(self, directions: Floats) -> Floats:
        """Turn directions, (..., 3), from source to target."""
        return np.asarray(directions, dtype=np.float64) @ self.axes.T

    def inverse(self) -> RigidTransform:
        """The way back."""
        return RigidTransform(
            source=self.target,
            target=self.source,
            axes=self.axes.T,
            origin_mm=-self.axes @ self.origin_mm,
        )

    def then(self, following: RigidTransform) -> RigidTransform:
        """Chain two changes of frame that meet; refuses two that do not."""
        if following.source is not self.target:
            raise ValueError(
                f"a change to the {self.target} frame cannot be followed by one from the "
                f"{following.source} frame"
            )
        return RigidTransform(
            source=self.source,
            target=following.target,
            axes=following.axes @ self.axes,
            origin_mm=self.origin_mm + self.axes.T @ following.origin_mm,
        )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PelvicFrame:
    """
    The pelvic frame of one hip and what it was taken from.

    Parameters
    ----------
    side
        Side of the hip.
    reference
        Anterior pelvic plane, or the image axes where landmarks lack.
    pelvic_from_image
        Rows: lateral, cranial, anterior of the patient's own side.
    """

    side: Side
    reference: PelvicReference
    pelvic_from_image: RigidTransform

    @property
    def lateral(self) -> Vector:
        """Unit lateral direction, image frame."""
        return self.pelvic_from_image.axes[0]

    @property
    def cranial(self) -> Vector:
        """Unit cranial direction, image frame."""
        return self.pelvic_from_image.axes[1]

    @property
    def anterior(self) -> Vector:
        """Unit anterior direction, image frame."""
        return self.pelvic_from_image.axes[2]


def pelvic_frame_of_image(side: Side, *, origin_mm: Vector | None = None) -> PelvicFrame:
    """The pelvic frame along the image axes (LPS): lateral ±x, cranial +z, anterior −y."""
    axes = np.array([[side.lateral_x_lps, 0.0, 0.0], [0.0, 0.0, 1.0], [0.0, -1.0, 0.0]])
    return PelvicFrame(
        side=side,
        reference=PelvicReference.IMAGE_AXES,
        pelvic_from_image=RigidTransform(
            source=Frame.IMAGE,
            target=Frame.PELVIC,
            axes=axes,
            origin_mm=np.zeros(3) if origin_mm is None else origin_mm,
        ),
    )
