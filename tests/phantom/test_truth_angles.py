"""Angles of the truth against closed forms of a plane circular rim."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from phantom.planar import edge_angle_deg, medial_pole, planar_shape
from rimwright.anatomy import MEASUREMENT_KEYS, PelvicReference, Side
from rimwright.phantom import HipShape, HipTruth, demo_shape, random_shape

CLOSE_DEG = 1e-6
"""Both sides are exact but for rounding and a rounding radius of 1e-9 mm."""
GRID = [(46.0, 8.0, 84.0), (54.0, 20.0, 87.0), (60.0, 30.0, 90.0)]


@pytest.mark.oracle
@pytest.mark.parametrize(("lean", "turn", "polar"), GRID)
def test_plane_rim_has_the_angles_of_its_cone(lean: float, turn: float, polar: float) -> None:
    """Centre-edge, sector, version and subtended angles follow from axis and half-angle alone."""
    shape = planar_shape(opening_inclination_deg=lean, opening_version_deg=turn, rim_mean_deg=polar)
    pole = medial_pole(shape)
    got = HipTruth(shape=shape).measurements()
    lcea = edge_angle_deg(polar, along=pole[1], across=pole[0])
    acea = edge_angle_deg(polar, along=pole[1], across=pole[2])
    front = edge_angle_deg(polar, along=-pole[0], across=pole[2])
    back = edge_angle_deg(polar, along=-pole[0], across=-pole[2])
    expected = {
        "lateral_centre_edge_angle": lcea,
        "anterior_centre_edge_angle": acea,
        "acetabular_version_central": turn,
        "acetabular_version_cranial": turn,
        "anterior_sector_angle": front,
        "posterior_sector_angle": back,
        "horizontal_sector_angle": front + back,
        "subtended_angle": polar,
    }
    for key, value in expected.items():
        assert got[key] == pytest.approx(value, abs=CLOSE_DEG), key


@pytest.mark.oracle
@pytest.mark.parametrize(("lean", "turn", "polar"), GRID)
def test_sourcil_of_a_round_fossa(lean: float, turn: float, polar: float) -> None:
    """The sourcil's ends are two cones cut by the coronal plane; its slope is that of a chord."""
    shape = planar_shape(
        opening_inclination_deg=lean,
        opening_version_deg=turn,
        rim_mean_deg=polar,
    )
    pole = medial_pole(shape)
    lateral = edge_angle_deg(polar, along=pole[1], across=pole[0])
    medial = edge_angle_deg(30.0, along=pole[1], across=pole[0])
    got = HipTruth(shape=shape).measurements()
    assert got["lateral_centre_edge_angle_sourcil"] == pytest.approx(lateral, abs=CLOSE_DEG)
    assert got["tonnis_angle"] == pytest.approx(-(lateral + medial) / 2, abs=CLOSE_DEG)


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("lcea", "percent"), [(20.0, 32.9), (25.0, 28.9), (30.0, 25.0), (35.0, 21.3), (40.0, 17.9)]
)
def test_extrusion_of_an_edge_on_the_head(lcea: float, percent: float) -> None:
    """Planning evidence, section 10 (geometry): 50 (1 - sin LCEA) with the edge on the head."""
    shape = planar_shape(joint_gap_mm=1e-9, opening_version_deg=0.0, rim_mean_deg=86.0)
    # Without version the coronal plane holds the axis, and the inclination is 86 - LCEA.
    shape = dataclasses.replace(shape, opening_inclination_deg=86.0 - lcea)
    got = HipTruth(shape=shape).measurements()
    assert got["lateral_centre_edge_angle"] == pytest.approx(lcea, abs=CLOSE_DEG)
    assert got["extrusion_index"] == pytest.approx(percent, abs=0.05)  # printed to 0.1


@pytest.mark.oracle
def test_image_axes_see_the_tilted_socket() -> None:
    """In the image's axes the angles are those of the axis turned forward by the tilt."""
    shape = planar_shape(tilt_deg=7.0)
    pole = medial_pole(shape)
    tilt = np.radians(7.0)
    turned = np.array(
        [
            pole[0],
            np.cos(tilt) * pole[1] - np.sin(tilt) * pole[2],
            np.sin(tilt) * pole[1] + np.cos(tilt) * pole[2],
        ]
    )
    truth = HipTruth(shape=shape)
    got = truth.measurements(reference=PelvicReference.IMAGE_AXES)
    expected = np.degrees(np.arctan2(-turned[2], -turned[0]))
    assert got["acetabular_version_central"] == pytest.approx(expected, abs=CLOSE_DEG)
    assert expected < 20.0 - 3.0  # forward tilt lowers version by 0.5 to 1 degree per degree
    level = truth.measurements(reference=PelvicReference.ANTERIOR_PELVIC_PLANE)
    assert level["acetabular_version_central"] == pytest.approx(20.0, abs=CLOSE_DEG)


@pytest.mark.oracle
def test_head_off_the_socket_centre_moves_the_edge() -> None:
    """About a head lower by 1 mm the same edge is seen 1 mm higher."""
    shape = planar_shape(head_offset_mm=(0.0, -1.0, 0.0))
    lcea = np.radians(HipTruth(shape=planar_shape()).angles().lateral_centre_edge_deg())
    radius = shape.socket_radius_mm
    expected = np.degrees(np.arctan2(radius * np.sin(lcea), radius * np.cos(lcea) + 1.0))
    got = HipTruth(shape=shape).angles().lateral_centre_edge_deg()
    assert got == pytest.approx(expected, abs=CLOSE_DEG)
    without = HipTruth(shape=shape).measurements(with_femur=False)
    assert without["lateral_centre_edge_angle"] == pytest.approx(np.degrees(lcea), abs=CLOSE_DEG)
    assert "extrusion_index" not in without


@pytest.mark.oracle
def test_teardrop_of_a_plane_rim_is_the_edge_of_the_notch() -> None:
    """With the dial upright the floor is lowest at the notch's edge, receded by the full dip."""
    shape = planar_shape(opening_version_deg=0.0, notch_turn_hours=0.0)
    angles = HipTruth(shape=shape).angles()
    reach = shape.socket_radius_mm + shape.fossa_depth_mm
    down = np.radians(shape.opening_inclination_deg + shape.rim_mean_deg - shape.notch_dip_deg)
    expected = reach * np.array([-np.sin(down), np.cos(down)])
    assert angles.teardrop()[:2] == pytest.approx(expected, abs=1e-6)
    step = angles.lateral_edge[:2] - expected
    assert angles.sharp_deg() == pytest.approx(np.degrees(np.arctan2(step[1], step[0])), abs=1e-6)


@pytest.mark.property
def test_truth_of_a_right_hip_equals_that_of_the_left() -> None:
    """Side mirrors points and changes no number, to the last bit."""
    for seed in (2, 3):
        left = HipTruth(shape=dataclasses.replace(random_shape(seed), side=Side.LEFT))
        right = HipTruth(shape=dataclasses.replace(random_shape(seed), side=Side.RIGHT))
        assert left.measurements() == right.measurements()
        assert np.array_equal(left.rim_dense_mm * [-1.0, 1.0, 1.0], right.rim_dense_mm)
        assert np.array_equal(left.rim.outward[5] * [-1.0, 1.0, 1.0], right.rim.outward[5])
        rays = left.placement.directions(np.eye(3))
        assert np.array_equal(
            left.joint_space_mm(rays), right.joint_space_mm(rays * [-1.0, 1.0, 1.0]), equal_nan=True
        )


def test_every_measurement_exists_for_a_whole_hip() -> None:
    """A hip with condyles has all keys; a cut femur has no version."""
    assert sorted(HipTruth(shape=demo_shape()).measurements()) == sorted(MEASUREMENT_KEYS)
    cut = HipTruth(shape=HipShape(shaft_length_mm=150.0)).measurements()
    assert set(MEASUREMENT_KEYS) - set(cut) == {"femoral_version"}


@pytest.mark.oracle
@pytest.mark.parametrize("seed", [0, 1, 5])
def test_versions_of_a_wavy_rim(seed: int) -> None:
    """Against the dense edge cut by the level in the image: 10 mm below the socket's top."""
    shape = random_shape(seed)
    truth = HipTruth(shape=shape)
    out = shape.side.lateral_x_lps
    tops = {
        "acetabular_version_cranial": truth.socket_centre_mm[2] + truth.socket_radius_mm - 10.0,
        "acetabular_version_central": truth.head_centre_mm[2],
    }
    got = truth.measurements(reference=PelvicReference.IMAGE_AXES)
    for key, level in tops.items():
        points = truth.rim_dense_mm - [0.0, 0.0, level]
        k = np.flatnonzero((points[:-1, 2] < 0) != (points[1:, 2] < 0))
        share = (points[k, 2] / (points[k, 2] - points[k + 1, 2]))[:, None]
        met = (1 - share) * points[k] + share * points[k + 1]
        front, back = met[np.argmin(met[:, 1])], met[np.argmax(met[:, 1])]
        medial, forward = -out * (front[0] - back[0]), -(front[1] - back[1])
        expected = np.degrees(np.arctan2(medial, forward))
        assert got[key] == pytest.approx(expected, abs=1e-4), key  # chords of 0.02 mm
