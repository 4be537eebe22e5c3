"""Alpha, offset and joint space of the truth against closed forms."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from rimwright.phantom import HipShape, HipTruth, random_shape
from rimwright.phantom.truth_joint import lunate_gaps_mm


@pytest.mark.oracle
@pytest.mark.parametrize("departure_mm", [0.3, 0.5, 1.0])
def test_alpha_at_the_cam(departure_mm: float) -> None:
    """At the bump's own hour: start less ramp times sqrt(-ln(1 - departure / height))."""
    shape = HipShape(cam_start_deg=80.0, cam_height_mm=2.6, cam_ramp_deg=11.0, cam_hour=1.5)
    truth = HipTruth(shape=shape)
    expected = 80.0 - 11.0 * np.sqrt(-np.log(1.0 - departure_mm / 2.6))
    at_cam = truth.alpha_deg(np.array([1.5]), departure_mm=departure_mm)[0]
    assert at_cam == pytest.approx(expected, abs=1e-9)
    assert truth.alpha_max_deg(departure_mm=departure_mm) == pytest.approx(expected, abs=1e-9)


@pytest.mark.oracle
def test_alpha_of_a_plain_neck_lies_where_the_neck_is_met() -> None:
    """Without a cam the contour at alpha is radius + departure from C and near the neck."""
    shape = HipShape(cam_start_deg=20.0, cam_base_deg=20.0)
    alpha = np.radians(HipTruth(shape=shape).alpha_deg(np.arange(12.0), departure_mm=1.5))
    assert np.ptp(alpha) < 1e-9
    reach = shape.head_radius_mm + 1.5
    along, across = reach * np.cos(alpha[0]), reach * np.sin(alpha[0])
    past = along - shape.neck_waist_mm
    neck = np.sqrt(shape.neck_radius_mm**2 + (0.12 * past) ** 2)
    # 1.5 mm beyond the sphere the 1 mm rounding has run out: the point is on the hyperboloid.
    assert across == pytest.approx(neck, abs=1e-9)


@pytest.mark.oracle
def test_neck_is_narrowest_at_its_waist() -> None:
    """Along the axis the contour's radius is least at the neck centre and equals its radius."""
    shape = random_shape(2)
    femur = HipTruth(shape=shape).femur_surface
    polar = np.radians(np.linspace(21.0, 40.0, 4000))
    distance = femur.distance_mm(polar, np.full_like(polar, np.pi))
    across, along = distance * np.sin(polar), distance * np.cos(polar)
    least = np.argmin(across)
    assert across[least] == pytest.approx(shape.neck_radius_mm, abs=1e-6)
    assert along[least] == pytest.approx(shape.neck_waist_mm, abs=0.02)  # step of the scan


@pytest.mark.oracle
def test_neck_axis_makes_the_stated_angles() -> None:
    """Neck-shaft angle and version measured back from the axes and the condyles."""
    for seed in range(12):
        truth = HipTruth(shape=random_shape(seed))
        axes = truth.femoral_axes
        assert axes.shaft_axis is not None
        shaft = -axes.shaft_axis
        angle = 180.0 - np.degrees(np.arccos(axes.neck_axis @ shaft))
        assert angle == pytest.approx(truth.shape.neck_shaft_angle_deg, abs=1e-9)
        if axes.condyle_medial_mm is None or axes.condyle_lateral_mm is None:
            continue
        line = axes.condyle_lateral_mm - axes.condyle_medial_mm
        line /= np.linalg.norm(line)
        flat = axes.neck_axis - (axes.neck_axis @ shaft) * shaft
        posterior = np.cross(line, shaft) * truth.shape.side.lateral_x_lps
        posterior *= np.sign(posterior[1])
        version = np.degrees(np.arctan2(flat @ posterior, flat @ line))
        assert version == pytest.approx(truth.shape.femoral_version_deg, abs=1e-9)


@pytest.mark.oracle
def test_joint_space_of_two_spheres() -> None:
    """Concentric: the gap everywhere; off centre: least by the offset, where it points."""
    round_head = HipShape(cam_start_deg=20.0, cam_base_deg=20.0, head_offset_mm=(0.0, 0.0, 0.0))
    truth = HipTruth(shape=round_head)
    by_hour = truth.joint_space_by_hour_mm(np.arange(0.0, 12.0, 0.5))
    is_seen = np.isfinite(by_hour)
    assert is_seen.sum() >= 18
    assert by_hour[is_seen] == pytest.approx(round_head.joint_gap_mm, abs=1e-9)
    pole = -truth.dial.surface.axis
    # Towards the lunate at 45 degrees from the pole, at 12.
    aim = np.cos(np.pi / 4) * pole + np.sin(np.pi / 4) * truth.dial.surface.twelve
    moved = HipTruth(shape=dataclasses.replace(round_head, head_offset_mm=tuple(0.8 * aim)))
    assert moved.joint_space_mm(moved.placement.directions(aim)) == pytest.approx(
        round_head.joint_gap_mm - 0.8, abs=1e-9
    )
    gaps, _ = lunate_gaps_mm(moved.dial, moved.femur_surface)
    assert gaps[0] == pytest.approx(round_head.joint_gap_mm - 0.8, abs=1e-3)
    side = np.cross(aim, [0.0, 0.0, 1.0])
    side /= np.linalg.norm(side)
    ray = np.cos(0.5) * aim + np.sin(0.5) * side
    reach = np.sqrt(moved.socket_radius_mm**2 - (0.8 * np.sin(0.5)) ** 2) - 0.8 * np.cos(0.5)
    got = moved.joint_space_mm(moved.placement.directions(ray))
    assert got == pytest.approx(reach - moved.head_radius_mm, abs=1e-9)


def test_no_lunate_no_joint_space() -> None:
    """Rays into the fossa and out of the socket meet no lunate: NaN."""
    truth = HipTruth(shape=HipShape())
    rays = np.stack([-truth.opening_axis, truth.opening_axis])
    assert np.isnan(truth.joint_space_mm(rays)).all()
