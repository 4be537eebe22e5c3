"""Where planes through the head centre meet the rim: the edge points that angles are drawn to.

Everything is in the pelvic frame about the head centre: columns are lateral, cranial, anterior.
A rim is a closed chain of points by increasing hour, NaN in the notch; many rims (draws) go
through at once.
"""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Floats

LATERAL, CRANIAL, ANTERIOR = 0, 1, 2


def cross_rim(
    rims_mm: Floats, *, normal: int, level_mm: Floats, rising: bool, want: int, sign: int
) -> Floats:
    """
    Point where each rim crosses a plane, the extreme one of several.

    Parameters
    ----------
    rims_mm
        (d, n, 3) rims, mm, pelvic frame about the head centre; closed, NaN in the notch.
    normal
        Column that is constant in the plane (LATERAL, CRANIAL or ANTERIOR).
    level_mm
        (d,) its value, mm.
    rising
        Whether column `normal` grows through the crossing as hours increase: it tells the
        anterior crossing of an axial plane (falling) from the posterior one.
    want, sign
        Of several crossings the one with the largest `sign` times column `want`.

    Returns
    -------
    Floats
        (d, 3) mm; NaN where the rim does not cross the plane there.
    """
    following = np.roll(rims_mm, -1, axis=1)
    before = rims_mm[:, :, normal] - level_mm[:, None]
    after = following[:, :, normal] - level_mm[:, None]
    crosses = (before < 0) & (after >= 0) if rising else (before >= 0) & (after < 0)
    crosses &= np.isfinite(before) & np.isfinite(after)
    with np.errstate(invalid="ignore", divide="ignore"):
        fraction = np.where(crosses, before / (before - after), np.nan)
    points = rims_mm + fraction[:, :, None] * (following - rims_mm)
    worth = np.where(crosses, sign * points[:, :, want], -np.inf)
    best = np.argmax(worth, axis=1)
    rows = np.arange(len(rims_mm))
    chosen = points[rows, best]
    chosen[~crosses.any(axis=1)] = np.nan
    return chosen
