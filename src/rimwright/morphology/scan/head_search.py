"""The femoral heads of a scan: edges of bone vote for the ball they belong to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from scipy.ndimage import gaussian_filter, maximum_filter

from rimwright.anatomy import Points, Vector
from rimwright.morphology.scan.bone_edges import BoneEdges
from rimwright.morphology.scan.oriented import OrientedGrid

LEAST_RADIUS_MM, MOST_RADIUS_MM = 15.0, 31.0
"""Distances from the middle at which edges of a head and its socket lie, mm."""
VOTE_BLUR_MM = 3.0
"""SD that votes are spread with, mm: normals at this coarseness are true to some 7 degrees."""
PEAK_APART_MM = 10.0
N_CANDIDATES = 8
N_STEPS = 12
NEAR_MM = 6.0
"""Normals that miss the middle by more say nothing of this ball, mm (shrinks to a half)."""
LEAST_SUPPORT = 0.08
"""Least support of a head: edges of head and of socket as a share of the whole sphere."""
REACH_MM = 36.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Ball:
    """
    A ball of bone in a hollow of bone: what a hip looks like from afar.

    Parameters
    ----------
    centre_mm
        To about 1.5 mm, image frame.
    radius_mm
        Rough radius of the ball.
    convex, concave
        Share of the whole sphere in whose directions an edge of the ball, or of a hollow round
        it, was seen.
    """

    centre_mm: Vector
    radius_mm: float
    convex: float
    concave: float

    @property
    def support(self) -> float:
        """Geometric mean of both shares: a ball without a hollow has none."""
        return float(np.sqrt(self.convex * self.concave))


@njit(cache=True, nogil=True)
def _cast_votes(index, along, r0, r1, dr, convex, concave):  # type: ignore[no-untyped-def]
    """Votes of each edge on both sides of it."""
    nz, ny, nx = convex.shape
    for e in range(len(index)):
        r = r0
        while r <= r1:
            z = round(index[e, 0] + r * along[e, 0])
            y = round(index[e, 1] + r * along[e, 1])
            x = round(index[e, 2] + r * along[e, 2])
            if 0 <= z < nz and 0 <= y < ny and 0 <= x < nx:
                convex[z, y, x] += 1.0
            z = round(index[e, 0] - r * along[e, 0])
            y = round(index[e, 1] - r * along[e, 1])
            x = round(index[e, 2] - r * along[e, 2])
            if 0 <= z < nz and 0 <= y < ny and 0 <= x < nx:
                concave[z, y, x] += 1.0
            r += dr


def _candidates(coarse: OrientedGrid, edges: BoneEdges) -> Points:
    """Middles that many edges face, from inside and from outside, the most voted first."""
    convex = np.zeros(coarse.values.shape, np.float32)
    concave = np.zeros_like(convex)
    _cast_votes(
        coarse.to_index(edges.points_mm),
        edges.inward @ coarse.to_index_matrix.T,
        LEAST_RADIUS_MM,
        MOST_RADIUS_MM,
        0.5 * float(coarse.spacing_mm.min()),
        convex,
        concave,
    )
    blur = VOTE_BLUR_MM / coarse.spacing_mm
    votes = np.sqrt(
        np.maximum(gaussian_filter(convex, blur, mode="constant", truncate=3.0), 0)
        * np.maximum(gaussian_filter(concave, blur, mode="constant", truncate=3.0), 0)
    )
    around = 2 * np.maximum(1, np.round(PEAK_APART_MM / coarse.spacing_mm)).astype(int) + 1
    peaks = np.argwhere((votes == maximum_filter(votes, size=tuple(around))) & (votes > 0))
    heights = votes[tuple(peaks.T)]
    best = np.argsort(-heights, kind="stable")[:N_CANDIDATES]
    return coarse.to_mm(peaks[best])


def _settle(edges: BoneEdges, centre_mm: Vector) -> Vector:
    """Move a middle to the point that the normals of the edges about it meet in."""
    centre = np.array(centre_mm)
    away = edges.points_mm - centre
    near = np.einsum("ij,ij->i", away, away) < (MOST_RADIUS_MM + 12.0) ** 2
    points, inward = edges.points_mm[near], edges.inward[near]
    for step in range(N_STEPS):
        away = points - centre
        distance = np.linalg.norm(away, axis=1)
        along = np.einsum("ij,ij->i", away, inward)
        miss2 = np.maximum(distance**2 - along**2, 0.0)
        width = NEAR_MM * (1.0 - 0.5 * step / N_STEPS)
        # a Welsch weight, and one for each direction alike: near edges are not thicker sown
        weight = np.exp(-0.5 * miss2 / width**2) / np.maximum(distance, 1.0) ** 2
        weight[(distance < LEAST_RADIUS_MM) | (distance > MOST_RADIUS_MM)] = 0.0
        weight[np.abs(along) < 0.8 * distance] = 0.0
        if weight.sum() <= 0:
            break
        left = np.eye(3) * weight.sum() - np.einsum("i,ij,ik->jk", weight, inward, inward)
        flat = points - np.einsum("ij,ij->i", points, inward)[:, None] * inward
        right = weight @ flat
        moved = np.linalg.lstsq(left, right, rcond=1e-6)[0]
        if np.linalg.norm(moved - centre) < 0.02:
            centre = moved
            break
        centre = moved
    return centre


def _described(coarse: OrientedGrid, edges: BoneEdges, centre_mm: Vector) -> Ball:
    """Radius and support of a ball at a middle."""
    away = edges.points_mm - centre_mm
    distance = np.linalg.norm(away, axis=1)
    near = (distance > LEAST_RADIUS_MM) & (distance < REACH_MM)
    away, distance, inward = away[near], distance[near], edges.inward[near]
    cosine = -np.einsum("ij,ij->i", away, inward) / distance
    area = float(np.prod(coarse.spacing_mm) ** (2.0 / 3.0))
    share = area / (4.0 * np.pi * distance**2)
    # the ball's own edges: the radius that most of them share
    ball = cosine > 0.85
    radii = np.arange(LEAST_RADIUS_MM, MOST_RADIUS_MM, 0.25)
    kernel = np.exp(-0.5 * ((radii[:, None] - distance[ball]) / 1.2) ** 2)
    radius = float(radii[int(np.argmax(kernel @ share[ball]))])
    convex = share[ball & (np.abs(distance - radius) < 3.0)].sum()
    hollow = (cosine < -0.85) & (distance > radius - 2.0) & (distance < radius + 7.0)
    return Ball(
        centre_mm=centre_mm,
        radius_mm=radius,
        convex=float(convex),
        concave=float(share[hollow].sum()),
    )


def find_balls(coarse: OrientedGrid, edges: BoneEdges) -> list[Ball]:
    """
    Every ball of bone in a hollow of bone, the best supported first.

    Parameters
    ----------
    coarse
        The scan at 2 to 3 mm.
    edges
        Its edges of bone.

    Returns
    -------
    list of Ball
        Apart from each other by a head's radius at least.
    """
    balls: list[Ball] = []
    for start in _candidates(coarse, edges):
        centre = _settle(edges, start)
        if np.linalg.norm(centre - start) > MOST_RADIUS_MM:
            continue
        ball = _described(coarse, edges, centre)
        if all(np.linalg.norm(centre - b.centre_mm) > LEAST_RADIUS_MM for b in balls):
            balls.append(ball)
    return sorted(balls, key=lambda ball: -ball.support)
