"""A cam planned away: against the made contour in closed form, and alpha measured anew."""

from __future__ import annotations

import dataclasses
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
import trimesh

from morphology.real_bones import seated_hip
from rimwright.anatomy import CamPlan, HipGeometry, Side, TriangleMesh
from rimwright.errors import CaseRefusal, LayoutRefusal
from rimwright.evidence import load_evidence
from rimwright.morphology import measure_hip
from rimwright.morphology.cam_mesh import resected_femur
from rimwright.morphology.cam_resection import AIM_UNDER_DEG, plan_cam
from rimwright.morphology.femur import measure_femur
from rimwright.morphology.mirroring import mirror_mesh
from rimwright.phantom import HipShape, make_hip
from rimwright.phantom.femur_surface import FemurSurface

TABLE = load_evidence()
CAM = HipShape(cam_start_deg=75.0)
HOLLOW_MM, DEPARTURE_MM = 20.0, 1.0  # the shipped radius; what alpha is read at on a smooth head


@cache
def cam_hip() -> HipGeometry:
    """A made hip with a cam at half past one, its femur measured."""
    hip = make_hip(CAM)
    return measure_hip(side=CAM.side, femur=hip.femur)


def planned(hip: HipGeometry, target: float | None = None) -> CamPlan:
    """A plan that there must be."""
    plan = plan_cam(hip, TABLE, target_alpha_deg=target)
    assert isinstance(plan, CamPlan)
    return plan


@pytest.mark.oracle
@pytest.mark.parametrize("target", [50.0, 55.0, 60.0])
def test_depth_is_what_the_made_contour_says(target: float) -> None:
    """At every hour that needs it, the most taken is the made contour less the sphere with its
    hollow, both in closed form, to 0.2 mm.
    """
    hip = cam_hip()
    plan = planned(hip, target)
    surface, radius = FemurSurface(shape=CAM), CAM.head_radius_mm
    start = np.radians(target - AIM_UNDER_DEG) + np.sqrt(2 * HOLLOW_MM * DEPARTURE_MM) / radius
    # from where the hollow starts down to 15 degrees under the aim: the cam, not yet the neck
    polar = np.radians(np.arange(target - 15.0, 130.0, 0.1))
    hollow = radius + (radius * np.maximum(start - polar, 0.0)) ** 2 / (2 * HOLLOW_MM)
    assert len(plan.resected_hours) > 3
    for index in plan.resected_hours:
        contour = surface.distance_mm(polar, np.radians(30.0 * plan.femoral_hours[index]))
        assert plan.depth_mm[index] == pytest.approx(np.max(contour - hollow), abs=0.2)


@pytest.mark.oracle
@pytest.mark.parametrize("target", [50.0, 60.0])
def test_the_cut_femur_is_measured_under_the_target(target: float) -> None:
    """The femur drawn in and measured from scratch: alpha under the target at every hour and within
    1 degree of where the cut aims at the cam; the head's sphere where it was, to 0.1 mm.
    """
    hip = cam_hip()
    assert hip.head is not None
    plan = planned(hip, target)
    again = measure_femur(resected_femur(hip, plan), side=hip.side, frame=hip.frame)
    assert np.linalg.norm(again.head.centre_mm - hip.head.centre_mm) < 0.1
    assert again.head.radius_mm == pytest.approx(hip.head.radius_mm, abs=0.1)
    largest = again.measurements["alpha_angle_max"].value
    assert largest is not None
    assert largest <= target
    cam = plan.resected_hours
    assert again.alpha_deg[cam] == pytest.approx(target - AIM_UNDER_DEG, abs=1.0)
    assert plan.alpha_after_deg[cam] == pytest.approx(again.alpha_deg[cam], abs=1.0)


@pytest.mark.oracle
def test_a_real_femur_is_measured_under_the_target(shared_data: Path) -> None:
    """Real femur (55 degrees) planned to 50: measured from scratch it stays under 50, is closed,
    and has lost the planned volume to a tenth.
    """
    hip = seated_hip(shared_data)
    plan = planned(hip, 50.0)
    femur = resected_femur(hip, plan)
    again = measure_femur(femur, side=hip.side, frame=hip.frame)
    largest = again.measurements["alpha_angle_max"].value
    assert largest is not None
    assert largest <= 50.0
    assert hip.femur_bone is not None
    before, after = (
        trimesh.Trimesh(bone.vertices_mm, bone.triangles, process=False)
        for bone in (hip.femur_bone, femur)
    )
    assert after.is_watertight
    assert before.volume - after.volume == pytest.approx(plan.volume_mm3, rel=0.1)


@pytest.mark.property
def test_a_lower_target_never_takes_less() -> None:
    """From 60 down to 50 degrees nothing that is taken at an hour becomes less, and the cut never
    goes under the head's sphere.
    """
    hip = cam_hip()
    assert hip.head is not None
    plans = [planned(hip, target) for target in (60.0, 57.5, 55.0, 52.5, 50.0)]
    for plan, lower in pairwise(plans):
        assert (lower.depth_mm >= plan.depth_mm - 1e-9).all()
        assert lower.volume_mm3 > plan.volume_mm3
        cut = lower.depth_map_mm > 0.0
        assert (lower.contour_after_mm[cut] >= hip.head.radius_mm - 1e-9).all()


@pytest.mark.property
def test_the_map_runs_out_without_a_step() -> None:
    """Between neighbours (a quarter hour, half a degree) the depth changes by less than the mm that
    the cam itself changes by there (0.9 and 0.5 mm on a bump of 2.5 mm), and is nothing at the
    map's borders and half an hour past the run-out.
    """
    plan = planned(cam_hip(), 55.0)
    depth = plan.depth_map_mm
    assert np.abs(depth - np.roll(depth, 1, axis=0)).max() < 0.9
    assert np.abs(np.diff(depth, axis=1)).max() < 0.5
    assert depth[:, 0].max() == depth[:, -1].max() == 0.0
    first, last = plan.resected_hours[0], plan.resected_hours[-1]
    assert plan.depth_mm[first - 5] == plan.depth_mm[last + 5] == 0.0


def test_nothing_is_taken_from_a_round_head() -> None:
    """Alpha under the target gives a reason and no plan; so does a hip without femur or neck."""
    shape = dataclasses.replace(CAM, cam_height_mm=0.0)
    hip = measure_hip(side=shape.side, femur=make_hip(shape).femur)
    answer = plan_cam(hip, TABLE)
    assert isinstance(answer, str)
    assert "not over the target of 60°" in answer
    assert plan_cam(dataclasses.replace(hip, femur_bone=None, head=None), TABLE) == "no femur given"
    neckless = dataclasses.replace(hip, femur=None, unavailable={"femoral_axes": "cut at the head"})
    assert plan_cam(neckless, TABLE) == "cut at the head"


def test_a_mirrored_femur_is_planned_alike() -> None:
    """The right hip that mirrors a left one gets the same plan, to 1e-6."""
    left = make_hip(dataclasses.replace(CAM, side=Side.LEFT))
    mirrored = mirror_mesh(left.femur)
    assert isinstance(mirrored, TriangleMesh)
    right = measure_hip(side=Side.RIGHT, femur=mirrored)
    ours = planned(measure_hip(side=Side.LEFT, femur=left.femur), 55.0)
    theirs = planned(right, 55.0)
    np.testing.assert_allclose(theirs.depth_map_mm, ours.depth_map_mm, atol=1e-6)
    assert theirs.neck_share_removed == pytest.approx(ours.neck_share_removed, abs=1e-6)


def test_the_share_of_the_neck_is_told() -> None:
    """On the made cam the share is the depth across the neck over its width there (both sides), to
    a hundredth; with the customary share set lower than that, a caution says it is from memory.
    """
    hip = cam_hip()
    plan = planned(hip, 50.0)
    hour = int(np.argmax(plan.depth_mm))
    opposite = (hour + 24) % 48
    angle = np.radians(plan.angles_deg)
    # no more than the depth over twice the smallest radius, no less than its part across the axis
    deepest = int(np.argmax(plan.depth_map_mm[hour]))
    width = plan.contour_before_mm[hour, deepest] * np.sin(angle[deepest]) + plan.contour_before_mm[
        opposite, deepest
    ] * np.sin(angle[deepest])
    across = plan.depth_map_mm[hour, deepest] * np.sin(angle[deepest])
    assert across / width - 0.01 < plan.neck_share_removed < plan.depth_mm[hour] / 31.0
    assert plan.neck_share_hour == pytest.approx(CAM.cam_hour, abs=0.25)
    assert not any("neck's width" in line for line in plan.cautions)
    name = "cam.neck_share_caution_fraction"
    strict = dataclasses.replace(
        TABLE,
        settings={**TABLE.settings, name: dataclasses.replace(TABLE.setting(name), value=0.01)},
    )
    cautious = plan_cam(hip, strict, target_alpha_deg=50.0)
    assert isinstance(cautious, CamPlan)
    assert any("neck's width" in line and "from memory" in line for line in cautious.cautions)


def test_cut_offs_in_conflict_stand_beside_the_target() -> None:
    """The other cut-offs in print and the conflict C8 are told, the setting in force too when the
    target is the user's own.
    """
    plan = planned(cam_hip())
    assert plan.target_alpha_deg == TABLE.number("femur.alpha_cam_deg")
    assert "femur.alpha_cam_deg" in plan.target_source
    told = " ".join(plan.other_targets)
    assert "planning:C8" in told
    assert "55°" in told
    own = planned(cam_hip(), 52.0)
    assert own.target_source == "the user"
    assert own.other_targets[0].startswith("60° is the setting in force")


def test_a_cam_near_the_vessels_carries_a_caution() -> None:
    """A cam at half past ten needs bone where the vessels of the head run; one at half past one
    does not.
    """
    shape = dataclasses.replace(CAM, cam_hour=10.5)
    behind = measure_hip(side=shape.side, femur=make_hip(shape).femur)
    assert any("vessels" in line for line in planned(behind, 55.0).cautions)
    assert not any("vessels" in line for line in planned(cam_hip(), 55.0).cautions)


@pytest.mark.fault
def test_impossible_targets_are_refused() -> None:
    """A target outside the setting's range is refused with it; so is a hip with no femur."""
    with pytest.raises(CaseRefusal, match=r"got 30°, need 50 to 75°"):
        plan_cam(cam_hip(), TABLE, target_alpha_deg=30.0)
    with pytest.raises(CaseRefusal, match="got nan"):
        plan_cam(cam_hip(), TABLE, target_alpha_deg=float("nan"))
    plan = planned(cam_hip())
    with pytest.raises(LayoutRefusal, match="no femur to cut"):
        resected_femur(dataclasses.replace(cam_hip(), femur_bone=None), plan)
