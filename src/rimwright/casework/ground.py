"""The bone a case is fixed on: portals and corridors, kept while the same hip is planned again."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar
from weakref import WeakKeyDictionary

from rimwright.anatomy import (
    Corridor,
    HipGeometry,
    OldAnchor,
    Portal,
    RimCurve,
    RimTrim,
    TriangleMesh,
)
from rimwright.casework.case_settings import SettingsInForce
from rimwright.casework.hip_store import StoredHip
from rimwright.casework.trimmed_ground import stored_after_trim
from rimwright.evidence import EvidenceTable
from rimwright.fixation import MeshBoneField, PortalPlacement, find_corridors, place_portals

MOST_KEPT = 16
"""Results kept for one hip: settings and drills tried in one sitting."""

NO_BONES = "the case names no bones"

_Kept = TypeVar("_Kept")
_MEMORY: WeakKeyDictionary[MeshBoneField, OrderedDict[Hashable, tuple[HipGeometry, Any]]] = (
    WeakKeyDictionary()
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BoneToFix:
    """
    What anchors are laid out on.

    Parameters
    ----------
    hip, bone, rim, field
        The hip, its hip bone, rim and bone field.
    placement
        Portals, and what is to be said of them.
    old_anchors
        Already in the rim.
    """

    hip: HipGeometry
    bone: TriangleMesh
    rim: RimCurve
    field: MeshBoneField
    placement: PortalPlacement
    old_anchors: tuple[OldAnchor, ...] = ()

    @property
    def portals(self) -> tuple[Portal, ...]:
        """Portals that could be placed."""
        return tuple(self.placement.portals)


def ground_of(
    stored: StoredHip | None, *, old_anchors: Sequence[OldAnchor], used: SettingsInForce
) -> BoneToFix | str:
    """
    The bone to fix on, or why there is none.

    Parameters
    ----------
    stored
        The measured hip; None where the case names no bones.
    old_anchors
        Everything in the rim that drills are kept off.
    used
        Settings in force.

    Returns
    -------
    BoneToFix or str
        The reason in words where no rim can be drilled.
    """
    if stored is None:
        return NO_BONES
    hip, field = stored.hip, stored.field
    if hip.rim is None or hip.pelvis_bone is None or field is None:
        return hip.unavailable.get("rim", "no rim was found on the bones given")
    numbers = tuple(setting.value for setting in used.table.settings.values())
    placement = _kept(
        hip,
        field,
        ("portals", numbers),
        lambda: place_portals(hip, used.table, field=field),
    )
    return BoneToFix(
        hip=hip,
        bone=hip.pelvis_bone,
        rim=hip.rim,
        field=field,
        placement=placement,
        old_anchors=tuple(old_anchors),
    )


def cut_once(stored: StoredHip, trims: Sequence[RimTrim], *, table: EvidenceTable) -> StoredHip:
    """
    The hip as a trim leaves it, cut once for one trim.

    Parameters
    ----------
    stored
        As measured.
    trims
        What is taken.
    table
        Settings in force.

    Returns
    -------
    StoredHip
        See `stored_after_trim`.
    """
    if stored.field is None:
        return stored_after_trim(stored, trims, table=table)
    numbers = tuple(setting.value for setting in table.settings.values())
    return _kept(
        stored.hip,
        stored.field,
        ("trim", tuple(trims), numbers),
        lambda: stored_after_trim(stored, trims, table=table),
    )


def corridors_of(ground: BoneToFix, *, used: SettingsInForce) -> tuple[Corridor, ...]:
    """
    Corridors of the first anchor listed, every 0.25 h outside the notch.

    Parameters
    ----------
    ground
        The bone.
    used
        Settings in force; without an anchor there are no corridors.

    Returns
    -------
    tuple of Corridor
        In the order of the hours.
    """
    if not used.anchors:
        return ()
    kind = used.anchors[0]
    old = tuple(_facts(anchor) for anchor in ground.old_anchors)
    return _kept(
        ground.hip,
        ground.field,
        ("corridors", kind, used.limits, old),
        lambda: find_corridors(
            ground.field,
            ground.rim,
            bone=ground.bone,
            kind=kind,
            limits=used.limits,
            old_anchors=ground.old_anchors,
        ),
    )


def _kept(
    hip: HipGeometry, field: MeshBoneField, key: Hashable, work: Callable[[], _Kept]
) -> _Kept:
    """The result of the same work on the same bone, done once; the oldest are forgotten."""
    shelf = _MEMORY.setdefault(field, OrderedDict())
    full_key = (id(hip), key)
    if full_key not in shelf:
        shelf[full_key] = (hip, work())  # the hip is held too, so that its id stays its own
        while len(shelf) > MOST_KEPT:
            shelf.popitem(last=False)
    return shelf[full_key][1]


def _facts(anchor: OldAnchor) -> Hashable:
    """An old anchor as a key: equal for equal hardware."""
    entry = None if anchor.entry_mm is None else tuple(anchor.entry_mm.tolist())
    direction = None if anchor.direction is None else tuple(anchor.direction.tolist())
    return (anchor.drill_mm, anchor.depth_mm, anchor.hour, entry, direction)
