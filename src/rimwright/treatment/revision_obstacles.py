"""What earlier surgery left in the bone, as obstacles that corridors keep away from."""

from __future__ import annotations

from collections.abc import Iterable

from rimwright.anatomy import OldAnchor, RevisionFinding, RevisionKind
from rimwright.evidence import EvidenceTable


def obstacles_of(
    revision: Iterable[RevisionFinding], table: EvidenceTable
) -> tuple[OldAnchor, ...]:
    """
    Anchors, tunnels and cysts as bodies in the rim.

    Parameters
    ----------
    revision
        What was found; what does not lie in bone, and what has no place, makes no obstacle.
    table
        Sizes and depths taken where nobody gave them.

    Returns
    -------
    tuple of OldAnchor
        By hour; one for each quarter hour of an arc. A cyst reaches as deep as it is wide where
        its depth is not given.
    """
    drill_mm = table.number("revision.assumed_drill_mm")
    depth_mm = table.number("revision.assumed_depth_mm")
    obstacles = []
    for item in revision:
        if not item.kind.is_in_bone:
            continue
        size = item.size_mm or drill_mm
        deep = item.depth_mm or (size if item.kind is RevisionKind.CYST else depth_mm)
        obstacles += [OldAnchor(drill_mm=size, depth_mm=deep, hour=hour) for hour in item.hours()]
    return tuple(obstacles)


def revision_cautions(revision: Iterable[RevisionFinding], table: EvidenceTable) -> tuple[str, ...]:
    """
    What was assumed to make obstacles, and what could not be made one.

    Parameters
    ----------
    revision
        What was found.
    table
        Sizes and depths taken where nobody gave them.

    Returns
    -------
    tuple of str
        One sentence for each finding in bone that is not fully described.
    """
    cautions = []
    for item in revision:
        if not item.kind.is_in_bone:
            continue
        name = f"{item.kind}{f' at {item.place}' if item.place else ''}"
        if not item.place:
            cautions.append(f"{name}: its place is not known, so it blocks no corridor")
            continue
        taken = []
        if item.size_mm is None:
            setting = table.setting("revision.assumed_drill_mm")
            taken.append(f"a diameter of {setting.value:g} mm ({setting.status})")
        if item.depth_mm is None and item.kind is RevisionKind.CYST:
            taken.append("a depth equal to its diameter")
        elif item.depth_mm is None:
            setting = table.setting("revision.assumed_depth_mm")
            taken.append(f"a depth of {setting.value:g} mm ({setting.status})")
        if taken:
            cautions.append(f"{name}: taken with {' and '.join(taken)}")
    return tuple(cautions)
