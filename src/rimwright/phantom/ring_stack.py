"""Closed bodies from a stack of rings between two poles, with triangle counts that follow size."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, Ints, Points, Vector


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ring:
    """
    One closed ring of a stack.

    Parameters
    ----------
    angles
        (n,) ascending in [0, 2 pi); the first is 0.
    points_mm
        (n, 3).
    """

    angles: Floats
    points_mm: Points


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BuiltBody:
    """
    A closed body in the frame it was built in, triangles outward.

    Parameters
    ----------
    points_mm
        (n, 3).
    triangles
        (m, 3).
    """

    points_mm: Points
    triangles: Ints


def stack_rings(first_pole: Vector, last_pole: Vector, *, rings: Sequence[Ring]) -> BuiltBody:
    """Join rings of any counts, pole to pole, into one closed outward body."""
    points = [np.asarray(first_pole, dtype=np.float64)[None]]
    triangles: list[Ints] = []
    start = 1
    for index, ring in enumerate(rings):
        n = len(ring.angles)
        here = start + np.arange(n)
        if index == 0:
            triangles.append(np.stack([np.zeros(n, int), here, np.roll(here, -1)], axis=1))
        else:
            before = rings[index - 1]
            triangles.append(_join(before.angles, ring.angles) + (start - len(before.angles)))
        points.append(ring.points_mm)
        start += n
    n = len(rings[-1].angles)
    here = start - n + np.arange(n)
    triangles.append(np.stack([np.full(n, start), np.roll(here, -1), here], axis=1))
    points.append(np.asarray(last_pole, dtype=np.float64)[None])
    return oriented_outward(np.concatenate(points), np.concatenate(triangles))


def oriented_outward(points_mm: Points, triangles: Ints) -> BuiltBody:
    """A closed consistent body, all triangles turned over where its volume came out negative."""
    corners = points_mm[triangles]
    signed = np.einsum("ij,ij->", corners[:, 0], np.cross(corners[:, 1], corners[:, 2]))
    return BuiltBody(points_mm=points_mm, triangles=triangles if signed > 0 else triangles[:, ::-1])


def _join(lower: Floats, upper: Floats) -> Ints:
    """Triangles between two rings; the lower's vertices come first, the upper's follow."""
    n, m = len(lower), len(upper)
    lower_middles = (lower + np.append(lower[1:], 2 * np.pi)) / 2
    upper_middles = (upper + np.append(upper[1:], 2 * np.pi)) / 2
    order = np.argsort(np.concatenate([lower_middles, upper_middles]), kind="stable")
    is_lower = order < n
    i: Ints = np.cumsum(is_lower) - is_lower
    j: Ints = np.cumsum(~is_lower) - ~is_lower
    low, up = i % n, n + j % m
    # A lower edge (i, i+1) meets upper vertex j; an upper edge (j, j+1) meets lower vertex i.
    first = np.where(is_lower, (i + 1) % n, low)
    second = np.where(is_lower, low, up)
    third = np.where(is_lower, up, n + (j + 1) % m)
    return np.stack([first, second, third], axis=1)
