"""Angles of coverage and orientation of the socket, for many draws at once.

Constructions as in the design's evidence (planning §2a), on the bony rim: C is the head centre
(the socket centre without a femur), E the rim's crossing with the plane named.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats
from rimwright.morphology.rim_crossings import ANTERIOR, CRANIAL, LATERAL, cross_rim

CRANIAL_LEVEL_MM = 10.0
"""The cranial version slice lies this far below the top of the socket sphere, mm (common
practice: within a centimetre of the roof)."""

ANGLE_METHODS = {
    "lateral_centre_edge_angle": "bony edge in the coronal plane through the centre",
    "anterior_centre_edge_angle": "bony edge in the sagittal plane through the centre",
    "extrusion_index": "head width lateral of the bony edge in the coronal plane, of head diameter",
    "acetabular_version_cranial": "bony edges in the axial plane 10 mm below the top of the "
    "socket sphere",
    "acetabular_version_central": "bony edges in the axial plane through the centre",
    "anterior_sector_angle": "anterior bony edge in the axial plane through the centre",
    "posterior_sector_angle": "posterior bony edge in the axial plane through the centre",
    "horizontal_sector_angle": "sum of anterior and posterior sector angle",
    "subtended_angle": "mean over the rim of the angle at the socket centre from its medial pole",
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RimDraws:
    """
    One or many readings of one hip, pelvic frame, mm.

    Parameters
    ----------
    rims_mm
        (d, n, 3), about the head centre; NaN in the notch.
    socket_centre_mm
        (d, 3), about the head centre.
    socket_radius_mm, head_radius_mm
        (d,); the head's NaN without a femur.
    poles
        (d, 3) unit medial pole (minus the opening axis).
    """

    rims_mm: Floats
    socket_centre_mm: Floats
    socket_radius_mm: Floats
    head_radius_mm: Floats
    poles: Floats


def measure_rim_angles(draws: RimDraws) -> dict[str, Floats]:
    """
    Every angle that the rim alone gives.

    Parameters
    ----------
    draws
        d readings.

    Returns
    -------
    dict of str to Floats
        (d,) degrees (extrusion: percent) by measurement key; NaN where the rim does not cross.

    Notes
    -----
    LCEA = atan2(L, Cr); ACEA = atan2(A, Cr); extrusion = 100 (R − L) / 2R; version = angle from
    the posterior to the anterior edge against the anterior direction, + when the anterior edge
    lies medial; sector angles at C from the medial direction.
    """
    rims = draws.rims_mm
    zero = np.zeros(len(rims))
    lateral = cross_rim(rims, normal=ANTERIOR, level_mm=zero, rising=True, want=CRANIAL, sign=1)
    front = cross_rim(rims, normal=LATERAL, level_mm=zero, rising=False, want=ANTERIOR, sign=1)
    anterior = cross_rim(rims, normal=CRANIAL, level_mm=zero, rising=False, want=ANTERIOR, sign=1)
    posterior = cross_rim(rims, normal=CRANIAL, level_mm=zero, rising=True, want=ANTERIOR, sign=-1)
    high = draws.socket_centre_mm[:, CRANIAL] + draws.socket_radius_mm - CRANIAL_LEVEL_MM
    high_anterior = cross_rim(
        rims, normal=CRANIAL, level_mm=high, rising=False, want=ANTERIOR, sign=1
    )
    high_posterior = cross_rim(
        rims, normal=CRANIAL, level_mm=high, rising=True, want=ANTERIOR, sign=-1
    )
    radius = draws.head_radius_mm
    aasa = _degrees(anterior[:, ANTERIOR], -anterior[:, LATERAL])
    pasa = _degrees(-posterior[:, ANTERIOR], -posterior[:, LATERAL])
    return {
        "lateral_centre_edge_angle": _degrees(lateral[:, LATERAL], lateral[:, CRANIAL]),
        "anterior_centre_edge_angle": _degrees(front[:, ANTERIOR], front[:, CRANIAL]),
        "extrusion_index": 50.0 * (radius - lateral[:, LATERAL]) / radius,
        "acetabular_version_cranial": _version(high_anterior, high_posterior),
        "acetabular_version_central": _version(anterior, posterior),
        "anterior_sector_angle": aasa,
        "posterior_sector_angle": pasa,
        "horizontal_sector_angle": aasa + pasa,
        "subtended_angle": _subtended(draws),
    }


def coverage_by_point(rim_mm: Floats, pole: Floats) -> Floats:
    """Angle at the origin between the medial pole and each rim point, (n,) deg."""
    lengths = np.linalg.norm(rim_mm, axis=-1)
    with np.errstate(invalid="ignore"):
        angle: Floats = np.degrees(np.arccos(np.clip(rim_mm @ pole / lengths, -1.0, 1.0)))
    return angle


def _version(anterior: Floats, posterior: Floats) -> Floats:
    """Anteversion, deg, of the line from posterior to anterior edge."""
    line = anterior - posterior
    return _degrees(-line[:, LATERAL], line[:, ANTERIOR])


def _subtended(draws: RimDraws) -> Floats:
    """Mean angle from the medial pole at the socket centre, every rim point alike."""
    relative = draws.rims_mm - draws.socket_centre_mm[:, None, :]
    angles = np.stack(
        [coverage_by_point(rim, pole) for rim, pole in zip(relative, draws.poles, strict=True)]
    )
    mean: Floats = np.nanmean(angles, axis=1)
    return mean


def _degrees(opposite: Floats, adjacent: Floats) -> Floats:
    angle: Floats = np.degrees(np.arctan2(opposite, adjacent))
    return angle
