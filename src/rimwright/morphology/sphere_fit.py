"""Spheres fitted to surface points: a first algebraic fit, and a robust one refined from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, Mask, Points, SphereFit
from rimwright.errors import BoneRefusal

FLATNESS_LEAST = 1e-4
"""Smallest ratio of the thinnest to the widest spread of the points; below it they are a plane."""
BIWEIGHT_REACH = 4.685
"""Cut-off of the biweight in standard deviations: 95 % efficiency on normal noise (textbook)."""
SIGMA_OF_MAD = 1.4826
"""Standard deviation of normal noise over its median absolute value (textbook)."""
SETTLED_MM = 1e-9
"""Refinement stops when centre and radius move less than this, mm: far below any surface."""

MOST_POINTS = 4000
"""Points that the rounds of a refined sphere look at: with a scatter of 0.3 mm they fix it to
0.01 mm."""
DRIFT_MM = 5.0
"""How far a sphere may move or grow from its start before points it needs are not looked at, mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RefinedSphere:
    """
    A robust sphere and the points it rests on.

    Parameters
    ----------
    fit
        Centre, radius, and the weighted root-mean-square miss of the inliers, mm.
    inliers
        (n,) bool, which of the points given the sphere keeps.
    cutoff_mm
        Largest miss of an inlier, mm.
    """

    fit: SphereFit
    inliers: Mask
    cutoff_mm: float


def fit_sphere(
    points_mm: Points, *, max_rms_mm: float = np.inf, weights: Floats | None = None
) -> SphereFit:
    """
    Fit one sphere to surface points by algebraic least squares.

    Parameters
    ----------
    points_mm
        (n, 3), mm; n >= 4, finite, not coplanar.
    max_rms_mm
        Largest root-mean-square miss accepted, mm, > 0.
    weights
        (n,), >= 0, surface area that a point stands for; None = all alike.

    Returns
    -------
    SphereFit
        Centre (3,), radius and root-mean-square miss, mm, in the frame of the points.

    Raises
    ------
    BoneRefusal
        Fewer than four points, coplanar, or the miss above max_rms_mm.

    Notes
    -----
    Linear in centre and squared radius; pulls the radius small on short, noisy arcs (refine it).
    O(n). Source: common practice.
    """
    points = np.asarray(points_mm, dtype=np.float64)
    shares = _shares(points, weights)
    if np.count_nonzero(shares) < 4:
        raise BoneRefusal(
            f"too few points for a sphere (got {np.count_nonzero(shares)}, need 4)",
            "sphere fit",
            "Give more of the surface",
        )
    middle = shares @ points
    offset = points - middle
    spread = np.sqrt(np.linalg.eigvalsh((offset * shares[:, None]).T @ offset).clip(min=0.0))
    if spread[0] <= FLATNESS_LEAST * spread[2]:
        raise BoneRefusal(
            f"points lie in a plane (got a thickness of {spread[0]:.2g} mm)",
            "sphere fit",
            "Give a curved part of the surface",
        )
    scale = spread[2]  # brings the columns to one size, so that the normal matrix is tame
    unit = offset / scale
    design = np.column_stack([unit, np.ones(len(unit))])
    squared = np.einsum("ij,ij->i", unit, unit)
    weighted = design * shares[:, None]
    solution = np.linalg.solve(design.T @ weighted, weighted.T @ squared)
    centre = solution[:3] / 2.0
    radius_mm = float(np.sqrt(max(solution[3] + centre @ centre, 1e-30)) * scale)
    centre_mm = middle + centre * scale
    miss = np.linalg.norm(points - centre_mm, axis=1) - radius_mm
    rms_mm = float(np.sqrt(shares @ miss**2))
    if rms_mm > max_rms_mm:
        raise BoneRefusal(
            f"points do not lie on a sphere (got a miss of {rms_mm:.2f} mm rms, "
            f"need at most {max_rms_mm:.2f})",
            "sphere fit",
            "Check that the right part of the surface was taken",
        )
    return SphereFit(centre_mm=centre_mm, radius_mm=radius_mm, rms_mm=rms_mm, n_points=len(points))


def refine_sphere(
    points_mm: Points,
    *,
    start: SphereFit,
    least_cutoff_mm: float = 0.05,
    most_cutoff_mm: float = 2.0,
    weights: Floats | None = None,
    n_rounds: int = 60,
    n_concentrations: int = 0,
) -> RefinedSphere:
    """
    Fit a sphere by distance, leaving out points that do not belong to it.

    Parameters
    ----------
    points_mm
        (n, 3), mm.
    start
        A sphere near the answer; points further than `most_cutoff_mm` from it are not looked at
        in the first round.
    least_cutoff_mm, most_cutoff_mm
        Bounds of the miss, mm, beyond which a point counts nothing; between them it follows the
        scatter of the points.
    weights
        (n,), >= 0, surface area that a point stands for; None = all alike.
    n_rounds
        Most rounds of reweighting.
    n_concentrations
        Rounds before that which fit the nearer half of the points alone: they find the sphere
        of the majority where a bump of one piece would hold the reweighting half-way.

    Returns
    -------
    RefinedSphere
        The sphere, the mask of the points it keeps and the cut-off it ended with.

    Raises
    ------
    BoneRefusal
        Fewer than four points stay within the cut-off, or they do not fix a sphere.

    Notes
    -----
    Gauss-Newton steps on radial distance with the biweight; scatter from the median absolute
    miss of the inliers. Of more than MOST_POINTS near the start every so manieth is taken for the
    rounds; what is kept and its rms are of all. Every step is a sum over points, so of fewer the
    answer does not hang on their order beyond rounding. O(n) a round. Source: robust
    regression, textbook.
    """
    points = np.asarray(points_mm, dtype=np.float64)
    area = _shares(points, weights)
    sphere = np.append(start.centre_mm, start.radius_mm)
    cutoff = most_cutoff_mm
    all_points, all_area = points, area
    points, area = _enough(points, area, start=start, reach_mm=most_cutoff_mm + DRIFT_MM)
    for turn in range(n_concentrations + n_rounds):
        offset = points - sphere[:3]
        reach = np.linalg.norm(offset, axis=1)
        miss = reach - sphere[3]
        near = np.abs(miss) < cutoff
        if np.count_nonzero(near) < 4:
            raise BoneRefusal(
                f"too few points near the sphere (got {np.count_nonzero(near)}, need 4)",
                "sphere fit",
                "Start nearer to it or give more of the surface",
            )
        # Only points within the cut-off are touched below: most of a bone is far from the sphere.
        miss, weight = miss[near], area[near]
        middle = _weighted_median(np.abs(miss), weight)
        if turn < n_concentrations:
            pull = weight * (np.abs(miss) <= middle)
        else:
            pull = weight * (1.0 - (miss / cutoff) ** 2) ** 2
        jacobian = np.column_stack([offset[near] / reach[near, None], np.ones(len(miss))])
        try:
            step = np.linalg.solve(
                jacobian.T @ (jacobian * pull[:, None]), jacobian.T @ (pull * miss)
            )
        except np.linalg.LinAlgError:
            raise BoneRefusal(
                "points near the sphere do not fix it",
                "sphere fit",
                "Give a curved part of the surface",
            ) from None
        sphere = sphere + step
        if turn < n_concentrations - 1:
            continue
        wanted = BIWEIGHT_REACH * SIGMA_OF_MAD * middle
        wanted = float(np.clip(wanted, least_cutoff_mm, most_cutoff_mm))
        settled = np.abs(step).max() < SETTLED_MM and abs(wanted - cutoff) < SETTLED_MM
        cutoff = wanted
        if settled:
            break
    points, area = all_points, all_area
    centre, radius = sphere[:3], float(sphere[3])
    miss = np.linalg.norm(points - centre, axis=1) - radius
    inliers = np.abs(miss) < cutoff
    kept = area[inliers]
    if kept.sum() <= 0 or not radius > 0:
        raise BoneRefusal(
            "no points are left on the sphere",
            "sphere fit",
            "Start nearer to it or give more of the surface",
        )
    fit = SphereFit(
        centre_mm=centre,
        radius_mm=radius,
        rms_mm=float(np.sqrt(kept @ miss[inliers] ** 2 / kept.sum())),
        n_points=int(np.count_nonzero(inliers)),
    )
    return RefinedSphere(fit=fit, inliers=inliers, cutoff_mm=cutoff)


def _enough(
    points: Points, area: Floats, *, start: SphereFit, reach_mm: float
) -> tuple[Points, Floats]:
    """The points near a sphere, and no more of them than its rounds need."""
    miss = np.linalg.norm(points - start.centre_mm, axis=1) - start.radius_mm
    near = np.flatnonzero(np.abs(miss) < reach_mm)
    chosen = near[:: max(1, -(-len(near) // MOST_POINTS))]
    return points[chosen], area[chosen]


def _shares(points: Points, weights: Floats | None) -> Floats:
    """Weights that sum to one."""
    if weights is None:
        return np.full(len(points), 1.0 / max(len(points), 1))
    shares = np.asarray(weights, dtype=np.float64)
    return shares / max(float(shares.sum()), 1e-300)


def _weighted_median(values: Floats, weights: Floats) -> float:
    """The value with half of the weight at or below it."""
    order = np.argsort(values, kind="stable")
    passed = np.cumsum(weights[order])
    return float(values[order][np.searchsorted(passed, 0.5 * passed[-1])])
