"""Triangles near socket, rim, head and neck lie on the true surfaces."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from scipy.spatial import cKDTree

from rimwright.anatomy import Floats, Side, TriangleMesh
from rimwright.phantom import HipShape, PhantomHip, make_hip, random_shape
from rimwright.phantom.femur_surface import FemurSurface
from rimwright.phantom.socket_surface import SocketSurface

ON_SURFACE_MM = 0.02
"""Chords of 1 mm on a sphere of 20 mm sag by 0.006 mm; the cam bends three times as fast."""
SHAPES = [HipShape(), *(random_shape(seed) for seed in range(6))]


@cache
def _hip(index: int) -> PhantomHip:
    return make_hip(SHAPES[index])


def _built(hip: PhantomHip, points: Floats) -> Floats:
    """Image points back in the built frame."""
    sign = 1.0 if hip.shape.side is Side.LEFT else -1.0
    placed = np.stack([sign * points[:, 0], points[:, 2], -points[:, 1]], axis=1)
    place = hip.truth.placement
    return (placed - place.shift_mm) @ place.turn


def _samples(mesh: TriangleMesh) -> Floats:
    """Centroid and middles of the edges of every triangle: where chords sag most."""
    corners = mesh.corners_mm()
    middles = (corners + np.roll(corners, 1, axis=1)) / 2
    return np.concatenate([corners.mean(axis=1), middles.reshape(-1, 3)])


def _facing(hip: PhantomHip) -> TriangleMesh:
    """Triangles of the hip bone that look at the socket centre from less than 1.3 radii."""
    bone = hip.hip_bone
    ray = bone.centroids_mm() - hip.truth.socket_centre_mm
    distance = np.linalg.norm(ray, axis=1)
    looks = (bone.normals() * ray).sum(axis=1) < -0.5 * distance
    keep = looks & (distance < 1.3 * hip.truth.socket_radius_mm)
    return TriangleMesh(vertices_mm=bone.vertices_mm, triangles=bone.triangles[keep])


def _polar(points: Floats, pole: Floats, twelve: Floats, three: Floats) -> tuple[Floats, ...]:
    distance = np.linalg.norm(points, axis=1)
    polar = np.arccos(np.clip(points @ pole / distance, -1, 1))
    return polar, np.arctan2(points @ three, points @ twelve), distance


@pytest.mark.parametrize("index", range(len(SHAPES)))
def test_socket_and_rim_lie_on_the_true_surfaces(index: int) -> None:
    """Lunate, fossa floor, edge and the wall outside it: within 0.02 mm, and all of them there."""
    hip = _hip(index)
    surface = SocketSurface(shape=hip.shape)
    points = _built(hip, _samples(_facing(hip)))
    polar, hour, distance = _polar(points, -surface.axis, surface.twelve, surface.three)
    tangent, fossa = surface.tangent_polar(hour), surface.fossa_polar(hour)
    is_bony = surface.past_horn_mm(hour) < -0.5
    is_lunate = is_bony & (polar > fossa + 0.02) & (polar < tangent - 0.01)
    assert is_lunate.sum() > 10000
    assert np.abs(distance[is_lunate] - surface.radius_mm).max() < ON_SURFACE_MM
    floor = (polar < surface.fossa_floor_polar(hour) - 0.03) & (
        distance < surface.radius_mm + hip.shape.fossa_depth_mm + 1.5
    )
    assert floor.sum() > 1000
    depth = distance[floor] - surface.joint_distance_mm(polar[floor], hour[floor])
    assert np.abs(depth).max() < ON_SURFACE_MM
    # All of the lunate is there, and once: its area is that of the horseshoe on the sphere.
    corners = _built(hip, hip.hip_bone.corners_mm().reshape(-1, 3)).reshape(-1, 3, 3)
    polar, hour, distance = _polar(
        corners.mean(axis=1), -surface.axis, surface.twelve, surface.three
    )
    on = (
        (surface.past_horn_mm(hour) < 0)
        & (polar > surface.fossa_polar(hour))
        & (polar < surface.tangent_polar(hour))
        & (np.abs(distance - surface.radius_mm) < 0.1)
    )
    area = (
        np.linalg.norm(
            np.cross(corners[on, 1] - corners[on, 0], corners[on, 2] - corners[on, 0]), axis=1
        ).sum()
        / 2
    )
    hours = np.linspace(-np.pi + surface.notch_half_width, np.pi - surface.notch_half_width, 20001)
    strip = np.cos(surface.fossa_polar(hours)) - np.cos(surface.tangent_polar(hours))
    expected = surface.radius_mm**2 * np.trapezoid(strip, hours)
    assert area == pytest.approx(expected, rel=2e-3)  # flat triangles lose 4e-4 of a sphere


@pytest.mark.parametrize("index", range(len(SHAPES)))
def test_edge_and_wall_are_bare(index: int) -> None:
    """The edge is a line of vertices, and 8 mm of wall outside it is the socket's own."""
    hip = _hip(index)
    surface = SocketSurface(shape=hip.shape)
    vertices = _built(hip, hip.hip_bone.vertices_mm)
    polar, hour, distance = _polar(vertices, -surface.axis, surface.twelve, surface.three)
    low, high = np.pi - surface.notch_half_width, np.pi + surface.notch_half_width
    is_bony = ~((hour % (2 * np.pi) > low) & (hour % (2 * np.pi) < high))
    edge_polar, edge_distance = surface.rounding_polar(hour, 0.5)
    at_edge = (np.abs(polar - edge_polar) < 1e-9) & (np.abs(distance - edge_distance) < 1e-9)
    on_edge = np.sort(hour[at_edge & is_bony])
    assert np.diff(on_edge).max() * surface.radius_mm < 1.2
    # Everything within 8 mm of the bony edge lies on joint face, rounding or wall.
    dense = surface.edge_points(np.linspace(-low + 0.02, low - 0.02, 1500))
    points = _built(hip, _samples(hip.hip_bone))
    points = points[cKDTree(dense).query(points)[0] < 8.0]
    polar, hour, distance = _polar(points, -surface.axis, surface.twelve, surface.three)
    past_notch = surface.past_horn_mm(hour) > -0.5
    end, _ = surface.rounding_polar(hour, 1.0)
    tangent = surface.tangent_polar(hour)
    outer = np.abs(distance - surface.outer_distance_mm(np.minimum(polar, end), hour))
    inner = np.abs(distance - surface.joint_distance_mm(np.minimum(polar, tangent), hour))
    behind = polar < tangent - 0.01
    miss = np.where(behind, np.minimum(outer, inner), 0.0)[~past_notch]
    polar, hour = polar[~past_notch], hour[~past_notch]
    slope = np.abs(polar - surface.fossa_polar(hour)) < 0.12
    assert miss[~slope].max() < 0.05  # the wall bends into the body over a few mm


@pytest.mark.parametrize("index", range(len(SHAPES)))
def test_head_cam_and_neck_lie_on_the_true_surface(index: int) -> None:
    """Every triangle within the neck's waist lies on the contour function."""
    hip = _hip(index)
    surface = FemurSurface(shape=hip.shape)
    points = _built(hip, _samples(hip.femur)) - surface.head_centre_mm
    points = points[points @ surface.neck_axis < hip.shape.neck_waist_mm + 3.0]
    reach = np.linalg.norm(points, axis=1)
    points = points[reach < 1.6 * hip.shape.head_radius_mm]
    polar, hour, distance = _polar(points, surface.neck_axis, surface.twelve, surface.three)
    miss = np.abs(distance - surface.distance_mm(polar, hour))
    # On the neck the contour runs slanted to the ray: measure across it.
    across = miss * np.minimum(1.0, np.sin(polar) * 1.05)
    assert len(points) > 8000
    assert across.max() < ON_SURFACE_MM


def test_landmarks_are_the_foremost_points() -> None:
    """Seen along the anterior pelvic plane's normal no bone lies before ASIS and tubercle."""
    for index, shape in enumerate(SHAPES):
        hip = _hip(index)
        k = shape.scale
        points = _built(hip, hip.hip_bone.vertices_mm)
        marks = _built(
            hip, np.stack([hip.truth.landmarks_mm[n] for n in ("asis", "pubic_tubercle")])
        )
        assert marks[0, 2] == pytest.approx(marks[1, 2], abs=1e-9)
        upper = points[points[:, 1] > 30.0 * k]
        lower = points[points[:, 1] < 10.0 * k]
        assert upper[np.argmax(upper[:, 2])] == pytest.approx(marks[0], abs=1e-9)
        assert lower[np.argmax(lower[:, 2])] == pytest.approx(marks[1], abs=1e-9)
        # The pubis crosses no midline.
        assert points[:, 0].min() > -88.0 * k


def test_condyles_and_trochanter_are_extreme_points() -> None:
    """Backs of the condyles and tip of the trochanter are vertices no bone lies beyond."""
    for index, shape in enumerate(SHAPES):
        hip = _hip(index)
        surface = FemurSurface(shape=shape)
        points = (_built(hip, hip.femur.vertices_mm) - surface.head_centre_mm) @ (
            surface.femoral_axes.T
        )
        axes = hip.truth.femoral_axes

        def own(mark: Floats | None, hip: PhantomHip = hip, s: FemurSurface = surface) -> Floats:
            assert mark is not None
            return (_built(hip, mark[None])[0] - s.head_centre_mm) @ s.femoral_axes.T

        tip = own(axes.greater_trochanter_mm)
        beside = points[points[:, 0] > tip[0] - 6.0]
        assert beside[:, 1].max() == pytest.approx(tip[1], abs=1e-9)
        if shape.shaft_length_mm is not None:
            assert axes.condyle_medial_mm is None
            assert points[:, 1].min() == pytest.approx(-shape.shaft_length_mm, abs=1e-9)
            continue
        medial, lateral = own(axes.condyle_medial_mm), own(axes.condyle_lateral_mm)
        middle = (medial[0] + lateral[0]) / 2
        low = points[points[:, 1] < medial[1] + 40.0]
        for mark, part in ((medial, low[low[:, 0] < middle]), (lateral, low[low[:, 0] > middle])):
            assert part[np.argmin(part[:, 2])] == pytest.approx(mark, abs=1e-9)
