"""How far the head's sphere would move on other surface of the same roughness."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Floats, Points
from rimwright.morphology.femur.head import FoundHead

N_ZONES = 96
"""Patches of equal area that the head is divided into for its bootstrap."""


def refit_head(head: FoundHead, *, n_refits: int, seed: int) -> tuple[Points, Floats]:
    """
    Fit the head again on reweighted patches of its surface.

    Parameters
    ----------
    head
        The head found.
    n_refits, seed
        How many refits, from which seed.

    Returns
    -------
    tuple
        Shifts of the centre (n_refits, 3), pelvic, and of the radius (n_refits,), mm.

    Notes
    -----
    Bayesian bootstrap over patches of direction, so that misses which hang together stay
    together, by one Gauss-Newton step (misses are far below the radius).
    """
    offset = head.points_mm - head.sphere.centre_mm
    reach = np.linalg.norm(offset, axis=1)
    direction = offset / reach[:, None]
    miss = reach - head.sphere.radius_mm
    zone = np.argmax(direction @ _even_directions(N_ZONES).T, axis=1)
    design = np.column_stack([direction, np.ones(len(direction))])
    outer = np.einsum("ni,nj->nij", design, design).reshape(len(design), 16)
    squares = np.column_stack(
        [np.bincount(zone, head.areas_mm2 * column, N_ZONES) for column in outer.T]
    )
    moments = np.column_stack(
        [np.bincount(zone, head.areas_mm2 * miss * column, N_ZONES) for column in design.T]
    )
    shares = np.random.default_rng(seed).exponential(size=(n_refits, N_ZONES))
    normal = (shares @ squares).reshape(n_refits, 4, 4)
    steps = np.linalg.solve(normal, (shares @ moments)[:, :, None])[:, :, 0].astype(np.float64)
    return steps[:, :3], steps[:, 3]


def _even_directions(n: int) -> Floats:
    """Directions spread evenly over the ball by the golden angle, (n, 3)."""
    height = 1.0 - (2.0 * np.arange(n) + 1.0) / n
    turn = np.pi * (3.0 - np.sqrt(5.0)) * np.arange(n)
    ring = np.sqrt(1.0 - height**2)
    return np.column_stack([ring * np.cos(turn), ring * np.sin(turn), height])
