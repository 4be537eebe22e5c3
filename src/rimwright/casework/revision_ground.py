"""What earlier surgery left in the rim, as bodies that drills are kept off, and what is assumed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import (
    HipGeometry,
    OldAnchor,
    RevisionFinding,
    RevisionKind,
    spoken_hour,
)
from rimwright.evidence import EvidenceTable
from rimwright.treatment import obstacles_of, revision_cautions


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RevisionObstacles:
    """
    Bodies in the rim beside the old anchors of the case.

    Parameters
    ----------
    bodies
        By hour, outside the notch.
    cautions
        What was assumed of them, and what blocks nothing.
    """

    bodies: tuple[OldAnchor, ...] = ()
    cautions: tuple[str, ...] = ()


def revision_obstacles(
    revision: Sequence[RevisionFinding], hip: HipGeometry | None, *, table: EvidenceTable
) -> RevisionObstacles:
    """
    Turn findings of earlier surgery into bodies that corridors keep off.

    Parameters
    ----------
    revision
        As the case gives them.
    hip
        As measured; without a rim everything is kept, and nothing is drilled anyway.
    table
        Sizes taken where nobody gave them.

    Returns
    -------
    RevisionObstacles
        Anchors, tunnels and cysts as they are; an ossicle as a body as deep as it is wide.
    """
    found = list(obstacles_of(revision, table))
    cautions = list(revision_cautions(revision, table))
    for item in revision:
        if item.kind is not RevisionKind.OSSICLE:
            continue
        name = f"{item.kind}{f' at {item.place}' if item.place else ''}"
        if not item.place or not item.size_mm:
            cautions.append(f"{name}: without its place and size it blocks no corridor")
            continue
        deep = item.depth_mm or item.size_mm
        found += [OldAnchor(drill_mm=item.size_mm, depth_mm=deep, hour=at) for at in item.hours()]
        cautions.append(
            f"{name}: drills are kept off it as if it filled the rim {deep:g} mm deep; whether it "
            "is left, fixed or taken out is decided at surgery"
        )
    rim = None if hip is None else hip.rim
    if rim is None:
        return RevisionObstacles(bodies=tuple(found), cautions=tuple(cautions))
    bodies = []
    for body in found:
        if body.hour is not None and not np.isfinite(rim.point_at(body.hour)).all():
            cautions.append(
                f"A finding of earlier surgery at {spoken_hour(body.hour)} lies in the notch as "
                "measured, where there is no rim: it blocks no corridor"
            )
            continue
        bodies.append(body)
    return RevisionObstacles(bodies=tuple(bodies), cautions=tuple(dict.fromkeys(cautions)))
