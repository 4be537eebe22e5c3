"""Anchors laid out along the rim: margins kept, each reached by a portal, or the reason why not."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rimwright.anatomy import (
    HOURS_ON_DIAL,
    Anchor,
    AnchorKind,
    OldAnchor,
    Portal,
    RimCurve,
    Sector,
    Status,
    TriangleMesh,
    hour_gap,
    spoken_hour,
)
from rimwright.errors import LayoutRefusal
from rimwright.fixation.blocked_hour import explain_block
from rimwright.fixation.corridor_bank import CorridorBank, bank_of
from rimwright.fixation.judging import clearances_mm
from rimwright.fixation.layout_arcs import LAYOUT_STEP_HOURS, SAME_HOUR, arcs_of
from rimwright.fixation.layout_candidates import Candidates, list_candidates
from rimwright.fixation.layout_polish import Drill, polish
from rimwright.fixation.layout_program import Chain, best_chain
from rimwright.fixation.limits import FixationLimits
from rimwright.fixation.mesh_field import MeshBoneField, check_same_bone

DRILL_EVIDENCE = "planning:5.13"
"""Evidence row behind the caution of a wide drill."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Layout:
    """
    Anchors along some sectors, or the hour that blocks them.

    Parameters
    ----------
    anchors
        In order along the rim from 6; empty where no layout exists.
    blocked_hour
        Where no anchor fits that is needed; None where the layout exists.
    message
        What blocks, and what would fit there; '' where the layout exists.
    cautions
        Doubts of this layout.
    """

    anchors: tuple[Anchor, ...]
    blocked_hour: float | None = None
    message: str = ""
    cautions: tuple[str, ...] = ()


def lay_out_anchors(
    field: MeshBoneField,
    rim: RimCurve,
    *,
    bone: TriangleMesh,
    sectors: Sequence[Sector],
    kinds: Sequence[AnchorKind],
    limits: FixationLimits,
    portals: Sequence[Portal] = (),
    old_anchors: Sequence[OldAnchor] = (),
) -> Layout:
    """
    Lay out the anchors that hold some sectors.

    Parameters
    ----------
    field, rim, bone
        The bone's field, its rim, the hip bone.
    sectors
        Arcs of tissue to fix; the notch is left out, those that touch are one arc.
    kinds
        Anchors to hand in order of preference.
    limits
        Margins, spacing, ends.
    portals
        Empty where portals are not known; else a portal must reach every anchor.
    old_anchors
        Anchors already there, besides the field's obstacles.

    Returns
    -------
    Layout
        All anchors `ok`, or none and the hour that blocks.

    Raises
    ------
    LayoutRefusal
        No kind of anchor or no sector is given, or the field was built from another bone.
    CaseRefusal
        An old anchor has no place.

    Notes
    -----
    The least cost over every chain of candidates (`layout_program`), of gaps off their target,
    tolerance lacking, kinds down the list, entries far from the edge and portals off their line;
    no gap over `spacing_max_mm`, an anchor within `end_tolerance_mm` of each end, no two drills
    nearer than `neighbour_gap_mm`. Then each direction is turned to where it tolerates most, as
    long as all that still holds.
    """
    if not kinds:
        raise LayoutRefusal(
            "no kind of anchor is given (need at least one)",
            "layout of anchors",
            "List the anchors to hand",
        )
    if not sectors:
        raise LayoutRefusal(
            "no sector is given (need at least one)",
            "layout of anchors",
            "Name the hours of tissue to fix",
        )
    check_same_bone(field, bone)
    bank = bank_of(field, rim, limits=limits, old_anchors=old_anchors)
    arcs = arcs_of(rim, sectors)
    if not arcs:
        return Layout(
            anchors=(),
            blocked_hour=sectors[0].middle_hour,
            message="The tissue to fix lies in the notch, where there is no bone to drill.",
        )
    # The kinds further down the list are looked at only where those before have no layout.
    for n_kinds in range(1, len(kinds) + 1):
        candidates = list_candidates(field, bank, arcs=arcs, kinds=kinds[:n_kinds], portals=portals)
        chain = best_chain(candidates, arcs=arcs, kinds=kinds[:n_kinds], limits=limits)
        if chain.rows:
            break
    if not chain.rows:
        hour, message = explain_block(
            field, bank, chain=chain, candidates=candidates, arcs=arcs, kinds=kinds,
            portals=portals,
        )  # fmt: skip
        return Layout(
            anchors=(),
            blocked_hour=hour,
            message=message,
            cautions=_general_cautions(bank, sectors=sectors, rim=rim),
        )
    anchors = _anchors(field, bank, candidates, chain=chain, kinds=kinds, portals=portals)
    return Layout(
        anchors=anchors,
        cautions=(
            *_general_cautions(bank, sectors=sectors, rim=rim),
            *_anchor_cautions(anchors, kinds=kinds, limits=limits),
        ),
    )


def _anchors(
    field: MeshBoneField,
    bank: CorridorBank,
    candidates: Candidates,
    *,
    chain: Chain,
    kinds: Sequence[AnchorKind],
    portals: Sequence[Portal],
) -> tuple[Anchor, ...]:
    """The records of a chain, each turned to where it tolerates most."""
    drills = [
        Drill(
            hour=float(candidates.hour[row]),
            kind=kinds[candidates.kind[row]],
            entry=candidates.entries[row],
            normal=candidates.normals[row],
            direction=candidates.directions[row],
            skin=portals[candidates.portal[row]].skin_mm - field.origin_mm
            if candidates.portal[row] >= 0
            else None,
            portal=portals[candidates.portal[row]].name if candidates.portal[row] >= 0 else None,
        )
        for row in chain.rows
    ]
    return tuple(
        _anchor(field, drill, half_angle_deg=angle, limits=bank.limits)
        for drill, angle in polish(field, bank, drills)
    )


def _anchor(
    field: MeshBoneField, drill: Drill, *, half_angle_deg: float, limits: FixationLimits
) -> Anchor:
    """One record, its clearances measured afresh against every triangle."""
    joint, cortex = clearances_mm(
        field,
        entry=drill.entry,
        direction=drill.direction,
        kind=drill.kind,
        cortex_from_mm=limits.cortex_margin_from_depth_mm,
    )
    kept = joint >= limits.margin_joint_mm and cortex >= limits.margin_cortex_mm
    return Anchor(
        hour=drill.hour,
        entry_mm=drill.entry + field.origin_mm,
        direction=drill.direction,
        depth_mm=drill.kind.depth_mm,
        drill_mm=drill.kind.drill_mm,
        clearance_joint_mm=joint,
        clearance_cortex_mm=cortex,
        half_angle_deg=half_angle_deg,
        portal=drill.portal,
        portal_off_deg=drill.portal_off_deg,
        status=Status.OK if kept else Status.REFUSED,
        reason="" if kept else "a margin is not held",
    )


def _general_cautions(
    bank: CorridorBank, *, sectors: Sequence[Sector], rim: RimCurve
) -> tuple[str, ...]:
    """Doubts that hold whether or not a layout exists."""
    cautions = []
    if any(row.by_hour_only for row in bank.old_rows):
        cautions.append(
            "An old anchor is known by its hour only: it is taken to lie half-way between the "
            f"faces, with {bank.limits.old_anchor_doubt_mm:g} mm of doubt round it."
        )
    for sector in sectors:
        ends = () if sector.is_whole_ring else (sector.from_hour, sector.to_hour)
        cautions += [
            f"The end at {spoken_hour(hour)} lies in the notch: it is held at the notch's edge "
            "instead."
            for hour in ends
            if _hours_to_bone(rim, hour) > LAYOUT_STEP_HOURS + SAME_HOUR
        ]
    return tuple(cautions)


def _hours_to_bone(rim: RimCurve, hour: float) -> float:
    """Hours from an hour to the nearest tenth where the rim has a point."""
    return min(
        (hour_gap(hour, float(tenth)) for tenth in rim.hours[rim.is_bone]), default=HOURS_ON_DIAL
    )


def _anchor_cautions(
    anchors: Sequence[Anchor], *, kinds: Sequence[AnchorKind], limits: FixationLimits
) -> tuple[str, ...]:
    """Doubts of the anchors chosen: other kinds, wide drills, little tolerance."""
    cautions = []
    other: dict[tuple[float, float], list[float]] = {}
    for anchor in anchors:
        size = (anchor.drill_mm, anchor.depth_mm)
        if size != (kinds[0].drill_mm, kinds[0].depth_mm):
            other.setdefault(size, []).append(anchor.hour)
    for (drill, depth), hours in other.items():
        cautions.append(
            f"At {_spoken(hours)} a {drill:g} mm drill, {depth:g} mm deep, is used: the first "
            f"listed ({kinds[0].drill_mm:g} mm, {kinds[0].depth_mm:g} mm deep) finds no place "
            "there that goes with its neighbours."
        )
    cautions += [
        f"The {drill:g} mm drill is wider than {limits.drill_caution_mm:g} mm: more perforations "
        f"of the joint without more stability ({DRILL_EVIDENCE})."
        for drill in sorted({anchor.drill_mm for anchor in anchors})
        if drill > limits.drill_caution_mm
    ]
    narrow = [a.hour for a in anchors if a.half_angle_deg < limits.aiming_error_deg]
    if narrow:
        cautions.append(
            f"At {_spoken(narrow)} the corridor tolerates less than "
            f"{limits.aiming_error_deg:g} degrees of aiming error."
        )
    return tuple(cautions)


def _spoken(hours: Sequence[float]) -> str:
    """Hours as read aloud, joined."""
    return ", ".join(spoken_hour(hour) for hour in hours)
