"""Rounded parts (hulls of balls) and their union with exactly meshed bodies."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache
from typing import Any

import manifold3d
import numpy as np
from numpy.typing import ArrayLike

from rimwright.anatomy import Floats, Points
from rimwright.phantom.ring_stack import BuiltBody

Ball = tuple[Sequence[float] | Floats, float]
"""Centre (3,) mm and radius mm."""


@cache
def unit_ball(n_rings: int) -> Points:
    """Points of a unit sphere with true poles on both ends of every axis, (n, 3)."""
    polar = np.pi * np.arange(1, 2 * n_rings) / (2 * n_rings)
    angle = 2 * np.pi * np.arange(4 * n_rings) / (4 * n_rings)
    sine, cosine = np.sin(polar)[:, None], np.cos(polar)[:, None]
    ring = np.stack(
        [
            sine * np.cos(angle),
            sine * np.sin(angle),
            np.broadcast_to(cosine, (len(polar), len(angle))),
        ],
        axis=-1,
    )
    points = np.concatenate([ring.reshape(-1, 3), [[0, 0, 1.0], [0, 0, -1.0]]])
    points[np.abs(points) < 1e-12] = 0.0
    return points


def hull_of_balls(
    *balls: Ball,
    axes: ArrayLike | None = None,
    points_mm: Points | None = None,
    n_rings: int = 5,
) -> Any:
    """
    Convex hull of balls.

    Parameters
    ----------
    balls
        Centre and radius of each.
    axes
        Rows: directions in which the balls have exact extreme points; None = the frame's own.
    points_mm
        (n, 3) more points the hull holds.
    n_rings
        Fineness of the balls.
    """
    unit = unit_ball(n_rings)
    if axes is not None:
        unit = unit @ np.asarray(axes)
    parts = [np.asarray(c, dtype=np.float64) + r * unit for c, r in balls]
    points = np.concatenate(parts if points_mm is None else [*parts, points_mm])
    return manifold3d.Manifold.hull_points(points)


def solid_of(body: BuiltBody) -> Any:
    """A built body as a solid for union and difference."""
    solid = manifold3d.Manifold(
        manifold3d.Mesh64(
            vert_properties=np.ascontiguousarray(body.points_mm),
            tri_verts=np.ascontiguousarray(body.triangles.astype(np.uint64)),
        )
    )
    if solid.is_empty() or solid.status() != manifold3d.Error.NoError:
        raise AssertionError(f"built body is not a closed solid: {solid.status()}")
    return solid


def united(solids: Sequence[Any]) -> Any:
    """Union of solids."""
    return manifold3d.Manifold.batch_boolean(list(solids), manifold3d.OpType.Add)


def body_of(solid: Any) -> BuiltBody:
    """The largest piece of a solid as a built body."""
    pieces = solid.decompose()
    if len(pieces) > 1:
        solid = max(pieces, key=lambda piece: piece.volume())
    mesh = solid.to_mesh64()
    return BuiltBody(
        points_mm=np.asarray(mesh.vert_properties, dtype=np.float64)[:, :3],
        triangles=np.asarray(mesh.tri_verts).astype(np.int64),
    )
