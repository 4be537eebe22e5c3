"""Real bones read once for all tests of this folder."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from rimwright.anatomy import HipGeometry, Side, TriangleMesh
from rimwright.imaging import read_bodies
from rimwright.morphology import choose_hip_bone, measure_hip


@cache
def seated_bones(shared_data: Path) -> tuple[TriangleMesh, TriangleMesh]:
    """Left hip bone and femur of one real hip."""
    folder = shared_data / "seated-left-hip"
    return (
        read_bodies(folder / "coxae.stl").bodies[0],
        read_bodies(folder / "femur.stl").bodies[0],
    )


@cache
def seated_hip(shared_data: Path) -> HipGeometry:
    """The real left hip, measured."""
    bone, femur = seated_bones(shared_data)
    return measure_hip(side=Side.LEFT, hip_bone=bone, femur=femur)


@cache
def pelvis_bodies(shared_data: Path) -> tuple[TriangleMesh, ...]:
    """Right hip bone, left hip bone and sacrum of one real pelvis."""
    name = "2007_5028_short_closedsacrum.wrl"
    return read_bodies(shared_data / "pelvis-only" / name).bodies


@cache
def pelvis_hip(shared_data: Path, side: Side) -> HipGeometry:
    """One side of the real pelvis, measured without a femur."""
    chosen = choose_hip_bone(pelvis_bodies(shared_data), side, where="pelvis")
    return measure_hip(
        side=side,
        hip_bone=chosen.hip_bone,
        other_hip_bone=chosen.other_hip_bone,
        seed=chosen.seed,
        other_seed=chosen.other_seed,
    )
