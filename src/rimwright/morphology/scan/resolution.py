"""Where the joint is narrower than the scan can show: named, not guessed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rimwright.anatomy import HipGeometry, Measurement, hours_of_rim, spoken_hour
from rimwright.morphology.scan.joint_map import LEAST_RESOLVED_MM, JointMap

LUNATE_GAP_MM = 5.0
"""Wider is fossa or a joint drawn apart: it is not asked whether it is narrow, mm."""
HOUR_WINDOW = 0.25
UNRESOLVED_SHARE = 0.5
"""An hour at which more of the joint than this is under resolution has no joint space."""


def name_unresolved(hip: HipGeometry, joint: JointMap) -> HipGeometry:
    """
    Take the joint space out where the scan does not show it, and say so.

    Parameters
    ----------
    hip
        As measured on the surfaces.
    joint
        The traced joint.

    Returns
    -------
    HipGeometry
        Hours under resolution without a joint space, the least joint space with its doubt.
    """
    if hip.rim is None or hip.by_hour is None:
        return hip
    with np.errstate(invalid="ignore"):
        lunate = joint.covered & (joint.socket_mm - joint.head_mm < LUNATE_GAP_MM)
    if not lunate.any():
        return hip
    points = joint.rays.points_mm(np.where(lunate, joint.socket_mm, joint.head_mm))[lunate]
    hours = hip.rim.hours_of(points)
    resolved = joint.resolved[lunate]
    weight = joint.rays.solid_angles()[lunate]
    space = hip.by_hour.joint_space_mm.copy()
    named: list[float] = []
    for index, hour in enumerate(hours_of_rim()):
        here = np.abs((hours - hour + 6.0) % 12.0 - 6.0) <= HOUR_WINDOW
        if not np.isfinite(space[index]) or not here.any():
            continue
        if weight[here & ~resolved].sum() > UNRESOLVED_SHARE * weight[here].sum():
            space[index] = np.nan
            named.append(float(hour))
    share = float(weight[~resolved].sum() / weight.sum())
    least = hip.measurements["joint_space_min"]
    measurements = dict(hip.measurements)
    warnings = list(hip.warnings)
    if least.value is not None and least.value < LEAST_RESOLVED_MM:
        reason = (
            f"under resolution: narrower than {LEAST_RESOLVED_MM} mm, where the scan's blur hides "
            "it"
        )
        measurements["joint_space_min"] = (
            least.doubted(reason)
            if least.value > 0.0
            else Measurement.refused(
                least.unit, f"{reason}; the surfaces found touch", method=least.method
            )
        )
    if named:
        warnings.append(
            f"joint space under resolution (less than {LEAST_RESOLVED_MM} mm, or hidden by the "
            f"scan's blur) on {100 * share:.0f} % of the articular surface; no joint space is "
            f"given at {_spoken(named)}"
        )
    return replace(
        hip,
        by_hour=replace(hip.by_hour, joint_space_mm=space),
        measurements=measurements,
        warnings=tuple(warnings),
    )


def _spoken(hours: list[float]) -> str:
    """Hours as runs: '11:00 to 1:12, 3:00'."""
    runs: list[list[float]] = []
    for hour in hours:
        if runs and hour - runs[-1][-1] < 0.15:
            runs[-1].append(hour)
        else:
            runs.append([hour])
    if len(runs) > 1 and runs[0][0] < 0.05 and runs[-1][-1] > 11.85:
        runs[0] = runs.pop() + runs[0]
    parts = [
        spoken_hour(run[0]) if len(run) == 1 else f"{spoken_hour(run[0])} to {spoken_hour(run[-1])}"
        for run in runs
    ]
    return ", ".join(parts)
