"""Spreads: the measurements again on jittered heads, necks, shafts and condyles."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Vector
from rimwright.morphology.femur.alpha import alpha_by_hour, departure_mm, largest_alpha
from rimwright.morphology.femur.condyles import FoundCondyles
from rimwright.morphology.femur.head import FoundHead
from rimwright.morphology.femur.head_refit import refit_head
from rimwright.morphology.femur.neck import FoundNeck
from rimwright.morphology.femur.sections import Dial, RadialContours
from rimwright.morphology.femur.shaft import FoundShaft, line_direction

N_REFITS = 32
"""Refits behind a spread: it is then known to about an eighth of itself."""
SEED = 20_240_229
"""Seed of the refits; a number without meaning."""
N_BLOCKS = 8
"""Stretches of shaft that are reweighted together, since its bow hangs together."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FemurSpread:
    """
    One standard deviation of each measurement over refits; None where it was not taken.

    Parameters
    ----------
    alpha_deg, offset_mm, neck_shaft_deg, version_deg
        deg, mm, deg, deg.
    """

    alpha_deg: float | None
    offset_mm: float | None
    neck_shaft_deg: float | None
    version_deg: float | None


def neck_shaft_angle_deg(neck_axis: Vector, shaft_axis: Vector) -> float:
    """Angle between the neck, seen from its base to the head, and the shaft downwards, deg."""
    cosine = float(np.clip(neck_axis @ shaft_axis, -1.0, 1.0))
    return float(np.degrees(np.arccos(cosine)))


def version_angle_deg(neck_axis: Vector, towards_medial: Vector, forward: Vector) -> float:
    """Angle of the neck, base to head, against the condylar line, + to the front, deg."""
    return float(np.degrees(np.arctan2(-neck_axis @ forward, -neck_axis @ towards_medial)))


def refit_spread(
    *,
    head: FoundHead,
    neck: FoundNeck,
    shaft: FoundShaft | None,
    condyles: FoundCondyles | None,
    dial: Dial,
    contours: RadialContours,
    offset_index: int,
) -> FemurSpread:
    """
    Take the measurements again on refitted parts.

    Parameters
    ----------
    head, neck, shaft, condyles
        What was found, pelvic frame.
    dial, contours
        The neck's clock and the contours on it; the planes stay, centre and axis move in them.
    offset_index
        Half-plane of the head-neck offset.

    Notes
    -----
    Head: bootstrap over patches. Neck: the narrowest section anywhere on its flat stretch.
    Shaft: bootstrap over stretches. Condyles: their touching points by the head's roughness.
    """
    draws = np.random.default_rng(SEED)
    shifts, growths = refit_head(head, n_refits=N_REFITS, seed=SEED)
    slides = draws.uniform(-0.5, 0.5, N_REFITS) * neck.floor_mm
    rough_mm = head.sphere.rms_mm
    turn_of_line = draws.normal(size=N_REFITS) * rough_mm * np.sqrt(2.0)
    shares = draws.exponential(size=(N_REFITS, N_BLOCKS))
    hour_angles = 2.0 * np.pi * np.arange(contours.n_hours) / contours.n_hours
    outward = np.outer(np.cos(hour_angles), dial.twelve) + np.outer(np.sin(hour_angles), dial.three)
    triad = np.stack([dial.twelve, dial.three, dial.axis])

    alphas, offsets, necks, versions = [], [], [], []
    for k in range(N_REFITS):
        centre = head.sphere.centre_mm + shifts[k]
        axis = neck.centre_mm + slides[k] * neck.slope - centre
        axis = axis / np.linalg.norm(axis)
        tilt = outward @ (axis - neck.axis)
        alpha = alpha_by_hour(
            contours,
            radius_mm=head.sphere.radius_mm + float(growths[k]),
            shift_mm=triad @ shifts[k],
            departure=departure_mm(head.sphere.rms_mm),
        ) - np.degrees(tilt)
        place = largest_alpha(alpha)
        alphas.append(np.nan if place is None else float(alpha[place]))
        sideways = outward[offset_index]
        offsets.append(
            growths[k] + shifts[k] @ sideways + neck.along_mm * float(tilt[offset_index])
        )
        if shaft is None:
            continue
        block = np.arange(len(shaft.centres_mm)) * N_BLOCKS // len(shaft.centres_mm)
        shaft_axis = -line_direction(shaft.centres_mm, shares=shares[k, block])
        necks.append(neck_shaft_angle_deg(axis, shaft_axis))
        if condyles is None:
            continue
        across = axis - (axis @ shaft_axis) * shaft_axis
        bridge_mm = float(np.linalg.norm(condyles.medial_mm - condyles.lateral_mm))
        turned = version_angle_deg(across, condyles.towards_medial, condyles.forward)
        versions.append(turned + np.degrees(turn_of_line[k] / bridge_mm))
    return FemurSpread(
        alpha_deg=_deviation(alphas),
        offset_mm=_deviation(offsets),
        neck_shaft_deg=_deviation(necks),
        version_deg=_deviation(versions),
    )


def _deviation(values: list[float]) -> float | None:
    """Half the spread of the middle 68 % of the finite values: one standard deviation, robustly."""
    finite = np.asarray([value for value in values if np.isfinite(value)])
    if len(finite) < 3:
        return None
    low, high = np.percentile(finite, [15.87, 84.13])
    return float(high - low) / 2.0
