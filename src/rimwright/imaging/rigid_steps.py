"""4 × 4 matrices of scene graphs: translation, rotation, scale, and points through them."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rimwright.anatomy import Floats, Ints, Points


def translation(offset: Sequence[float] | Floats) -> Floats:
    """Matrix of a shift, (4, 4)."""
    matrix = np.eye(4)
    matrix[:3, 3] = offset
    return matrix


def scaling(factors: Sequence[float] | Floats) -> Floats:
    """Matrix of a scale along x, y and z, (4, 4)."""
    matrix = np.eye(4)
    matrix[[0, 1, 2], [0, 1, 2]] = factors
    return matrix


def rotation_about(axis: Sequence[float] | Floats, angle_rad: float) -> Floats:
    """Matrix of a turn about an axis through the origin, (4, 4); no axis, no turn."""
    direction = np.asarray(axis, dtype=np.float64)
    length = float(np.linalg.norm(direction))
    matrix = np.eye(4)
    if not length > 0:
        return matrix
    x, y, z = direction / length
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    matrix[:3, :3] += np.sin(angle_rad) * cross + (1 - np.cos(angle_rad)) * (cross @ cross)
    return matrix


def rotation_of_quaternion(quaternion: Sequence[float] | Floats) -> Floats:
    """Matrix of a quaternion x, y, z, w of any length above 0, (4, 4)."""
    x, y, z, w = np.asarray(quaternion, dtype=np.float64)
    angle_rad = 2 * float(np.arctan2(np.sqrt(x * x + y * y + z * z), w))
    return rotation_about((x, y, z), angle_rad)


def move_surface(matrix: Floats, vertices: Points, triangles: Ints) -> tuple[Points, Ints]:
    """
    Take a surface through a matrix.

    Parameters
    ----------
    matrix
        (4, 4), last row 0 0 0 1.
    vertices, triangles
        (n, 3) and (m, 3).

    Returns
    -------
    tuple[Points, Ints]
        Moved vertices, and the triangles, turned over where the matrix mirrors.
    """
    if np.array_equal(matrix, np.eye(4)):
        return vertices, triangles
    with np.errstate(over="ignore", invalid="ignore"):  # not finite is refused later, by name
        moved = vertices @ matrix[:3, :3].T + matrix[:3, 3]
        is_mirror = np.linalg.det(matrix[:3, :3]) < 0
    return moved, triangles[:, ::-1] if is_mirror else triangles
