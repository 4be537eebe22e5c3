"""Fans of drill directions: a grid over a cap about the middle of the bone, the radial plane."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Floats


def cap_grid(*, step_deg: float, half_angle_deg: float) -> Floats:
    """
    Directions over a cap about the first axis, as rings of equal spacing.

    Parameters
    ----------
    step_deg
        Spacing of the rings and along them, deg.
    half_angle_deg
        Half-angle of the cap, deg.

    Returns
    -------
    ndarray
        (k, 3) unit directions in a local frame; symmetrical under a change of sign of the third
        axis, so that a mirrored hip is asked mirrored questions.
    """
    rows = [np.array([[1.0, 0.0, 0.0]])]
    for ring in range(1, int(half_angle_deg / step_deg + 1e-9) + 1):
        polar = np.radians(ring * step_deg)
        n = max(4, 2 * round(np.pi * np.sin(polar) / np.radians(step_deg)))
        turn = np.arange(n) * (2 * np.pi / n)
        rows.append(
            np.column_stack(
                [
                    np.full(n, np.cos(polar)),
                    np.sin(polar) * np.cos(turn),
                    np.sin(polar) * np.sin(turn),
                ]
            )
        )
    return np.vstack(rows)


def cap_grid_of_size(n_directions: int, *, half_angle_deg: float) -> Floats:
    """The cap grid nearest to a number of directions; (k, 3), k within one ring's worth."""
    area = 2 * np.pi * (1 - np.cos(np.radians(half_angle_deg)))
    step = float(np.degrees(np.sqrt(area / n_directions)))
    steps = step * np.linspace(0.9, 1.1, 41)
    grids = [cap_grid(step_deg=s, half_angle_deg=half_angle_deg) for s in steps]
    return min(grids, key=lambda grid: abs(len(grid) - n_directions))


def plane_fan(*, step_deg: float, half_angle_deg: float) -> Floats:
    """Directions in the plane of the first two axes, from −half-angle to +half-angle, (k, 3)."""
    n = round(half_angle_deg / step_deg)
    angle = np.radians(np.arange(-n, n + 1) * step_deg)
    return np.column_stack([np.cos(angle), np.sin(angle), np.zeros(len(angle))])


def turned(local: Floats, axes: Floats) -> Floats:
    """Local directions (k, 3) in each of n frames, (n, k, 3); axes (n, 3, 3), rows the frame."""
    return np.matmul(local[None], axes)


def as_fans(directions: Floats) -> np.ndarray:
    """(n, k, 3) directions in the layout of the kernels: (n, 3, k), single precision."""
    return np.ascontiguousarray(np.transpose(directions, (0, 2, 1)), dtype=np.float32)
