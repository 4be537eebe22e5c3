"""Distance of a surface from a centre by hour and by angle from an axis.

For surfaces that are seen from the centre without one part hiding another, as the joint face from
the socket's centre and head and neck from the head's.
"""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Floats, Ints, Points
from rimwright.morphology.femur.sections import Dial, RadialContours, radial_contours


def polar_distances(contours: RadialContours, *, angles_deg: Floats) -> Floats:
    """
    Distance of the nearest surface along rays in every half-plane.

    Parameters
    ----------
    contours
        Planes through the centre that hold the axis.
    angles_deg
        (a,) angles of the rays from the axis, increasing, deg, 0 to 180.

    Returns
    -------
    Floats
        (n_hours, a), mm; NaN where a ray meets nothing.
    """
    ends = contours.ends_mm
    angle = np.degrees(np.arctan2(np.abs(ends[:, :, 0]), ends[:, :, 1]))
    one_side = (ends[:, 0, 0] < 0.0) == (ends[:, 1, 0] < 0.0)
    low, high = angle.min(axis=1), angle.max(axis=1)
    begin = np.searchsorted(angles_deg, low, side="left")
    count = np.where(one_side, np.searchsorted(angles_deg, high, side="right") - begin, 0)
    segment = np.repeat(np.arange(len(ends)), count)
    ray = np.arange(len(segment)) - (np.cumsum(count) - count)[segment] + begin[segment]
    place, run = ends[segment, 0].copy(), ends[segment, 1] - ends[segment, 0]
    is_far = ends[segment, :, 0].sum(axis=1) < 0.0
    place[is_far, 0] *= -1.0
    run[is_far, 0] *= -1.0
    turn = np.radians(angles_deg[ray])
    sine, cosine = np.sin(turn), np.cos(turn)
    # the ray (sine, cosine) meets place + share run where the cross product vanishes
    across = sine * run[:, 1] - cosine * run[:, 0]
    offset = sine * place[:, 1] - cosine * place[:, 0]
    met = np.abs(across) > 1e-12
    share = np.where(met, -offset / np.where(met, across, 1.0), 0.5)
    share = np.clip(share, 0.0, 1.0)
    reach = sine * (place[:, 0] + share * run[:, 0]) + cosine * (place[:, 1] + share * run[:, 1])
    hour = contours.plane[segment] + np.where(is_far, contours.n_hours // 2, 0)
    distances = np.full((contours.n_hours, len(angles_deg)), np.inf)
    np.minimum.at(distances, (hour, ray), reach)
    return np.where(np.isfinite(distances), distances, np.nan)


def cut_used(points_mm: Points, triangles: Ints, *, dial: Dial, n_hours: int) -> RadialContours:
    """Radial contours of some triangles of a large body, at the cost of those alone."""
    used, renumbered = np.unique(triangles, return_inverse=True)
    return radial_contours(
        points_mm[used], renumbered.reshape(triangles.shape), dial=dial, n_hours=n_hours
    )
