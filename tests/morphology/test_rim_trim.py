"""A trimmed rim against closed forms on a made hip, and against real bone cut and measured anew."""

from __future__ import annotations

import dataclasses
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from morphology.real_bones import pelvis_hip, seated_hip
from rimwright.anatomy import HipGeometry, RimTrim, Sector, Side, Status, TriangleMesh
from rimwright.errors import BoneRefusal, CaseRefusal, LayoutRefusal
from rimwright.evidence import load_evidence
from rimwright.morphology import measure_hip
from rimwright.morphology.rim_trim import depth_by_hour, trimmed_rim
from rimwright.morphology.trim_effect import predict_trim
from rimwright.morphology.trim_mesh import trimmed_bone
from rimwright.phantom import HipShape, make_hip

TABLE = load_evidence()
COVERAGE_KEYS = (
    "lateral_centre_edge_angle",
    "lateral_centre_edge_angle_sourcil",
    "anterior_centre_edge_angle",
    "anterior_sector_angle",
    "posterior_sector_angle",
    "horizontal_sector_angle",
)

# A socket of 25 mm round the head's own centre, its rim a circle about an axis that lies in the
# coronal plane: every plane through the axis sees the same arc, so arcs are exact.
EVEN = HipShape(
    head_radius_mm=22.0,
    joint_gap_mm=3.0,
    head_offset_mm=(0.0, 0.0, 0.0),
    opening_inclination_deg=52.0,
    opening_version_deg=0.0,
    rim_mean_deg=87.0,
    rim_second_deg=(0.0, 0.0),
    rim_third_deg=(0.0, 0.0),
    psoas_dip_deg=0.0,
    notch_turn_hours=0.0,
)


def trim(from_hour: float, to_hour: float, depth_mm: float) -> RimTrim:
    """A trim in one line."""
    return RimTrim(sector=Sector(from_hour=from_hour, to_hour=to_hour), depth_mm=depth_mm)


@cache
def even_hip() -> HipGeometry:
    """The even made hip, measured."""
    hip = make_hip(EVEN)
    return measure_hip(
        side=EVEN.side,
        hip_bone=hip.hip_bone,
        other_hip_bone=hip.other_hip_bone,
        femur=hip.femur,
    )


def measured_again(hip: HipGeometry, bone: TriangleMesh) -> HipGeometry:
    """The hip with another hip bone, measured from scratch in the pelvic frame it had."""
    assert hip.femur_bone is not None
    other = None
    if hip.frame.reference == "anterior pelvic plane":
        other = make_hip(EVEN).other_hip_bone
    return measure_hip(side=hip.side, hip_bone=bone, other_hip_bone=other, femur=hip.femur_bone)


def value(hip: HipGeometry, key: str) -> float:
    """A measurement that must be there."""
    found = hip.measurements[key].value
    assert found is not None
    return found


@pytest.mark.oracle
@pytest.mark.parametrize(("depth", "lost_deg"), [(3.0, 6.88), (5.0, 11.46)])
def test_an_arc_resection_takes_depth_over_radius(depth: float, lost_deg: float) -> None:
    """Radius 25: 3 mm take 6.88 degrees of the lateral angle and 5 mm take 11.46 (planning §10,
    35 to 28.12 and to 23.54), and every hour of the arc loses the same; 0.3 degrees.
    """
    hip = even_hip()
    effect = predict_trim(hip, [trim(9, 3, depth)], table=TABLE)
    before, after = (
        getattr(effect, when)["lateral_centre_edge_angle"].value for when in ("before", "after")
    )
    assert before - after == pytest.approx(lost_deg, abs=0.3)
    lost = effect.coverage_before_deg - effect.coverage_after_deg
    full = effect.depth_mm == depth
    assert full.sum() > 40
    assert np.abs(lost[full] - lost_deg).max() < 0.3


@pytest.mark.oracle
@pytest.mark.parametrize("depth", [2.0, 4.0])
def test_a_cut_made_bone_is_measured_as_the_arc_says(depth: float) -> None:
    """The trimmed made bone, measured from scratch: the rim within 0.2 mm of the arc at the full
    depth, the lateral angle within 0.3 degrees of depth over radius.
    """
    hip = even_hip()
    assert hip.rim is not None
    trims = [trim(9.5, 2.5, depth)]
    again = measured_again(hip, trimmed_bone(hip, trims))
    assert again.rim is not None
    lost = value(hip, "lateral_centre_edge_angle") - value(again, "lateral_centre_edge_angle")
    assert lost == pytest.approx(np.degrees(depth / 25.0), abs=0.3)
    # true edge: the circle of the made rim, turned in by depth / 25 on the sphere of 25 mm
    truth = make_hip(EVEN).truth
    relative = again.rim.points_mm - truth.socket_centre_mm
    axis = truth.opening_axis
    along = relative @ axis
    polar = np.degrees(np.arctan2(np.linalg.norm(relative - along[:, None] * axis, axis=1), -along))
    edge = truth.edge_all_round_mm - truth.socket_centre_mm
    old_polar = np.degrees(np.arccos(np.clip(-(edge @ axis) / np.linalg.norm(edge, axis=1), -1, 1)))
    want = float(np.median(old_polar)) - np.degrees(depth / 25.0)
    hours = again.rim.hours
    full = (hours >= 10.5) | (hours <= 1.5)
    off_mm = np.radians(polar[full] - want) * 25.0
    assert np.abs(off_mm).max() < 0.2


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("from_hour", "to_hour", "depth"), [(11.0, 2.0, 2.0), (12.0, 3.0, 4.0), (8.0, 10.0, 3.0)]
)
def test_a_cut_real_bone_is_measured_as_predicted(
    shared_data: Path, from_hour: float, to_hour: float, depth: float
) -> None:
    """Real hip, trimmed as a solid and measured from scratch: every angle within 0.5 degrees of the
    prediction (extrusion within 0.5 %).
    """
    hip = seated_hip(shared_data)
    trims = [trim(from_hour, to_hour, depth)]
    effect = predict_trim(hip, trims, table=TABLE)
    bone = trimmed_bone(hip, trims)
    solid = trimesh.Trimesh(bone.vertices_mm, bone.triangles, process=False)
    assert solid.is_watertight
    assert hip.pelvis_bone is not None
    whole = trimesh.Trimesh(hip.pelvis_bone.vertices_mm, hip.pelvis_bone.triangles, process=False)
    assert 0.0 < whole.volume - solid.volume < 2000.0
    again = measure_hip(side=hip.side, hip_bone=bone, femur=hip.femur_bone)
    misses = {
        key: abs(value(again, key) - (after.value or 0.0)) for key, after in effect.after.items()
    }
    assert {key: miss for key, miss in misses.items() if miss > 0.5} == {}
    changed = [
        key
        for key, after in effect.after.items()
        if after.value is not None and abs(after.value - value(hip, key)) > 1.5
    ]
    assert changed  # the trim did reach something that is measured


def test_nothing_beyond_the_arc_is_cut(shared_data: Path) -> None:
    """Every point of the real bone that the trim takes lies within its arc, the cut's way out of
    the bone (two tenths of an hour) included.
    """
    hip = seated_hip(shared_data)
    assert hip.pelvis_bone is not None
    assert hip.rim is not None
    bone = trimmed_bone(hip, [trim(12, 2, 3)])
    surface = trimesh.Trimesh(bone.vertices_mm, bone.triangles, process=False)
    old = hip.pelvis_bone.vertices_mm
    near = np.linalg.norm(old - hip.rim.centre_mm, axis=1) < 45.0
    kept = {tuple(np.round(point, 6)) for point in surface.vertices}
    gone = np.array([point for point in old[near] if tuple(np.round(point, 6)) not in kept])
    hours = hip.rim.hours_of(gone)
    assert len(gone) > 10
    assert all(hour >= 11.8 or hour <= 2.2 for hour in hours)


@pytest.mark.property
def test_no_trim_changes_nothing() -> None:
    """A depth of nothing, or no arc: same rim, same bone, same measurements, no warning."""
    hip = even_hip()
    for trims in ([], [trim(11, 2, 0.0)]):
        effect = predict_trim(hip, trims, table=TABLE)
        assert trimmed_rim(hip, trims) is hip.rim
        assert trimmed_bone(hip, trims) is hip.pelvis_bone
        assert effect.after == effect.before
        assert effect.warnings == ()
        assert effect.published == ()
        assert np.array_equal(effect.coverage_before_deg, effect.coverage_after_deg, equal_nan=True)


@pytest.mark.property
@given(
    from_hour=st.floats(0.0, 11.9),
    span=st.floats(0.6, 11.9),
    depths=st.tuples(st.floats(0.0, 6.0), st.floats(0.0, 6.0)),
)
def test_more_depth_never_covers_more(
    from_hour: float, span: float, depths: tuple[float, float]
) -> None:
    """Over any arc a deeper trim leaves no hour and no angle of coverage larger (1e-9 degrees)."""
    hip = even_hip()
    less, more = (
        predict_trim(hip, [trim(from_hour, from_hour + span, depth)], table=TABLE)
        for depth in sorted(depths)
    )
    assert np.nanmax(more.coverage_after_deg - less.coverage_after_deg) <= 1e-9
    for key in COVERAGE_KEYS:
        deep, shallow = more.after[key].value, less.after[key].value
        assert deep is not None
        assert shallow is not None
        assert deep <= shallow + 1e-9


@pytest.mark.property
def test_coverage_falls_from_step_to_step() -> None:
    """From 0 to 6 mm in steps of one, nothing that is taken away comes back; step 0 is the hip."""
    effect = predict_trim(even_hip(), [trim(11, 2, 3.0)], table=TABLE)
    assert [step.depth_mm for step in effect.steps] == [0, 1, 2, 3, 4, 5, 6]
    for key in COVERAGE_KEYS:
        values = [step.values[key] for step in effect.steps]
        kept = [value for value in values if value is not None]
        assert len(kept) == 7
        assert values[0] == pytest.approx(effect.before[key].value, abs=1e-12)
        assert values[3] == pytest.approx(effect.after[key].value, abs=1e-12)
        assert all(later <= earlier + 1e-9 for earlier, later in pairwise(kept))


def test_depth_tapers_inside_the_arc() -> None:
    """Full depth from half an hour inside either end, nothing at the ends or beyond; a short arc
    reaches its depth at its middle; where arcs overlap the deeper counts.
    """
    rim = even_hip().rim
    assert rim is not None
    depth = depth_by_hour(rim, [trim(11, 2, 4.0)], table=TABLE)
    assert depth[[110, 20, 30, 60, 100]] == pytest.approx(0.0)
    assert depth[[115, 0, 10, 15]] == pytest.approx(4.0)
    assert 0.0 < depth[112] < 4.0
    assert depth_by_hour(rim, [trim(1, 1.6, 2.0)], table=TABLE).max() == pytest.approx(2.0)
    both = depth_by_hour(rim, [trim(11, 2, 4.0), trim(11, 3, 1.0)], table=TABLE)
    assert both == pytest.approx(
        np.maximum(depth, depth_by_hour(rim, [trim(11, 3, 1.0)], table=TABLE))
    )


def test_the_new_edge_points_into_bone() -> None:
    """The trimmed rim keeps hours and notch; beside the edge, half a millimetre along `bone_inward`
    is bone of the trimmed hip and half a millimetre along `outward` is not.
    """
    hip = even_hip()
    trims = [trim(10, 2, 3.0)]
    rim = trimmed_rim(hip, trims)
    assert hip.rim is not None
    assert np.array_equal(rim.is_bone, hip.rim.is_bone)
    bone = trimmed_bone(hip, trims)
    solid = trimesh.Trimesh(bone.vertices_mm, bone.triangles, process=False)
    hours = (110, 115, 0, 5, 12)
    inside = np.array([rim.points_mm[k] + 0.5 * rim.bone_inward[k] for k in hours])
    beside = np.array([rim.points_mm[k] + 0.5 * rim.outward[k] for k in hours])
    assert solid.contains(inside).all()
    assert not solid.contains(beside).any()
    assert np.einsum("ij,ij->i", rim.outward, rim.bone_inward)[list(hours)] == pytest.approx(
        0.0, abs=1e-9
    )


def test_the_lower_lateral_angle_is_held_to_the_floor() -> None:
    """A trim that brings the sourcil's angle under the floor says so though the bony edge still
    stands over it, names the row and that it is from memory, and gives the depth that meets it.
    """
    hip = even_hip()
    low = dataclasses.replace(
        hip,
        measurements={
            **hip.measurements,
            "lateral_centre_edge_angle": dataclasses.replace(
                hip.measurements["lateral_centre_edge_angle"], value=44.0
            ),
            "lateral_centre_edge_angle_sourcil": dataclasses.replace(
                hip.measurements["lateral_centre_edge_angle_sourcil"], value=26.0
            ),
        },
    )
    effect = predict_trim(low, [trim(9, 3, 4.0)], table=TABLE)
    limit = effect.limits[0]
    assert limit.measurement == "lateral_centre_edge_angle_sourcil"
    assert limit.is_kept is False
    assert limit.room_mm is not None
    assert 0.0 < limit.room_mm < 4.0
    line = effect.warnings[0]
    assert "sourcil's end goes from 26.0° to" in line
    assert "planning:3.09; from memory" in line


def test_published_figures_stand_beside_with_their_status() -> None:
    """3.01 is said to be unverified and has no number under 1 mm or over 5; 3.02 and 3.03 are a
    tenth of 9.9 and 18.2 degrees a millimetre; 3.04 is the angle of the arc.
    """
    effect = predict_trim(even_hip(), [trim(12, 3, 2.0)], table=TABLE)
    by_row = {item.evidence: item for item in effect.published}
    assert list(by_row) == [f"planning:3.0{k}" for k in (1, 2, 3, 4, 5, 6, 8)]
    assert by_row["planning:3.01"].status == "from memory"
    assert by_row["planning:3.01"].statement.startswith("unverified")
    assert by_row["planning:3.01"].change == pytest.approx(-3.08)  # 1.8 + 0.64 x 2
    assert by_row["planning:3.02"].change == pytest.approx(-1.98)
    assert by_row["planning:3.03"].change == pytest.approx(-3.64)
    assert by_row["planning:3.04"].change == pytest.approx(-4.58, abs=0.02)  # 2 x 2.29, radius 25
    for depth in (0.5, 6.0):
        shallow = predict_trim(even_hip(), [trim(12, 3, depth)], table=TABLE)
        assert shallow.published[0].change is None


def test_a_deep_anterosuperior_trim_tells_of_load() -> None:
    """From 4 mm on between 12 and 3 the cadaver loads are told; less deep or behind, not."""

    def tells(item: RimTrim) -> bool:
        lines = predict_trim(even_hip(), [item], table=TABLE).warnings
        return any("planning:3.07" in line for line in lines)

    assert tells(trim(12, 2, 4.0))
    assert not tells(trim(12, 2, 3.0))
    assert not tells(trim(8, 10, 5.0))


@pytest.mark.fault
def test_what_cannot_be_trimmed_is_refused() -> None:
    """Too deep, no rim, a surface with holes: one line that says so."""
    hip = even_hip()
    with pytest.raises(
        CaseRefusal, match=r"12:00 to 2:00: a trim deeper than is worked out \(got 9 mm"
    ):
        trimmed_rim(hip, [trim(12, 2, 9.0)])
    with pytest.raises(LayoutRefusal, match="no measured rim to trim"):
        predict_trim(dataclasses.replace(hip, rim=None), [trim(12, 2, 2)], table=TABLE)
    assert hip.pelvis_bone is not None
    far = int(np.argmax(np.linalg.norm(hip.pelvis_bone.centroids_mm() - hip.rim.centre_mm, axis=1)))  # type: ignore[union-attr]
    holed = TriangleMesh(
        vertices_mm=hip.pelvis_bone.vertices_mm,
        triangles=np.delete(hip.pelvis_bone.triangles, far, axis=0),
    )
    faces = dataclasses.replace(
        hip.faces,  # type: ignore[type-var]
        joint=np.where(hip.faces.joint > far, hip.faces.joint - 1, hip.faces.joint),  # type: ignore[union-attr]
    )
    with pytest.raises(BoneRefusal, match="hip bone: the surface has holes"):
        trimmed_bone(dataclasses.replace(hip, pelvis_bone=holed, faces=faces), [trim(12, 2, 2)])


def test_an_edge_beside_the_notch_is_not_guessed_at(shared_data: Path) -> None:
    """Where the axial plane passes beside the notch in front, a trim behind changes the sum of the
    sector angles by what the posterior one loses and the central version is refused; a trim beside
    the notch refuses the anterior angle too.
    """
    low = next(
        (
            side
            for side in Side
            if "beside the notch"
            in pelvis_hip(shared_data, side).measurements["anterior_sector_angle"].reason
        ),
        None,
    )
    if low is None:
        pytest.skip("on these bones the plane passes over the rim")
    hip = pelvis_hip(shared_data, low)
    effect = predict_trim(hip, [trim(8, 10, 3.0)], table=TABLE)

    def lost(key: str) -> float:
        before, after = effect.before[key].value, effect.after[key].value
        assert before is not None
        assert after is not None
        return before - after

    assert lost("anterior_sector_angle") == 0.0
    assert lost("posterior_sector_angle") > 3.0
    assert lost("horizontal_sector_angle") == pytest.approx(lost("posterior_sector_angle"))
    assert effect.after["acetabular_version_central"].status is Status.REFUSED
    near = predict_trim(hip, [trim(3, 6, 3.0)], table=TABLE)
    assert near.after["anterior_sector_angle"].status is Status.REFUSED
    assert "beside the notch" in near.after["anterior_sector_angle"].reason
