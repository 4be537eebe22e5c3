"""Made hips of known measurements, in made CTs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from morphology.scan.kept import Kept
from rimwright.anatomy import Volume
from rimwright.morphology.scan import ScannedHip, measure_scan
from rimwright.phantom import HipShape, HipTruth, make_hip
from rimwright.phantom.ct import (
    BoneGap,
    CtLook,
    MetalCapsule,
    grid_round,
    make_ct,
    person_bones,
)

LOOK = CtLook(noise_hu=30.0, blur_mm=0.6)
EDGE_MARGIN_MM = 14.0
"""A landmark nearer to the field's edge than 8 mm counts as cut."""
SMALL_HALF_MM = 54.0
PLAIN = HipShape(with_other_hip_bone=False, shaft_length_mm=120.0)
"""A plain adult hip, one side only."""


@dataclass(frozen=True, kw_only=True)
class Scanned:
    """A shape and what was measured in its scan."""

    shape: HipShape
    scan: ScannedHip

    @property
    def truth(self) -> HipTruth:
        """By construction."""
        return HipTruth(shape=self.shape)


def scan_about(
    shape: HipShape,
    *,
    spacing_mm: float = 1.2,
    half_mm: float = SMALL_HALF_MM,
    directions: np.ndarray | None = None,
    metal: Sequence[MetalCapsule] = (),
    gaps: Sequence[BoneGap] = (),
    cut_mm: Sequence[float] = (0.0, 0.0, 0.0),
) -> Volume:
    """A small CT about one head; `cut_mm` moves the field's lower corner inward."""
    hip = make_hip(shape)
    axes = np.eye(3) if directions is None else directions
    low = -half_mm + np.asarray(cut_mm, dtype=float)
    corners = hip.truth.head_centre_mm + np.stack([low, np.full(3, half_mm)]) @ axes.T
    grid = grid_round(corners, spacing_mm=[spacing_mm] * 3, margin_mm=0.0, directions=directions)
    return make_ct([hip.hip_bone, hip.femur], look=LOOK, grid=grid, metal=metal, gaps=gaps)


def plain_scan(kept: Kept) -> Volume:
    """The plain hip's small CT, made once."""
    return kept.get("plain-small", lambda: scan_about(PLAIN))


def coarse_scan(kept: Kept) -> Volume:
    """The same on voxels of 1.7 mm: no binary fraction, so that flips round differently."""
    return kept.get("plain-coarse", lambda: scan_about(PLAIN, spacing_mm=1.7, half_mm=50.0))


def person_scan(shape: HipShape, *, spacing_mm: float, below_mm: float) -> Volume:
    """A CT of both hips of a person, down to `below_mm` under the head."""
    hip = make_hip(replace(shape, with_other_hip_bone=True))
    bones = person_bones(hip)
    points = np.concatenate([bone.vertices_mm for bone in bones])
    points = points[points[:, 2] > hip.truth.head_centre_mm[2] - below_mm]
    grid = grid_round(points, spacing_mm=[spacing_mm] * 3, margin_mm=EDGE_MARGIN_MM)
    return make_ct(bones, look=LOOK, grid=grid)


def long_scan(shape: HipShape, *, spacing_mm: Sequence[float], above_mm: float) -> Volume:
    """A CT of one side from `above_mm` over the head to the condyles."""
    hip = make_hip(shape)
    bones = [hip.hip_bone, hip.femur]
    points = np.concatenate([bone.vertices_mm for bone in bones])
    points = points[points[:, 2] < hip.truth.head_centre_mm[2] + above_mm]
    grid = grid_round(points, spacing_mm=spacing_mm, margin_mm=EDGE_MARGIN_MM)
    return make_ct(bones, look=LOOK, grid=grid)


def measured(kept: Kept, name: str, shape: HipShape, volume: Volume) -> Scanned:
    """The shape's own side, measured once."""
    return kept.get(name, lambda: Scanned(shape=shape, scan=measure_scan(volume, side=shape.side)))
