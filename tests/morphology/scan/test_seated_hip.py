"""A real hip from a made CT against the same hip from its bones: the promised accuracy.

The scans have cortex of 1.5 mm and 1400 HU on spongy bone of 250 HU, noise of 30 HU and 0.6 mm of
blur. Both roads end in the same measuring, so that what differs is what the scan hides. Angles
are compared in the image axes: only one hip bone is there.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from scipy.spatial import cKDTree

from morphology.real_bones import seated_bones
from morphology.scan.kept import Kept
from morphology.scan.real_scans import (
    MIDDLE,
    SHARP,
    THICK,
    BothRoads,
    both_roads,
    dense_rim,
    scan_of,
)
from rimwright.anatomy import AnchorKind, HipGeometry, Side, Status
from rimwright.evidence import load_evidence
from rimwright.fixation import FixationLimits, build_mesh_field, find_corridors
from rimwright.morphology.scan import measure_scan

pytestmark = [pytest.mark.oracle, pytest.mark.slow]

ANGLES = (
    "lateral_centre_edge_angle",
    "anterior_centre_edge_angle",
    "tonnis_angle",
    "acetabular_version_cranial",
    "acetabular_version_central",
)
DRILL = AnchorKind(drill_mm=1.8, depth_mm=18.0)
TIMES = {SHARP: 1.0, MIDDLE: 2.0}
"""What is promised of sharp voxels, twice that of 1.5 mm."""
RESOLVED_MM = 1.5
"""Narrower joints need not be measured but must be named, mm."""

every_scan = pytest.mark.parametrize(
    ("spacing_mm", "wide"),
    [(SHARP, False), (SHARP, True), (MIDDLE, False), (MIDDLE, True)],
    ids=["sharp", "sharp, wide joint", "1.5 mm", "1.5 mm, wide joint"],
)


MISSED = {
    (THICK, False, "anterior_centre_edge_angle"): "misses by -6.6 degrees",
}
"""Promises not kept yet; each must be taken out when it is."""


@pytest.fixture
def known_misses(
    request: pytest.FixtureRequest, spacing_mm: tuple[float, ...], wide: bool, key: str
) -> None:
    """Mark what is known to fail."""
    reason = MISSED.get((spacing_mm, wide, key))
    if reason is not None:
        request.applymarker(pytest.mark.xfail(strict=True, reason=reason))


@pytest.fixture
def roads(kept: Kept, shared_data: Path, spacing_mm: tuple[float, ...], wide: bool) -> BothRoads:
    """The hip by both roads."""
    return both_roads(kept, shared_data, wide=wide, spacing_mm=spacing_mm)


def rim_misses_mm(got: HipGeometry, wanted: HipGeometry) -> np.ndarray:
    """Distance of each rim point from the other road's curve."""
    assert got.rim is not None
    assert wanted.rim is not None
    points = got.rim.points_mm
    seen = np.isfinite(points).all(axis=1)
    assert seen.sum() > 85
    return cKDTree(dense_rim(wanted.rim)).query(points[seen])[0]


@every_scan
def test_head(roads: BothRoads, spacing_mm: tuple[float, ...]) -> None:
    """Centre and radius within 0.3 mm."""
    got, wanted = roads.scan.hip.head, roads.bones.head
    assert got is not None
    assert wanted is not None
    limit = 0.3 * TIMES[spacing_mm]
    assert np.linalg.norm(got.centre_mm - wanted.centre_mm) < limit
    assert abs(got.radius_mm - wanted.radius_mm) < limit


@every_scan
def test_rim(roads: BothRoads, spacing_mm: tuple[float, ...]) -> None:
    """Rim points within 0.6 mm of the curve (median) and 1.5 mm (95 %)."""
    misses = rim_misses_mm(roads.scan.hip, roads.bones)
    assert np.median(misses) < 0.6 * TIMES[spacing_mm]
    assert np.quantile(misses, 0.95) < 1.5 * TIMES[spacing_mm]


@every_scan
@pytest.mark.usefixtures("known_misses")
@pytest.mark.parametrize("key", ANGLES)
def test_angles(roads: BothRoads, spacing_mm: tuple[float, ...], key: str) -> None:
    """Within 1.0 degree."""
    got, wanted = roads.scan.hip.measurements[key], roads.bones.measurements[key]
    assert got.value == pytest.approx(wanted.value, abs=1.0 * TIMES[spacing_mm])


@every_scan
def test_joint_space_at_the_roof(roads: BothRoads, spacing_mm: tuple[float, ...]) -> None:
    """Within 0.4 mm where the joint is 1.5 mm or wider from 10 to 2; named where it is narrower.

    A wide joint must be given, at three hours of four at least; a narrow one is either absent or
    its least width carries the words.
    """
    got, wanted = roads.scan.hip.by_hour, roads.bones.by_hour
    assert got is not None
    assert wanted is not None
    roof = (got.hours >= 10.0) | (got.hours <= 2.0)
    is_wide = wanted.joint_space_mm >= RESOLVED_MM
    miss = np.abs(got.joint_space_mm - wanted.joint_space_mm)[roof & is_wide]
    if spacing_mm == SHARP:
        assert np.isfinite(miss).mean() > 0.75
    assert (miss[np.isfinite(miss)] < 0.4 * TIMES[spacing_mm]).all()
    if (wanted.joint_space_mm < RESOLVED_MM).any():
        given = np.isfinite(got.joint_space_mm) & (wanted.joint_space_mm < RESOLVED_MM)
        least = roads.scan.hip.measurements["joint_space_min"]
        assert not given.any() or "under resolution" in least.reason


def test_a_narrow_joint_is_named(kept: Kept, shared_data: Path) -> None:
    """The real joint is 0.4 mm at its narrowest: a caution or a refusal, never a fact."""
    roads = both_roads(kept, shared_data, wide=False, spacing_mm=SHARP)
    least = roads.scan.hip.measurements["joint_space_min"]
    assert least.status is not Status.OK
    assert "under resolution: narrower than 1.5 mm" in least.reason
    assert any(
        text.startswith("joint space under resolution (less than 1.5 mm")
        for text in roads.scan.hip.warnings
    )


def half_angles_deg(hip: HipGeometry, hours: list[float]) -> np.ndarray:
    """Half angle of the corridor at each hour."""
    assert hip.rim is not None
    assert hip.faces is not None
    assert hip.pelvis_bone is not None
    assert hip.socket is not None
    field = build_mesh_field(hip.pelvis_bone, hip.faces, centre_mm=hip.socket.centre_mm)
    found = find_corridors(
        field,
        hip.rim,
        bone=hip.pelvis_bone,
        kind=DRILL,
        limits=FixationLimits.from_evidence(load_evidence()),
        hours=hours,
    )
    assert [corridor.hour for corridor in found] == hours
    return np.array([corridor.half_angle_deg for corridor in found])


@pytest.mark.parametrize("wide", [False, True])
@pytest.mark.parametrize("spacing_mm", [SHARP, MIDDLE], ids=["sharp", "1.5 mm"])
def test_corridors(roads: BothRoads, spacing_mm: tuple[float, ...]) -> None:
    """Half angles of corridors from 8 to 4 within 3 degrees (median)."""
    hours = [8.0, 9.0, 10.0, 11.0, 0.0, 1.0, 2.0, 3.0, 4.0]
    got, wanted = (half_angles_deg(hip, hours) for hip in (roads.scan.hip, roads.bones))
    assert (wanted > 5.0).sum() >= 5
    assert np.median(np.abs(got - wanted)) < 3.0 * TIMES[spacing_mm]


@pytest.fixture
def small_field(kept: Kept, shared_data: Path) -> tuple[float, float, bool]:
    """Volume of the hip bone in a field that cuts it on all sides, the true one, what is said."""

    def make() -> tuple[float, float, bool]:
        volume = scan_of(shared_data, wide=False, spacing_mm=SHARP, is_small=True)
        hip = measure_scan(volume, side=Side.LEFT).hip
        got = hip.pelvis_bone
        assert got is not None
        bone = seated_bones(shared_data)[0]
        solid = trimesh.Trimesh(bone.vertices_mm, bone.triangles)
        low, high = volume.to_mm(np.zeros(3)), volume.to_mm(np.array(volume.values.shape) - 1)
        rng = np.random.default_rng(0)
        inside = solid.contains(rng.uniform(low, high, (20_000, 3))).mean()
        shell = trimesh.Trimesh(got.vertices_mm, got.triangles, process=False)
        is_said = any("came out hollow" in text for text in hip.warnings)
        return float(shell.volume), float(inside * np.prod(high - low)), is_said

    return kept.get("seated-small-field", make)


@pytest.mark.xfail(
    strict=True,
    reason="in a field that cuts it on all sides the hip bone stays hollow: 49 instead of 156 cm³",
)
def test_a_small_field_leaves_the_bone_filled(small_field: tuple[float, float, bool]) -> None:
    """A field that cuts the hip bone on all sides: its marrow is inside all the same.

    Volume within 10 % of the triangles' own solid in that box, counted by rays (trimesh).
    """
    got, wanted, _ = small_field
    assert got == pytest.approx(wanted, rel=0.1)


def test_a_hollow_bone_is_said_to_be(small_field: tuple[float, float, bool]) -> None:
    """What is not filled is not passed over: half its volume is lost only with a warning."""
    got, wanted, is_said = small_field
    assert is_said or got > 0.5 * wanted


@pytest.mark.parametrize("wide", [False, True])
@pytest.mark.parametrize("spacing_mm", [THICK], ids=["3 mm"])
def test_thick_voxels_are_warned_of(roads: BothRoads) -> None:
    """At 3 mm each number is a caution or refused, and the warning says the voxels' size."""
    hip = roads.scan.hip
    assert any(text.startswith("voxels of 3.0 × 3.0 × 3.0 mm: angles") for text in hip.warnings)
    for item in hip.measurements.values():
        assert item.status is not Status.OK
        if item.value is not None:
            assert "voxels 3.0 mm long: angles to about 3 degrees" in item.reason


@pytest.mark.parametrize("wide", [False, True])
@pytest.mark.parametrize("spacing_mm", [THICK], ids=["3 mm"])
@pytest.mark.usefixtures("known_misses")
@pytest.mark.parametrize("key", ANGLES)
def test_angles_of_thick_voxels(roads: BothRoads, key: str) -> None:
    """Within 3 degrees, or refused because such voxels do not show it."""
    got, wanted = roads.scan.hip.measurements[key], roads.bones.measurements[key]
    if got.value is None:
        assert key == "tonnis_angle"
        assert got.reason == "voxels 3.0 mm long do not resolve where the roof ends"
        return
    assert got.value == pytest.approx(wanted.value, abs=3.0)
