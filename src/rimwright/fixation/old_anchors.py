"""Anchors and tunnels already in the rim, as rows of points that a new drill keeps away from."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, OldAnchor, Points, RimCurve
from rimwright.errors import CaseRefusal
from rimwright.fixation.entry_points import find_entries
from rimwright.fixation.limits import FixationLimits
from rimwright.fixation.mesh_field import MeshBoneField

POINT_STEP_MM = 0.1
"""Spacing of the points that stand for an old anchor's axis, mm; half of it is added to the
distance kept, so a gap between two points never lets a drill through."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OldRow:
    """
    One old anchor laid into the bone.

    Parameters
    ----------
    entry, direction
        (3,) mm from the field's origin, and unit into bone.
    depth_mm, radius_mm
        Its length; its radius with the doubt.
    by_hour_only
        Whether its place was assumed from its hour.
    """

    entry: Floats
    direction: Floats
    depth_mm: float
    radius_mm: float
    by_hour_only: bool


def lay_old_anchors(
    field: MeshBoneField,
    rim: RimCurve,
    *,
    old_anchors: Sequence[OldAnchor],
    limits: FixationLimits,
) -> tuple[OldRow, ...]:
    """
    Place old anchors in the field's coordinates.

    Parameters
    ----------
    field, rim
        The bone and its edge.
    old_anchors
        Each with entry and direction, or with an hour alone.
    limits
        For the mean entry offset and the doubt about a place assumed.

    Raises
    ------
    CaseRefusal
        One has neither, or its hour lies in the notch.
    """
    rows = []
    for number, old in enumerate(old_anchors, start=1):
        where = f"old anchor {number}"
        if old.entry_mm is not None and old.direction is not None:
            rows.append(
                OldRow(
                    entry=old.entry_mm - field.origin_mm,
                    direction=np.array(old.direction),
                    depth_mm=old.depth_mm,
                    radius_mm=old.drill_mm / 2,
                    by_hour_only=False,
                )
            )
            continue
        if old.hour is None:
            raise CaseRefusal(
                "has neither an hour nor an entry with a direction",
                where,
                "Give its hour, or entry_mm and direction",
            )
        if not np.isfinite(rim.point_at(old.hour)).all():
            raise CaseRefusal(
                f"lies in the notch, where there is no rim (got hour {old.hour:g})",
                where,
                "Correct its hour",
            )
        mean = 0.5 * (limits.entry_offset_min_mm + limits.entry_offset_max_mm)
        found = find_entries(field, rim, hours=np.array([old.hour]), offsets_mm=np.array([mean]))
        entry = found.points[0, 0]
        if not np.isfinite(entry).all():
            entry = found.rim_mm[0]
        rows.append(
            OldRow(
                entry=entry,
                direction=rim.bone_inward_at(old.hour),
                depth_mm=old.depth_mm,
                radius_mm=old.drill_mm / 2 + limits.old_anchor_doubt_mm,
                by_hour_only=True,
            )
        )
    return tuple(rows)


def points_to_avoid(
    rows: Sequence[OldRow], *, drill_mm: float, gap_mm: float
) -> tuple[Points, Floats]:
    """Points along every old axis, (n, 3), and the distance a drill keeps from each, (n,)."""
    points = [np.zeros((0, 3))]
    radii = [np.zeros(0)]
    for row in rows:
        n = int(np.ceil(row.depth_mm / POINT_STEP_MM)) + 1
        along = np.linspace(0.0, row.depth_mm, n)
        points.append(row.entry + along[:, None] * row.direction)
        radii.append(np.full(n, row.radius_mm + drill_mm / 2 + gap_mm + POINT_STEP_MM / 2))
    return np.vstack(points), np.concatenate(radii)
