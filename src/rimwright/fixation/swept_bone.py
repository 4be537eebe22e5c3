"""Volume that the fitting drills of one entry can sweep."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from rimwright.anatomy import AnchorKind, Floats

DEPTH_SHELLS = 24
"""Shells of equal thickness that the depth is cut into; 48 move the volume by under 1 %."""


def swept_volume_mm3(directions: Floats, fits: np.ndarray, *, kind: AnchorKind) -> float:
    """
    Volume within a drill's radius of the axis of any fitting drill, mm³.

    Parameters
    ----------
    directions
        (k, 3) unit grid directions from the entry, evenly spread.
    fits
        (k,) bool.
    kind
        Drill diameter and depth.

    Notes
    -----
    Shell by shell from the entry: at distance ρ the swept part of the sphere is every direction
    within asin(r / ρ) of one that fits. Each grid direction stands for an equal share of its cap.
    The part of the shells before the entry zone's end is counted as bone.
    """
    if not fits.any():
        return 0.0
    share_sr = _share_sr(directions)
    nearest = np.arccos(np.clip((directions @ directions[fits].T).max(axis=1), -1.0, 1.0))
    # A fitting direction stands for a disc of its share, so its edge is half a step out.
    nearest = np.where(fits, 0.0, np.maximum(nearest - np.sqrt(share_sr / np.pi), 0.0))
    edges = np.linspace(0.0, kind.depth_mm, DEPTH_SHELLS + 1)
    middle = 0.5 * (edges[:-1] + edges[1:])
    reach = np.arcsin(np.clip(kind.drill_mm / 2 / middle, 0.0, 1.0))
    swept_sr = share_sr * (nearest[None, :] <= reach[:, None]).sum(axis=1)
    return float((swept_sr * np.diff(edges**3) / 3.0).sum())


def _share_sr(directions: Floats) -> float:
    """Solid angle that one grid direction stands for."""
    return _cap_sr(round(float(np.min(directions @ directions[0])), 6)) / len(directions)


@lru_cache(maxsize=8)
def _cap_sr(cosine: float) -> float:
    """Solid angle of a cap about the first direction out to the last ring."""
    return float(2 * np.pi * (1 - cosine))
