"""What a surgeon is told beside a plan for a cam: other cut-offs in print, and cautions."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Floats, Mask, Sector, spoken_hour
from rimwright.evidence import EvidenceTable

LEAST_TOLD_MM = 0.2
"""Less than this is not told of, mm: no burr takes it on purpose."""


def other_targets(target_deg: float, *, table: EvidenceTable) -> tuple[str, ...]:
    """
    Cut-offs in print beside the target, and what the sources disagree on.

    Parameters
    ----------
    target_deg
        The target of the plan, deg.
    table
        Settings and evidence in force.

    Returns
    -------
    tuple of str
        One a cut-off, then the conflict itself.
    """
    setting = table.setting("femur.alpha_cam_deg")
    lines = []
    if setting.value != target_deg:
        lines.append(f"{setting.value:g}° is the setting in force ({', '.join(setting.evidence)})")
    lines += [
        f"{other.value:g}°: {other.note} ({', '.join(other.evidence)})"
        for other in setting.alternatives
        if other.value != target_deg
    ]
    conflict = table.row("planning:C8")
    return (*lines, f"sources disagree: {conflict.value} ({conflict.id})")


def find_cautions(
    *,
    hours: Floats,
    depth_mm: Floats,
    alpha_before_deg: Floats,
    alpha_after_deg: Floats,
    target_deg: float,
    neck_share: float,
    is_step: Mask,
    table: EvidenceTable,
) -> tuple[str, ...]:
    """
    Cautions of a plan for a cam.

    Parameters
    ----------
    hours, depth_mm, alpha_before_deg, alpha_after_deg
        (h,) femoral hours, the most taken there, alpha before and after.
    target_deg
        The target.
    neck_share
        Largest share of the neck's width taken, 0 to 1.
    is_step
        (h,) whether the cut would run on along the neck and was ended with a step.
    table
        Settings in force.

    Returns
    -------
    tuple of str
        Lines for the surgeon.
    """
    lines = []
    limit = table.setting("cam.neck_share_caution_fraction")
    if neck_share > limit.value:
        lines.append(
            f"{100 * neck_share:.0f} % of the neck's width would go, over the customary "
            f"{100 * limit.value:.0f} % ({limit.source}): the neck may break"
        )
    start, end = table.setting("cam.vessels_from_hour"), table.setting("cam.vessels_to_hour")
    vessels = Sector(from_hour=start.value, to_hour=end.value)
    near = np.array([vessels.contains(float(hour)) for hour in hours])
    if (near & (depth_mm > LEAST_TOLD_MM)).any():
        lines.append(
            f"bone goes between {spoken_hour(start.value)} and {spoken_hour(end.value)} of the "
            f"femoral clock, where the vessels of the head run on the neck ({start.source})"
        )
    if is_step.any():
        told = ", ".join(spoken_hour(float(hour)) for hour in hours[is_step])
        lines.append(
            f"at {told} of the femoral clock the neck is so wide that no hollow comes out before "
            "its narrowest place: the cut ends there with a step"
        )
    left = (alpha_after_deg > target_deg) & np.isfinite(alpha_after_deg)
    if left.any():
        told = ", ".join(spoken_hour(float(hour)) for hour in hours[left])
        lines.append(
            f"alpha stays over the target at {told} of the femoral clock: outside the hours a cam "
            "is looked for at (9 through 12 to 5), or a single rough place"
        )
    unseen = ~np.isfinite(alpha_before_deg)
    if unseen.any():
        lines.append(f"no contour was met at {int(unseen.sum())} of {len(hours)} femoral hours")
    lines.append(
        "alpha is read on bone surfaces; the cut-offs were read on radiographs and radial images, "
        "which need not agree (planning:C8)"
    )
    return tuple(lines)
