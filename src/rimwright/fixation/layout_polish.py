"""Turn each drill of a layout to where it tolerates most, as long as everything still holds."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rimwright.anatomy import AnchorKind, Vector
from rimwright.fixation.corridor_bank import CorridorBank
from rimwright.fixation.judging import half_angles_deg, widen_directions
from rimwright.fixation.limits import FixationLimits
from rimwright.fixation.mesh_field import MeshBoneField
from rimwright.fixation.triangle_distance import segment_segment_mm2

GAIN_DEG = 0.1
"""A drill is turned only where that gains at least this much tolerance, deg."""
SHARES = (1.0, 0.5)
"""Parts of the way to the best direction that are tried, farthest first."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drill:
    """
    One drill of a layout.

    Parameters
    ----------
    hour, kind
        Hour of the entry; diameter and depth.
    entry, normal, direction
        (3,) mm from the field's origin; outward unit normal there; unit into bone.
    skin
        (3,) mm from the field's origin, of the portal that reaches it; None for none.
    portal
        Its name.
    """

    hour: float
    kind: AnchorKind
    entry: Vector
    normal: Vector
    direction: Vector
    skin: Vector | None
    portal: str | None

    @property
    def portal_off_deg(self) -> float | None:
        """Angle of the direction against the portal's line, deg."""
        if self.skin is None:
            return None
        line = self.entry - self.skin
        cosine = float(line @ self.direction / np.linalg.norm(line))
        return float(np.degrees(np.arccos(min(max(cosine, -1.0), 1.0))))

    def gap_mm(self, other: Drill) -> float:
        """Bone between the surfaces of two drills, mm."""
        a = self.direction * self.kind.depth_mm
        b = other.direction * other.kind.depth_mm
        square = segment_segment_mm2(*self.entry, *a, *other.entry, *b)
        return float(np.sqrt(square)) - (self.kind.drill_mm + other.kind.drill_mm) / 2


def polish(
    field: MeshBoneField, bank: CorridorBank, drills: Sequence[Drill]
) -> list[tuple[Drill, float]]:
    """
    Turn drills one after the other; each with its half-angle, deg, a lower bound.

    Parameters
    ----------
    field, bank
        The bone and its limits.
    drills
        In order along the rim, every limit held.

    Returns
    -------
    list of tuple
        Drills that still hold every limit, and the cone each tolerates.
    """
    settled = list(drills)
    angles = np.zeros(len(drills))
    for kind in {drill.kind for drill in drills}:
        rows = [i for i, drill in enumerate(drills) if drill.kind == kind]
        demand = bank.demand(kind)
        entries = np.array([drills[i].entry for i in rows])
        normals = np.array([drills[i].normal for i in rows])
        now = np.array([drills[i].direction for i in rows])
        best, _ = widen_directions(field, demand, entries=entries, directions=now)
        tried = [now] + [_part_way(now, best, share) for share in SHARES]
        bounds = half_angles_deg(
            field,
            demand,
            entries=np.tile(entries, (len(tried), 1)),
            normals=np.tile(normals, (len(tried), 1)),
            directions=np.vstack(tried),
        ).reshape(len(tried), -1)
        for place, i in enumerate(rows):
            angles[i] = bounds[0, place]
            for t in range(1, len(tried)):
                turned = replace(settled[i], direction=tried[t][place])
                if bounds[t, place] > angles[i] + GAIN_DEG and _holds(
                    turned, [d for j, d in enumerate(settled) if j != i], bank.limits
                ):
                    settled[i] = turned
                    angles[i] = bounds[t, place]
                    break
    return list(zip(settled, [float(angle) for angle in angles], strict=True))


def _part_way(start: np.ndarray, end: np.ndarray, share: float) -> np.ndarray:
    """Unit directions a share of the way from start to end, row by row."""
    mixed = (1 - share) * start + share * end
    return mixed / np.linalg.norm(mixed, axis=1, keepdims=True)


def _holds(drill: Drill, others: Sequence[Drill], limits: FixationLimits) -> bool:
    """Whether a turned drill still lies on its portal's line and clear of all others."""
    off = drill.portal_off_deg
    if off is not None and off > limits.portal_max_off_deg:
        return False
    return all(drill.gap_mm(other) >= limits.neighbour_gap_mm for other in others)
