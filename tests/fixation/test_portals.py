"""Portals on a synthetic hip: placed as the settings say, and reached as this hip's bones allow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from rimwright.anatomy import HipGeometry, Sector, TriangleMesh
from rimwright.evidence import load_evidence
from rimwright.fixation import build_mesh_field, place_portals
from rimwright.fixation.portal_positions import skin_points
from rimwright.fixation.portals import sectors_of, traction_direction
from rimwright.morphology import measure_hip
from rimwright.phantom import HipShape, make_hip


@pytest.fixture(scope="module")
def hip() -> HipGeometry:
    made = make_hip(HipShape())
    return measure_hip(
        side=made.truth.side if hasattr(made.truth, "side") else HipShape().side,
        hip_bone=made.hip_bone,
        other_hip_bone=made.other_hip_bone,
        femur=made.femur,
    )


@pytest.fixture(scope="module")
def field(hip):
    assert hip.pelvis_bone is not None
    assert hip.faces is not None
    return build_mesh_field(hip.pelvis_bone, hip.faces, centre_mm=hip.socket.centre_mm)


def reached(portal) -> set[int]:
    """Tenths of an hour a portal reaches."""
    return {
        tenth
        for tenth in range(120)
        if any(sector.contains(tenth / 10) for sector in portal.reaches)
    }


def test_positions_are_those_of_the_settings(hip) -> None:
    """Offsets in the pelvic frame from trochanter tip and ASIS, on the assumed skin."""
    table = load_evidence()
    to_pelvic = hip.frame.pelvic_from_image
    at = {p.name: to_pelvic.points(p.skin_mm) for p in skin_points(hip, table)}
    tip = to_pelvic.points(hip.landmarks_mm["greater_trochanter"])
    asis = to_pelvic.points(hip.landmarks_mm["asis"])
    assert at["anterolateral"][1] - tip[1] == pytest.approx(15.0)
    assert at["anterolateral"][2] - tip[2] == pytest.approx(15.0)
    assert at["anterolateral"][0] - tip[0] >= 25.0  # 30 mm of skin beside the lateral face
    assert at["posterolateral"][2] - at["anterolateral"][2] == pytest.approx(-35.0)
    assert at["posterolateral"][1] == pytest.approx(at["anterolateral"][1])
    assert at["anterior"][0] == pytest.approx(asis[0])
    assert at["anterior"][1] == pytest.approx(tip[1])
    assert at["anterior"][2] - asis[2] == pytest.approx(15.0)
    assert at["mid-anterior"][1] - at["anterolateral"][1] == pytest.approx(-70 * np.sqrt(0.5))
    assert at["mid-anterior"][0] >= asis[0] - 1e-9
    accessory = at["distal anterolateral accessory"]
    assert accessory[1] - at["anterolateral"][1] == pytest.approx(-48.0)
    assert accessory[2] > at["anterolateral"][2]


def test_moving_the_trochanter_changes_the_hours_reached(hip, field) -> None:
    """10 mm of trochanter moves the lateral portals and with them what they reach."""
    table = load_evidence()
    before = place_portals(hip, table, field=field).portals
    moved = dict(hip.landmarks_mm)
    moved["greater_trochanter"] = moved["greater_trochanter"] + 10.0 * hip.frame.cranial
    after = place_portals(replace(hip, landmarks_mm=moved), table, field=field).portals
    changed = [a.name for a, b in zip(before, after, strict=True) if reached(a) != reached(b)]
    assert "anterolateral" in changed
    assert any(reached(portal) for portal in before)


@pytest.mark.parametrize(
    ("key", "words"), [("asis", "the ASIS"), ("greater_trochanter", "the greater trochanter")]
)
def test_without_a_landmark_there_are_no_portals(hip, key, words) -> None:
    """Left out, with a caution that names what is not seen."""
    landmarks = {k: v for k, v in hip.landmarks_mm.items() if k != key}
    placement = place_portals(replace(hip, landmarks_mm=landmarks), load_evidence())
    assert placement.portals == ()
    assert words in placement.cautions[0]
    assert "not seen" in placement.cautions[0]


def test_skin_is_a_caution_of_every_placement(hip, field) -> None:
    """Skin is not in the bones: said always."""
    placement = place_portals(hip, load_evidence(), field=field)
    assert "assumed soft-tissue depth" in placement.cautions[0]
    assert [p.name for p in placement.portals] == [
        "anterolateral",
        "posterolateral",
        "anterior",
        "mid-anterior",
        "distal anterolateral accessory",
    ]
    assert all(portal.evidence for portal in placement.portals)


def test_bone_in_the_way_is_not_reached_through(hip, field) -> None:
    """A plate put between the skin and the rim leaves the portals nothing."""
    assert hip.femur_bone is not None
    before = place_portals(hip, load_evidence(), field=field).portals
    lateral, centre = hip.frame.lateral, hip.rim.centre_mm
    # A square beside the hip, 150 mm wide, moved back by the traction it will be drawn by.
    middle = centre + 60.0 * lateral - 10.0 * traction_direction(hip)
    u, v = hip.frame.cranial * 150.0, hip.frame.anterior * 150.0
    plate = np.array([middle - u - v, middle + u - v, middle + u + v, middle - u + v])
    n = len(hip.femur_bone.vertices_mm)
    walled = TriangleMesh(
        vertices_mm=np.vstack([hip.femur_bone.vertices_mm, plate]),
        triangles=np.vstack([hip.femur_bone.triangles, [[n, n + 1, n + 2], [n, n + 2, n + 3]]]),
    )
    after = {
        p.name: reached(p)
        for p in place_portals(
            replace(hip, femur_bone=walled), load_evidence(), field=field
        ).portals
    }
    lateral_ones = [p for p in before if p.name in {"anterolateral", "posterolateral"}]
    assert any(reached(p) for p in lateral_ones)
    assert not any(after[p.name] for p in lateral_ones)


def test_runs_of_hours_become_sectors() -> None:
    """A run is half a tenth longer at both ends, may cross 12, and a full dial is the ring."""
    is_reached = np.zeros(120, dtype=bool)
    is_reached[[118, 119, 0, 1, 30]] = True
    assert sectors_of(is_reached) == (
        Sector(from_hour=2.95, to_hour=3.05),
        Sector(from_hour=11.75, to_hour=0.15),
    )
    assert sectors_of(np.ones(120, dtype=bool)) == (Sector(from_hour=0.0, to_hour=0.0),)
    assert sectors_of(np.zeros(120, dtype=bool)) == ()
