"""The femur as triangles: head and neck on their true surface, the rest about true axes."""

from __future__ import annotations

from typing import Any

import numpy as np

from rimwright.anatomy import Vector
from rimwright.phantom.femur_surface import FemurSurface
from rimwright.phantom.ring_stack import BuiltBody, Ring, stack_rings
from rimwright.phantom.solids import Ball, body_of, hull_of_balls, solid_of, united

FINE_ALONG, FINE_ROUND = 0.46, 0.6
"""Length of edges over bump and junction against that elsewhere: along and round the neck axis."""
JUNCTION_FROM = np.radians(32.0)
"""Nearer to the neck axis than this the contour is plain neck, radians."""
PART_EDGES = 4.0
"""Longest edge wanted on the rounded parts against that on the head."""
NECK_END_MM = 12.0
"""The exactly meshed neck ends this far before the shaft axis, mm at scale 1."""
SHAFT_RADIUS_MM = 13.5
CONDYLE_RADIUS_MM = 20.0
CONDYLE_LATERAL_MM = 25.0
CONDYLE_BACK_MM = 14.0
LENGTH_MM = 415.0
"""Head centre to the lowest point of the condyles along the shaft, mm at scale 1."""
TROCHANTER_RADIUS_MM = 8.0


def greater_trochanter_tip(surface: FemurSurface) -> Vector:
    """Most proximal point of the greater trochanter along the shaft, built frame, (3,) mm."""
    k = surface.shape.scale
    return _trochanter_centre(surface) + TROCHANTER_RADIUS_MM * k * surface.proximal


def condyle_backs(surface: FemurSurface) -> tuple[Vector, Vector]:
    """Most posterior points of the medial and the lateral condyle, built frame, (3,) mm each."""
    back = -CONDYLE_RADIUS_MM * surface.shape.scale * surface.femoral_axes[2]
    return _condyle_centre(surface, -1.0) + back, _condyle_centre(surface, 1.0) + back


def build_femur(surface: FemurSurface, *, edge_mm: float) -> BuiltBody:
    """Unite head and neck with trochanters, shaft and (unless cut) condyles."""
    solids = [solid_of(_head_and_neck(surface, edge_mm)), solid_of(_shaft(surface))]
    parts = [_trochanters(surface)]
    if surface.shape.shaft_length_mm is None:
        parts.append(_condyles(surface))
    solids += [part.refine_to_length(PART_EDGES * edge_mm) for part in parts]
    return body_of(united(solids))


def _head_and_neck(surface: FemurSurface, edge_mm: float) -> BuiltBody:
    """Rings from the far pole of the head to a flat end inside the trochanteric bone."""
    s = surface.shape
    end_mm = s.neck_length_mm - NECK_END_MM * s.scale
    last = float(np.arctan2(surface.neck_radius_mm(np.array(end_mm)), end_mm))
    step = edge_mm / s.head_radius_mm
    # The bump bends fastest where it leaves the sphere: finer there keeps chords within 0.02.
    fine_to = np.radians(max(s.cam_start_deg, s.cam_base_deg)) + step
    polar = [np.pi - step]
    while polar[-1] > last:
        here = polar[-1]
        distance = float(surface.distance_mm(np.array(here), np.zeros(1))[0])
        slant = min(step, edge_mm * np.sin(here) / distance)
        polar.append(here - (FINE_ALONG * slant if JUNCTION_FROM < here < fine_to else slant))
    if polar[-2] - last > 0.3 * (polar[-2] - polar[-1]):
        polar[-1] = last
    else:
        polar[-2:] = [last]
    rings = []
    for value in polar:
        reach = s.head_radius_mm * np.sin(value)
        if value < 1.0:
            reach = 1.1 * s.neck_radius_mm
        wanted = edge_mm * (FINE_ROUND if JUNCTION_FROM < value < fine_to else 1.0)
        n = max(int(np.ceil(2 * np.pi * reach / wanted)), 6)
        angles = 2 * np.pi * np.arange(n) / n
        places = np.full(n, value)
        distances = surface.distance_mm(places, angles)
        rings.append(Ring(angles=angles, points_mm=surface.point(places, angles, distances)))
    first = surface.head_centre_mm - s.head_radius_mm * surface.neck_axis
    return stack_rings(first, surface.head_centre_mm + end_mm * surface.neck_axis, rings=rings)


def _shaft(surface: FemurSurface) -> BuiltBody:
    """Body of revolution about the shaft axis, from above the neck's foot to its lower end."""
    s, k = surface.shape, surface.shape.scale
    lateral, proximal, anterior = surface.femoral_axes
    foot = surface.shaft_point_mm
    drop = float((surface.head_centre_mm - foot) @ proximal)
    length = s.shaft_length_mm if s.shaft_length_mm is not None else (LENGTH_MM - 25.0) * k
    low = drop - length
    heights = np.concatenate([[10.0, 8.0, 4.0, 0.0], np.arange(-5.0, low / k, -5.0)]) * k
    heights = np.append(heights[heights > low + 2.0 * k], low)
    wide = np.exp(-(((heights - 10.0 * k) / (32.0 * k)) ** 2))
    radius = k * (SHAFT_RADIUS_MM + 3.0 * wide)
    radius = np.where(heights > 9.0 * k, 0.55 * radius, radius)
    if s.shaft_length_mm is None:
        radius = radius + 12.0 * k * np.exp(-(((heights - low) / (45.0 * k)) ** 2))
    angles = 2 * np.pi * np.arange(28) / 28
    around = np.cos(angles)[:, None] * lateral + np.sin(angles)[:, None] * anterior
    rings = [
        Ring(angles=angles, points_mm=foot + h * proximal + r * around)
        for h, r in zip(heights, radius, strict=True)
    ]
    return stack_rings(foot + (heights[0] + 0.5 * k) * proximal, foot + low * proximal, rings=rings)


def _trochanter_centre(surface: FemurSurface) -> Vector:
    """Ball centre at the tip of the greater trochanter, as high as the head centre."""
    k = surface.shape.scale
    lateral, proximal, anterior = surface.femoral_axes
    foot = surface.shaft_point_mm
    height = float((surface.head_centre_mm - foot) @ proximal) - TROCHANTER_RADIUS_MM * k
    return foot + 9.0 * k * lateral + height * proximal - 8.0 * k * anterior


def _trochanters(surface: FemurSurface) -> Any:
    """Greater and lesser trochanter and the bone between neck and shaft."""
    k = surface.shape.scale
    foot, axes = surface.shaft_point_mm, surface.femoral_axes

    def ball(lateral: float, proximal: float, anterior: float, radius: float) -> Ball:
        return foot + k * (np.array([lateral, proximal, anterior]) @ axes), k * radius

    end_mm = surface.shape.neck_length_mm - (NECK_END_MM + 1.0) * k
    angle = 2 * np.pi * np.arange(40)[:, None] / 40
    rim = np.cos(angle) * surface.twelve + np.sin(angle) * surface.three
    # A little inside the neck, so that the neck runs into the trochanteric bone without a step.
    disc = (
        surface.head_centre_mm
        + end_mm * surface.neck_axis
        + (float(surface.neck_radius_mm(np.array(end_mm))) - 0.3) * rim
    )
    tip = (_trochanter_centre(surface), TROCHANTER_RADIUS_MM * k)
    return united(
        [
            hull_of_balls(
                ball(0, 0, 0, 15.0),
                ball(6, 8, -2, 13.0),
                ball(0, -32, 0, 13.0),
                axes=axes,
                points_mm=disc,
            ),
            hull_of_balls(ball(6, 8, -2, 13.0), tip, axes=axes),
            hull_of_balls(ball(-2, -30, -2, 12.0), ball(-12, -34, -11, 6.0), axes=axes),
        ]
    )


def _condyle_centre(surface: FemurSurface, side: float) -> Vector:
    """Ball centre at the back of a condyle; side −1 medial, +1 lateral."""
    k = surface.shape.scale
    lateral, proximal, anterior = surface.femoral_axes
    drop = float((surface.head_centre_mm - surface.shaft_point_mm) @ proximal)
    low = drop - (LENGTH_MM - CONDYLE_RADIUS_MM) * k
    return (
        surface.shaft_point_mm
        + low * proximal
        + side * CONDYLE_LATERAL_MM * k * lateral
        - CONDYLE_BACK_MM * k * anterior
    )


def _condyles(surface: FemurSurface) -> Any:
    """Two condyles with balls at the back, joined in front to the end of the shaft."""
    k, axes = surface.shape.scale, surface.femoral_axes
    parts = []
    for side in (-1.0, 1.0):
        back = _condyle_centre(surface, side)
        front = back + k * (np.array([-2.0 * side, 6.0, 28.0]) @ axes)
        upper = back + k * (np.array([-8.0 * side, 32.0, 16.0]) @ axes)
        parts.append(
            hull_of_balls(
                (back, CONDYLE_RADIUS_MM * k), (front, 16.0 * k), (upper, 16.0 * k), axes=axes
            )
        )
    return united(parts)
