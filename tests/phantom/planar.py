"""A socket with a flat rim, whose angles have closed forms worked out apart from the program."""

from __future__ import annotations

import dataclasses

import numpy as np

from rimwright.phantom import HipShape


def planar_shape(**changes: object) -> HipShape:
    """A shape whose edge is a cone about the construction axis on one sphere: a plane circle."""
    flat = HipShape(
        rim_second_deg=(0.0, 0.0),
        rim_third_deg=(0.0, 0.0),
        psoas_dip_deg=0.0,
        rim_rounding_mm=1e-9,
        fossa_polar_deg=30.0,
        fossa_growth_deg=0.0,
        head_offset_mm=(0.0, 0.0, 0.0),
    )
    return dataclasses.replace(flat, **changes)  # type: ignore[arg-type]


def edge_angle_deg(polar_deg: float, *, along: float, across: float) -> float:
    """Angle from the first axis of a plane through the centre to the edge, towards the second.

    A direction cos(x) first + sin(x) second lies on the cone of half-angle `polar_deg` about the
    medial pole m when cos(x) (m·first) + sin(x) (m·second) = cos(polar): x = arccos(cos(polar) /
    |(m·first, m·second)|) + atan2(m·second, m·first). `along`, `across` are the two products.
    """
    size = np.hypot(along, across)
    return float(
        np.degrees(np.arccos(np.cos(np.radians(polar_deg)) / size) + np.arctan2(across, along))
    )


def medial_pole(shape: HipShape) -> np.ndarray:
    """Minus the construction axis: lateral, cranial, anterior."""
    lean, turn = np.radians([shape.opening_inclination_deg, shape.opening_version_deg])
    return -np.array([np.sin(lean) * np.cos(turn), -np.cos(lean), np.sin(lean) * np.sin(turn)])
