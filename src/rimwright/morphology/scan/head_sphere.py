"""The sphere of a head from radii seen along rays, deaf to neck, fovea and bumps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, Mask, Vector

N_ROUNDS = 12
FIRST_WIDTH_MM, LAST_WIDTH_MM = 3.0, 1.0
"""Width beyond which a point no longer draws the sphere, at the first and the last round, mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RoughSphere:
    """
    A sphere and the share of the rays that lie on it.

    Parameters
    ----------
    centre_mm, radius_mm
        mm, image frame.
    rms_mm
        Of the rays that lie on it.
    share
        Of the solid angle, the part whose surface was seen within LAST_WIDTH_MM of it.
    """

    centre_mm: Vector
    radius_mm: float
    rms_mm: float
    share: float


def fit_head_sphere(points_mm: Floats, weights: Floats, seen: Mask) -> RoughSphere:
    """
    Fit a sphere to most of the points.

    Parameters
    ----------
    points_mm
        (n, 3), mm.
    weights
        (n,), solid angle that each stands for.
    seen
        (n,), whether an edge was seen there.

    Returns
    -------
    RoughSphere
        By iterated weighting that leaves out what lies apart.
    """
    points, weight = points_mm[seen], weights[seen]
    shift = points.mean(axis=0)
    local = points - shift
    left = np.c_[2.0 * local, np.ones(len(local))]
    right = np.einsum("ij,ij->i", local, local)
    pull = weight.copy()
    centre, radius = np.zeros(3), 0.0
    for step in range(N_ROUNDS):
        root = np.sqrt(pull)
        found = np.linalg.lstsq(left * root[:, None], right * root, rcond=None)[0]
        centre = found[:3]
        radius = float(np.sqrt(max(found[3] + centre @ centre, 0.0)))
        miss = np.linalg.norm(local - centre, axis=1) - radius
        width = FIRST_WIDTH_MM + (LAST_WIDTH_MM - FIRST_WIDTH_MM) * step / (N_ROUNDS - 1)
        pull = weight * np.exp(-0.5 * (2.0 * miss / width) ** 2)
    on = np.abs(miss) < LAST_WIDTH_MM
    rms = float(np.sqrt(np.average(miss[on] ** 2, weights=weight[on]))) if on.any() else np.inf
    return RoughSphere(
        centre_mm=centre + shift,
        radius_mm=radius,
        rms_mm=rms,
        share=float(weight[on].sum() / weights.sum()),
    )
