"""Why a layout fails: the hour that blocks it, what stops a drill there, and what would fit."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from rimwright.anatomy import AnchorKind, Portal, spoken_hour
from rimwright.fixation.corridor_bank import CorridorBank, HourRoom
from rimwright.fixation.corridors import what_blocks
from rimwright.fixation.layout_arcs import LayoutArc
from rimwright.fixation.layout_candidates import Candidates, choose_drills, reaches
from rimwright.fixation.layout_program import Chain
from rimwright.fixation.mesh_field import MeshBoneField

DRILL_STEP_MM = 0.1
LEAST_DRILL_MM = 1.0
"""Thinner drills are not asked about: none is in use (planning:5.21 begins at 1.4 mm)."""
DEPTH_STEP_MM = 1.0
LEAST_DEPTH_MM = 6.0
"""Shallower holes are not asked about: the margin to the cortex counts from 4 mm on only."""
_WORDS = {
    "joint": "the joint surface is too near",
    "cortex": "the outer or inner wall is too near",
    "old anchor": "an old anchor or tunnel is in the way",
}


def explain_block(
    field: MeshBoneField,
    bank: CorridorBank,
    *,
    chain: Chain,
    candidates: Candidates,
    arcs: Sequence[LayoutArc],
    kinds: Sequence[AnchorKind],
    portals: Sequence[Portal],
) -> tuple[float, str]:
    """
    Name the blocking hour and say what would fit there.

    Parameters
    ----------
    field, bank
        The bone and what was worked out on it.
    chain
        How far the chains came.
    candidates, arcs, kinds, portals
        Of the layout.

    Returns
    -------
    hour, message
        The hour in the middle of the stretch that needs an anchor and finds none, and sentences
        on what stops it and what would fit; a smaller margin is never offered.
    """
    arc = arcs[chain.stuck_arc]
    hour = _blocking_hour(chain, candidates, arc=arc)
    drill = f"a {kinds[0].drill_mm:g} mm drill, {kinds[0].depth_mm:g} mm deep"
    if len(kinds) > 1:
        drill = "any drill listed"
    place = f"No layout: at {spoken_hour(hour)}"
    rooms = [bank.rooms(field, kind, [hour])[0] for kind in kinds]
    fits_anywhere = any(r.fits.any() for r in rooms)
    if fits_anywhere and portals and not any(_is_reached(field, bank, r, portals) for r in rooms):
        stopped = f"{place} no portal reaches {drill}, though it fits the bone."
        return hour, f"{stopped} A portal in line with the bone there would serve."
    if fits_anywhere:
        return hour, (
            f"{place} {drill} fits the bone, but not with its neighbours: spacing, gap between "
            "drills and portals cannot all be kept."
        )
    stopped = f"{place} nothing fits {drill}: {_WORDS[what_blocks(field, bank, kinds[0], hour)]}."
    offers = _what_would_fit(field, bank, kinds[-1], hour=hour, portals=portals)
    if not offers:
        return hour, f"{stopped} Neither a thinner drill nor a shallower hole fits there."
    return hour, f"{stopped} There would fit: {' or '.join(offers)}."


def _blocking_hour(chain: Chain, candidates: Candidates, *, arc: LayoutArc) -> float:
    """Middle of the stretch without a candidate that stops the chains."""
    here = candidates.along_mm[candidates.arc == chain.stuck_arc]
    after = here[here > max(chain.stuck_mm, -1.0) + 1e-9]
    low = max(chain.stuck_mm, 0.0)
    high = float(after.min()) if len(after) else arc.length_mm
    middle = 0.5 * (low + high) if len(here) else 0.0
    hours = arc.hours[np.abs(arc.along_mm - middle).argmin()]
    return float(hours)


def _is_reached(
    field: MeshBoneField, bank: CorridorBank, room: HourRoom, portals: Sequence[Portal]
) -> bool:
    """Whether a portal reaches a drill that fits at an hour."""
    skins = [
        portal.skin_mm - field.origin_mm if reaches(portal, room.hour) else None
        for portal in portals
    ]
    return bool(choose_drills(room, skins=skins, limits=bank.limits, need_portal=True))


def _what_would_fit(
    field: MeshBoneField,
    bank: CorridorBank,
    kind: AnchorKind,
    *,
    hour: float,
    portals: Sequence[Portal],
) -> list[str]:
    """The widest thinner drill, and the deepest shallower hole, that fit at an hour."""

    def fits(tried: AnchorKind) -> bool:
        room = bank.rooms(field, tried, [hour])[0]
        if portals:
            return _is_reached(field, bank, room, portals)
        return bool(room.fits.any())

    offers = []
    thinner = np.arange(LEAST_DRILL_MM, kind.drill_mm - 1e-9, DRILL_STEP_MM)
    drill = _largest(thinner, lambda mm: fits(replace(kind, drill_mm=round(mm, 3))))
    if drill is not None:
        offers.append(f"a {drill:g} mm drill, {kind.depth_mm:g} mm deep")
    shallower = np.arange(LEAST_DEPTH_MM, kind.depth_mm - 1e-9, DEPTH_STEP_MM)
    depth = _largest(shallower, lambda mm: fits(replace(kind, depth_mm=round(mm, 3))))
    if depth is not None:
        offers.append(f"a {kind.drill_mm:g} mm drill, {depth:g} mm deep")
    return offers


def _largest(values: np.ndarray, fits) -> float | None:  # type: ignore[no-untyped-def]
    """The largest value that fits, by halving: what fits a size fits every smaller one."""
    low, high = -1, len(values)
    while high - low > 1:
        middle = (low + high) // 2
        if fits(float(values[middle])):
            low = middle
        else:
            high = middle
    return round(float(values[low]), 3) if low >= 0 else None
