"""Opening axis, hours, notch and edge of the truth."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from phantom.planar import medial_pole, planar_shape
from rimwright.phantom import HipShape, HipTruth, random_shape
from rimwright.phantom.socket_surface import SocketSurface


@pytest.mark.oracle
def test_dial_of_a_plane_rim() -> None:
    """The axis is the cone's own, 6 is the middle of the notch, and the ends are even about it."""
    shape = planar_shape(notch_width_hours=2.4)
    truth = HipTruth(shape=shape)
    assert truth.dial.opening_axis == pytest.approx(-medial_pole(shape), abs=1e-9)
    assert truth.notch_hours == pytest.approx((4.8, 7.2), abs=1e-9)
    reach = shape.socket_radius_mm * np.sin(np.radians(shape.rim_mean_deg))
    arc = reach * np.radians(360.0 - 72.0) + 2 * reach * np.sin(np.radians(36.0))
    assert truth.rim_length_mm == pytest.approx(arc, abs=1e-4)  # 7200 chords


def test_three_is_anterior_and_twelve_cranial() -> None:
    """On both sides 3 o'clock looks forward (-y) and 12 up (+z)."""
    for seed in range(4):
        truth = HipTruth(shape=random_shape(seed))
        assert truth.three[1] < -0.8
        assert truth.twelve[2] > 0.6
        assert truth.opening_axis[0] * truth.shape.side.lateral_x_lps > 0.4


@pytest.mark.property
def test_edge_at_an_hour_stands_at_that_hour() -> None:
    """There and back: hour to edge to hour; the notch is NaN and only the notch."""
    truth = HipTruth(shape=random_shape(1))
    hours = np.arange(0.0, 12.0, 0.05)
    points = truth.rim_points_mm(hours)
    is_bone = np.isfinite(points[:, 0])
    start, end = truth.notch_hours
    assert np.array_equal(is_bone, ~((hours > start) & (hours < end)))
    relative = points[is_bone] - truth.socket_centre_mm
    turned = np.degrees(np.arctan2(relative @ truth.three, relative @ truth.twelve)) / 30 % 12
    gap = np.abs(turned - hours[is_bone])
    assert np.minimum(gap, 12 - gap).max() < 1e-9
    assert truth.rim.points_mm[30] == pytest.approx(points[60], abs=1e-9)


@pytest.mark.property
def test_directions_at_the_edge_are_right_angled_units() -> None:
    """Over the edge and into the bone are units at right angles; into the bone leads medially."""
    rim = HipTruth(shape=random_shape(4)).rim
    bone = rim.is_bone
    over, into = rim.outward[bone], rim.bone_inward[bone]
    assert np.abs(np.linalg.norm(over, axis=1) - 1).max() < 1e-12
    assert np.abs((over * into).sum(axis=1)).max() < 1e-12
    assert (into @ rim.axis).max() < -0.3
    assert ((rim.points_mm[bone] - rim.centre_mm) * over).sum(axis=1).min() > 0


def test_a_plane_circle_misses_a_real_rim_by_more_than_two_millimetres() -> None:
    """The rim is not planar: its best plane and circle leave it by over 2 mm."""
    shape = dataclasses.replace(HipShape(), rim_second_deg=(3.0, -3.0), psoas_dip_deg=6.0)
    points = HipTruth(shape=shape).rim_dense_mm
    centre = points.mean(axis=0)
    axes = np.linalg.svd(points - centre, full_matrices=False)[2]
    flat = (points - centre) @ axes.T
    # Circle in the best plane, algebraic least squares.
    design = np.column_stack([2 * flat[:, :2], np.ones(len(flat))])
    solved = np.linalg.lstsq(design, (flat[:, :2] ** 2).sum(axis=1), rcond=None)[0]
    radius = np.sqrt(solved[2] + solved[:2] @ solved[:2])
    miss = np.hypot(np.linalg.norm(flat[:, :2] - solved[:2], axis=1) - radius, flat[:, 2])
    assert miss.max() > 2.0


@pytest.mark.oracle
def test_axis_is_that_of_points_even_by_arc() -> None:
    """On a rim that is not flat: the plane through points set evenly along the curve."""
    truth = HipTruth(shape=random_shape(5))
    dense = truth.rim_dense_mm
    way = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(dense, axis=0), axis=1))])
    even = np.linspace(0.0, way[-1], 5000)
    points = np.stack([np.interp(even, way, dense[:, k]) for k in range(3)], axis=1)
    normal = np.linalg.svd(points - points.mean(axis=0), full_matrices=False)[2][2]
    # 5000 points leave half a step at either end: a thousandth of a degree.
    assert np.degrees(np.arccos(abs(normal @ truth.opening_axis))) < 2e-3


def test_edge_is_the_middle_of_the_rounding_and_keeps_its_polar_angle() -> None:
    """The edge stands at the stated polar angle, and both faces turn from it by the same angle."""
    surface = HipTruth(shape=random_shape(5)).dial.surface
    hours = np.linspace(-2.0, 2.0, 9)
    edge = surface.edge_points(hours)
    polar = np.arccos(-(edge @ surface.axis) / np.linalg.norm(edge, axis=1))
    assert polar == pytest.approx(surface.edge_polar(hours), abs=1e-12)
    normal = surface.edge_normal(hours)
    step = 1e-6
    before = _chord(surface, hours, 0.0, step)
    after = _chord(surface, hours, 1.0 - step, 1.0)
    # Along the first tangent the normal falls by as much as it rises against the last.
    assert (before * normal).sum(axis=1) == pytest.approx(-(after * normal).sum(axis=1), abs=1e-5)
    assert (before * normal).sum(axis=1).min() > 0.5


def _chord(surface: SocketSurface, hours: np.ndarray, start: float, end: float) -> np.ndarray:
    """Unit step over the rounding between two shares of it."""
    ends = [
        surface.point(p, hours, d)
        for p, d in (surface.rounding_polar(hours, start), surface.rounding_polar(hours, end))
    ]
    step = ends[1] - ends[0]
    return step / np.linalg.norm(step, axis=1, keepdims=True)
