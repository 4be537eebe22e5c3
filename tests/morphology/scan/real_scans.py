"""Made CTs of a real hip, and the two roads to its geometry: from bones and from the scan."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from morphology.real_bones import seated_bones, seated_hip
from morphology.scan.kept import Kept
from rimwright.anatomy import HipGeometry, Points, RimCurve, Side, SphereFit, TriangleMesh, Volume
from rimwright.morphology import measure_hip
from rimwright.morphology.scan import ScannedHip, measure_scan
from rimwright.phantom.ct import CtLook, grid_round, make_ct

SHARP, MIDDLE, THICK = (0.7, 0.7, 1.0), (1.5, 1.5, 1.5), (3.0, 3.0, 3.0)
HALF_MM = 62.0
"""The field reaches this far above and below the head's centre: over the rim and the longest drill;
across it holds the whole hip bone."""
MARGIN_MM = 6.0
WIDER_MM = 1.5
"""How far the head's surface is shrunk for the wider joint, mm."""
FULL_MM, FADED_MM = 2.0, 6.0
"""Within this much beyond the head's radius vertices move by all of it, from there on by none."""
LOOK = CtLook(cortex_hu=1400.0, spongy_hu=250.0, noise_hu=30.0, blur_mm=0.6)


@dataclass(frozen=True, kw_only=True)
class BothRoads:
    """One hip from its bones and from a CT of them."""

    bones: HipGeometry
    scan: ScannedHip


def shrunken(femur: TriangleMesh, head: SphereFit) -> TriangleMesh:
    """The femur with its head's surface drawn towards the centre: a wider joint."""
    away = femur.vertices_mm - head.centre_mm
    distance = np.linalg.norm(away, axis=1)
    share = (head.radius_mm + FADED_MM - distance) / (FADED_MM - FULL_MM)
    inward = WIDER_MM * np.clip(share, 0.0, 1.0) / distance
    return TriangleMesh(
        vertices_mm=femur.vertices_mm - away * inward[:, None], triangles=femur.triangles
    )


def bones_of(shared_data: Path, *, wide: bool) -> tuple[TriangleMesh, TriangleMesh]:
    """Hip bone and femur, the head shrunk if asked."""
    bone, femur = seated_bones(shared_data)
    if wide:
        head = seated_hip(shared_data).head
        assert head is not None
        femur = shrunken(femur, head)
    return bone, femur


def scan_of(
    shared_data: Path, *, wide: bool, spacing_mm: tuple[float, ...], is_small: bool = False
) -> Volume:
    """A made CT about the head; a small one cuts the hip bone on all sides."""
    head = seated_hip(shared_data).head
    assert head is not None
    corners = head.centre_mm + HALF_MM * np.array([[-1.0], [1.0]])
    if not is_small:
        bone = seated_bones(shared_data)[0].vertices_mm
        corners[0, :2] = np.minimum(corners[0], bone.min(axis=0) - MARGIN_MM)[:2]
        corners[1, :2] = np.maximum(corners[1], bone.max(axis=0) + MARGIN_MM)[:2]
    grid = grid_round(corners, spacing_mm=spacing_mm, margin_mm=0.0)
    return make_ct(bones_of(shared_data, wide=wide), look=LOOK, grid=grid)


def both_roads(
    kept: Kept, shared_data: Path, *, wide: bool, spacing_mm: tuple[float, ...]
) -> BothRoads:
    """Both geometries of one hip, made once."""

    def make() -> BothRoads:
        bone, femur = bones_of(shared_data, wide=wide)
        volume = scan_of(shared_data, wide=wide, spacing_mm=spacing_mm)
        return BothRoads(
            bones=measure_hip(side=Side.LEFT, hip_bone=bone, femur=femur),
            scan=measure_scan(volume, side=Side.LEFT),
        )

    width = "wide" if wide else "narrow"
    return kept.get(f"seated-{width}-{'-'.join(map(str, spacing_mm))}", make)


def dense_rim(rim: RimCurve) -> Points:
    """The curve between its stations, straight, every 0.2 mm or so; the notch left open."""
    points = rim.points_mm
    parts = []
    for here, there in zip(points, np.roll(points, -1, axis=0), strict=True):
        if np.isfinite([here, there]).all():
            parts.append(here + (there - here) * np.linspace(0.0, 1.0, 12)[:, None])
    return np.concatenate(parts)
