"""The body of bone round the socket as triangles that lie on the true surfaces."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Floats
from rimwright.phantom.ring_stack import BuiltBody, Ring, stack_rings
from rimwright.phantom.socket_surface import NOTCH_DIP_MM, NOTCH_STEP_MM, SocketSurface

N_ROUNDING = 6
"""Straight steps across the rounding of the edge; even, so that the edge is a line of vertices."""
N_SLOPE = 3
"""Rings across the slope from lunate to fossa."""


def socket_columns(surface: SocketSurface, *, edge_mm: float) -> Floats:
    """Hour angles of the mesh's columns: even on the lunate, finer beside the horns."""
    half = surface.notch_half_width
    per_mm = 1.0 / surface.radius_mm
    step = NOTCH_STEP_MM * per_mm / 3
    beside = np.concatenate(
        [
            np.arange(3) * step,
            np.linspace(NOTCH_STEP_MM * per_mm, NOTCH_DIP_MM * per_mm, 7),
        ]
    )
    floor_from = np.pi - half + NOTCH_DIP_MM * per_mm
    floor_width = 2 * (np.pi - floor_from)
    n_floor = max(int(np.ceil(floor_width / (edge_mm * per_mm))), 2)
    floor = floor_from + floor_width * np.arange(1, n_floor) / n_floor
    n_side = int(np.ceil((np.pi - half) / (edge_mm * 0.95 * per_mm)))
    side = (np.pi - half) * np.arange(n_side) / n_side
    into = np.pi - half + beside
    return np.concatenate(
        [side, into, floor, (2 * np.pi - into)[::-1], (2 * np.pi - side[1:])[::-1]]
    )


def mesh_socket(surface: SocketSurface, *, edge_mm: float) -> BuiltBody:
    """Mesh the socket's body: fossa, lunate, rounded edge, outer wall, back to the medial pole.

    `edge_mm` is the length wanted of triangle edges on the lunate and at the rim.
    """
    columns = socket_columns(surface, edge_mm=edge_mm)
    rings = [
        *_fossa_rings(surface, columns, edge_mm),
        *_lunate_rings(surface, columns, edge_mm),
        *_rounding_rings(surface, columns),
        *_outer_rings(surface, columns, edge_mm),
    ]
    zero = np.zeros(1)
    first = surface.point(zero, zero, surface.joint_distance_mm(zero, zero))[0]
    last = surface.point(zero, zero, surface.outer_distance_mm(zero, zero))[0]
    return stack_rings(first, last, rings=rings)


def _fossa_rings(surface: SocketSurface, columns: Floats, edge_mm: float) -> list[Ring]:
    """From the medial pole to the foot of the slope; fewer columns towards the pole."""
    widest = float(np.max(surface.fossa_floor_polar(columns)))
    n_rings = int(np.ceil(widest * surface.radius_mm / edge_mm))
    rings = []
    for k in range(1, n_rings):
        fraction = k / n_rings
        wanted = 2 * np.pi * surface.radius_mm * np.sin(widest * fraction) / edge_mm
        angles = _thinned(columns, wanted)
        polar = surface.fossa_floor_polar(angles) * fraction
        rings.append(_joint_ring(surface, angles, polar))
    return rings


def _lunate_rings(surface: SocketSurface, columns: Floats, edge_mm: float) -> list[Ring]:
    """The slope, then the lunate up to where the rounding begins."""
    foot, edge = surface.fossa_floor_polar(columns), surface.fossa_polar(columns)
    tangent = surface.tangent_polar(columns)
    rings = [
        _joint_ring(surface, columns, foot + (edge - foot) * k / N_SLOPE) for k in range(N_SLOPE)
    ]
    width = float(np.max(tangent - edge))
    n = int(np.ceil(width * surface.radius_mm / edge_mm))
    rings += [_joint_ring(surface, columns, edge + (tangent - edge) * k / n) for k in range(n + 1)]
    return rings


def _rounding_rings(surface: SocketSurface, columns: Floats) -> list[Ring]:
    """Over the bony edge; the middle ring is the true edge."""
    rings = []
    for k in range(1, N_ROUNDING + 1):
        polar, distance = surface.rounding_polar(columns, k / N_ROUNDING)
        rings.append(Ring(angles=columns, points_mm=surface.point(polar, columns, distance)))
    return rings


def _outer_rings(surface: SocketSurface, columns: Floats, edge_mm: float) -> list[Ring]:
    """Outer wall and back: dense near the rim, coarser behind."""
    step = edge_mm / 1.2
    steps_deg = np.concatenate([np.full(14, 1.3), np.linspace(1.6, 3.5, 20)])
    behind = np.cumsum(steps_deg * step)
    behind = behind[behind < 80.0]
    start, _ = surface.rounding_polar(columns, 1.0)
    rings = []
    for back_deg in behind:
        fraction = back_deg / (behind[-1] + 3.0)
        # Near the rim the same angle for all hours, later a share of what is left.
        angles = columns
        if back_deg > 20.0:
            reach = 1.3 * surface.radius_mm
            wanted = 2 * np.pi * reach * np.sin(np.radians(85.0) * (1 - fraction)) / (1.7 * edge_mm)
            angles = _thinned(columns, wanted)
        begin = surface.rounding_polar(angles, 1.0)[0] if angles is not columns else start
        polar = begin * (1.0 - fraction)
        distance = surface.outer_distance_mm(polar, angles)
        rings.append(Ring(angles=angles, points_mm=surface.point(polar, angles, distance)))
    return rings


def _joint_ring(surface: SocketSurface, angles: Floats, polar: Floats) -> Ring:
    """A ring on the joint face."""
    distance = surface.joint_distance_mm(polar, angles)
    return Ring(angles=angles, points_mm=surface.point(polar, angles, distance))


def _thinned(columns: Floats, wanted: float) -> Floats:
    """All columns, or evenly spread ones where fewer do."""
    if wanted > 0.8 * len(columns):
        return columns
    n = max(int(np.ceil(wanted)), 8)
    return 2 * np.pi * np.arange(n) / n
