"""A real hip: the lesion of the brief laid out, and each anchor re-checked by rays alone."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from fixation.embree_cylinders import RayJudge
from rimwright.anatomy import AnchorKind, Sector, Side, Status
from rimwright.evidence import load_evidence
from rimwright.fixation import (
    FixationLimits,
    build_mesh_field,
    find_corridors,
    lay_out_anchors,
    place_portals,
)
from rimwright.fixation.corridor_bank import bank_of
from rimwright.imaging import read_bodies
from rimwright.morphology import measure_hip

KIND = AnchorKind(drill_mm=1.8, depth_mm=18.0)
LESION = Sector(from_hour=11.0, to_hour=2.5)
pytestmark = pytest.mark.oracle


@pytest.fixture(scope="module")
def hip(shared_data):
    folder = shared_data / "seated-left-hip"
    if not folder.is_dir():
        pytest.skip("no ../shared/data/seated-left-hip beside the project")
    return measure_hip(
        side=Side.LEFT,
        hip_bone=read_bodies(folder / "coxae.stl").bodies[0],
        other_hip_bone=None,
        femur=read_bodies(folder / "femur.stl").bodies[0],
        axes_assumed=True,
    )


@pytest.fixture(scope="module")
def field(hip):
    return build_mesh_field(hip.pelvis_bone, hip.faces, centre_mm=hip.rim.centre_mm)


@pytest.fixture(scope="module")
def limits() -> FixationLimits:
    return FixationLimits.from_evidence(
        load_evidence(), {"margin_joint_mm": 1.0, "margin_cortex_mm": 1.0}
    )


@pytest.fixture(scope="module")
def judge(hip):
    return RayJudge(hip.pelvis_bone, hip.faces.joint, hip.rim.centre_mm)


def test_the_lesion_takes_five_to_eight_anchors(hip, field, limits, judge) -> None:
    """11:00 to 2:30: gaps to 12 mm, ends within 3 mm, every margin kept when cast by rays."""
    layout = lay_out_anchors(
        field, hip.rim, bone=hip.pelvis_bone, sectors=[LESION], kinds=[KIND], limits=limits
    )
    anchors = layout.anchors
    assert 5 <= len(anchors) <= 8
    assert all(a.status is Status.OK for a in anchors)
    gaps = [hip.rim.arc_between_mm(a.hour, b.hour) for a, b in itertools.pairwise(anchors)]
    assert max(gaps) <= 12.0
    at = hip.rim.arc_position_mm
    assert abs(at(anchors[0].hour) - at(11.0)) <= 3.0
    assert abs(at(2.5) - at(anchors[-1].hour)) <= 3.0
    entries = np.array([a.entry_mm for a in anchors])
    directions = np.array([a.direction for a in anchors])
    # Single precision: 0.001 mm.
    assert judge.clear(entries, directions, depth_mm=18.0, joint_mm=1.899, other_mm=1.899).all()
    for anchor in anchors:
        point, toward = anchor.entry_mm[None], anchor.direction[None]
        stated = {"joint_mm": anchor.clearance_joint_mm, "other_mm": anchor.clearance_cortex_mm}
        reach = {name: value + 0.9 - 0.01 for name, value in stated.items()}
        assert judge.clear(point, toward, depth_mm=18.0, from_mm=4.0, **reach).all()


def test_cones_hold_when_cast_by_rays(hip, field, limits, judge) -> None:
    """Directions inside a corridor's cone, to 95 % of its half-angle, are clear by rays."""
    rng = np.random.default_rng(5)
    n_cones = 0
    for corridor in find_corridors(
        field, hip.rim, bone=hip.pelvis_bone, kind=KIND, limits=limits,
        hours=[0.0, 1.0, 2.0, 3.0, 4.0, 8.0, 9.5, 11.0],
    ):  # fmt: skip
        n_cones += corridor.fits
        side = np.linalg.svd(corridor.direction[None])[2][1:]
        polar = np.radians(0.95 * corridor.half_angle_deg * np.sqrt(rng.uniform(0, 1, 200)))
        turn = rng.uniform(0, 2 * np.pi, 200)
        directions = np.cos(polar)[:, None] * corridor.direction + np.sin(polar)[:, None] * (
            np.cos(turn)[:, None] * side[0] + np.sin(turn)[:, None] * side[1]
        )
        entries = np.tile(corridor.entry_mm, (200, 1))
        assert judge.clear(
            entries, directions, depth_mm=18.0, joint_mm=1.899, other_mm=1.899
        ).all(), corridor.hour
    assert n_cones == 8


def test_fits_agree_with_rays_in_99_percent(hip, field, limits, judge) -> None:
    """All grid directions at 12 hours: rays, which see no round tip, differ in under 1 %."""
    bank = bank_of(field, hip.rim, limits=limits)
    same, total = 0, 0
    for room in bank.rooms(field, KIND, [0, 1, 2, 3, 4, 5, 7, 8, 9, 10, 11, 11.5]):
        entry, fits = room.entries[1], room.fits[1]
        entries = np.tile(entry + field.origin_mm, (len(fits), 1))
        clear = judge.clear(entries, room.directions, depth_mm=18.0, joint_mm=1.9, other_mm=1.9)
        same += int((clear == fits).sum())
        total += len(fits)
    assert total > 6000
    assert same / total >= 0.99


def test_portals_reach_the_lesion(hip, field, limits) -> None:
    """Portals from this hip's bones; anchors stay within the angle of the portal's line."""
    placement = place_portals(hip, load_evidence(), field=field)
    layout = lay_out_anchors(
        field, hip.rim, bone=hip.pelvis_bone, sectors=[LESION], kinds=[KIND], limits=limits,
        portals=placement.portals,
    )  # fmt: skip
    skin = {portal.name: portal.skin_mm for portal in placement.portals}
    assert layout.anchors
    for anchor in layout.anchors:
        assert anchor.portal is not None
        line = anchor.entry_mm - skin[anchor.portal]
        off = np.degrees(np.arccos(line @ anchor.direction / np.linalg.norm(line)))
        assert off <= limits.portal_max_off_deg + 1e-6
