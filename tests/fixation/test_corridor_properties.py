"""What must hold of corridors on any bone: more asked never gives more room."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from fixation.socket_block import make_block
from rimwright.anatomy import AnchorKind, OldAnchor
from rimwright.evidence import load_evidence
from rimwright.fixation import FixationLimits, build_mesh_field, find_corridors
from rimwright.fixation.corridor_bank import bank_of
from rimwright.fixation.judging import demand_of, half_angles_deg, judge_directions
from rimwright.fixation.shading import FITS

HOURS = [0.0, 2.2, 3.7, 9.1]
KIND = AnchorKind(drill_mm=1.8, depth_mm=18.0)
pytestmark = pytest.mark.property


@pytest.fixture(scope="module")
def bumpy():
    """The block with its top and socket wrinkled by 1 mm, so that nothing is symmetrical."""
    bone, rim, faces = make_block(outer_mm=45.0, depth_mm=30.0)
    rng = np.random.default_rng(17)
    waves = rng.normal(size=(3, 3)) * 0.5
    phase = rng.uniform(0, 6, 3)
    # Wrinkles fade out at the edge, where the rim curve was given by construction.
    off_edge = np.linalg.norm(
        np.column_stack(
            [
                np.hypot(bone.vertices_mm[:, 0], bone.vertices_mm[:, 1]) - 25.0,
                bone.vertices_mm[:, 2],
            ]
        ),
        axis=1,
    )
    fade = np.clip(off_edge / 4.0, 0, 1)[:, None]
    wrinkled = bone.vertices_mm + fade * np.sin(bone.vertices_mm @ waves.T + phase)
    return replace(bone, vertices_mm=wrinkled), rim, faces


def limits(**overrides: float) -> FixationLimits:
    return FixationLimits.from_evidence(
        load_evidence(), {"margin_joint_mm": 1.0, "margin_cortex_mm": 1.0, **overrides}
    )


def fits_of(bone, rim, faces, *, kind=KIND, old=(), **overrides: float) -> np.ndarray:
    field = build_mesh_field(bone, faces, centre_mm=np.zeros(3))
    bank = bank_of(field, rim, limits=limits(**overrides), old_anchors=old)
    return np.array([room.fits for room in bank.rooms(field, kind, HOURS)])


@pytest.mark.parametrize(
    "harder",
    [
        {"margin_joint_mm": 1.7},
        {"margin_cortex_mm": 2.1},
        {"kind": AnchorKind(drill_mm=2.9, depth_mm=18.0)},
        {"kind": AnchorKind(drill_mm=1.8, depth_mm=24.0)},
        {"cortex_margin_from_depth_mm": 3.0},
        {"old": (OldAnchor(drill_mm=2.9, depth_mm=20.0, hour=2.6),)},
    ],
)
def test_asking_more_never_gains_room(bumpy, harder) -> None:
    """Larger margin, wider or longer drill, earlier margin, old anchor: only takes away."""
    easy = fits_of(*bumpy)
    hard = fits_of(*bumpy, **harder)
    assert not (hard & ~easy).any()
    assert (easy & ~hard).any()


def test_mirrored_bone_has_mirrored_corridors() -> None:
    """Corridors of the mirrored block at the same hours are mirror images."""
    found = []
    for mirrored in (False, True):
        bone, rim, faces = make_block(mirrored=mirrored, outer_mm=40.0, depth_mm=28.0)
        field = build_mesh_field(bone, faces, centre_mm=np.zeros(3))
        found.append(find_corridors(field, rim, bone=bone, kind=KIND, limits=limits(), hours=HOURS))
    for one, other in zip(*found, strict=True):
        flip = np.array([1.0, -1.0, 1.0])
        assert np.abs(one.entry_mm - other.entry_mm * flip).max() < 1e-6
        assert one.rim_angle_deg == other.rim_angle_deg
        # The search for the best direction may end on the other of two equal sides.
        assert one.half_angle_deg == pytest.approx(other.half_angle_deg, abs=0.5)
        assert one.bone_volume_mm3 == pytest.approx(other.bone_volume_mm3, rel=1e-6)


def test_every_direction_of_a_cone_fits(bumpy) -> None:
    """Directions drawn inside a corridor's cone all keep the margins when judged one by one."""
    bone, rim, faces = bumpy
    field = build_mesh_field(bone, faces, centre_mm=np.zeros(3))
    old = OldAnchor(drill_mm=2.9, depth_mm=15.0, hour=2.9)
    used = limits()
    bank = bank_of(field, rim, limits=used, old_anchors=[old])
    corridors = find_corridors(
        field, rim, bone=bone, kind=KIND, limits=used, hours=HOURS, old_anchors=[old]
    )
    rng = np.random.default_rng(11)
    n_cones = 0
    for corridor in corridors:
        if not corridor.fits:
            continue
        n_cones += 1
        normal = _normal_at(bank, field, corridor)
        around = rng.uniform(0, 2 * np.pi, 400)
        # Mostly at the cone's own edge, where it would fail first.
        polar = np.radians(corridor.half_angle_deg * np.sqrt(rng.uniform(0.5, 0.999, 400)))
        directions = _turned(corridor.direction, polar, around)
        verdict = judge_directions(
            field,
            bank.demand(KIND),
            entries=corridor.entry_mm[None],
            normals=normal[None],
            fan_of=np.zeros(1, dtype=int),
            fans=np.ascontiguousarray(directions.T[None], dtype=np.float32),
        )
        assert (verdict == FITS).all()
    assert n_cones >= 3


def test_a_cone_is_not_much_too_small(bumpy) -> None:
    """A degree outside the cone's half-angle some direction no longer fits."""
    bone, rim, faces = bumpy
    field = build_mesh_field(bone, faces, centre_mm=np.zeros(3))
    used = limits()
    bank = bank_of(field, rim, limits=used)
    around = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    for corridor in find_corridors(field, rim, bone=bone, kind=KIND, limits=used, hours=HOURS):
        ring = _turned(
            corridor.direction, np.full(720, np.radians(corridor.half_angle_deg + 1.0)), around
        )
        verdict = judge_directions(
            field,
            bank.demand(KIND),
            entries=corridor.entry_mm[None],
            normals=_normal_at(bank, field, corridor)[None],
            fan_of=np.zeros(1, dtype=int),
            fans=np.ascontiguousarray(ring.T[None], dtype=np.float32),
        )
        assert (verdict != FITS).any()


def test_half_angle_of_a_blocked_direction_is_negative(bumpy) -> None:
    """A direction that does not fit tolerates nothing."""
    bone, rim, faces = bumpy
    field = build_mesh_field(bone, faces, centre_mm=np.zeros(3))
    used = limits()
    room = bank_of(field, rim, limits=used).rooms(field, KIND, [1.0])[0]
    blocked = room.directions[~room.fits[2]]
    angles = half_angles_deg(
        field,
        demand_of(KIND, used, old_points=np.zeros((0, 3)), old_radii=np.zeros(0)),
        entries=np.tile(room.entries[2], (len(blocked), 1)),
        normals=np.tile(room.normals[2], (len(blocked), 1)),
        directions=blocked,
    )
    # Within the bound's own 0.3 degrees of zero a direction may just fit or not.
    assert (angles < 0.05).all()


def _normal_at(bank, field, corridor) -> np.ndarray:
    room = bank.rooms(field, KIND, [corridor.hour])[0]
    o = np.linalg.norm(room.entries - corridor.entry_mm, axis=1).argmin()
    return room.normals[o]


def _turned(axis: np.ndarray, polar: np.ndarray, around: np.ndarray) -> np.ndarray:
    side = np.linalg.svd(axis[None])[2][1:]
    across = np.cos(around)[:, None] * side[0] + np.sin(around)[:, None] * side[1]
    return np.cos(polar)[:, None] * axis + np.sin(polar)[:, None] * across
