"""Each option laid out on bone: anchors, graft stock, and why where there are none."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from rimwright.anatomy import (
    HipGeometry,
    Option,
    PlannedOption,
    Sector,
    Stance,
    hour_gap,
)
from rimwright.casework.case_settings import SettingsInForce
from rimwright.casework.ground import BoneToFix
from rimwright.fixation import Layout, anchors_with_density, graft_stock, lay_out_anchors

SAME_HOUR = 1e-9
"""Arcs whose ends differ by rounding only meet."""


def joined(sectors: Iterable[Sector]) -> tuple[Sector, ...]:
    """
    Join arcs that meet end to end: tissue that runs on is fixed as one.

    Parameters
    ----------
    sectors
        That do not overlap.

    Returns
    -------
    tuple of Sector
        In order of their first hour.
    """
    ordered = sorted(sectors, key=lambda sector: sector.from_hour)
    found: list[Sector] = []
    for sector in ordered:
        if found and hour_gap(found[-1].to_hour, sector.from_hour) < SAME_HOUR:
            found[-1] = Sector(from_hour=found[-1].from_hour, to_hour=sector.to_hour)
        else:
            found.append(sector)
    if len(found) > 1 and hour_gap(found[-1].to_hour, found[0].from_hour) < SAME_HOUR:
        last = found.pop()
        found[0] = Sector(from_hour=last.from_hour, to_hour=found[0].to_hour)
    return tuple(sorted(found, key=lambda sector: sector.from_hour))


class OptionLayouts:
    """
    Lays out options one after the other; arcs already laid out are not computed again.

    Parameters
    ----------
    ground
        The bone; None where there is none to lay anything out on.
    why_not
        Why there is none.
    hip
        As measured; None where the case names no bones.
    used
        Settings in force.
    """

    def __init__(
        self,
        *,
        ground: BoneToFix | None,
        why_not: str,
        hip: HipGeometry | None,
        used: SettingsInForce,
    ) -> None:
        self._ground = ground
        self._why_not = why_not
        self._rim = None if hip is None else hip.rim
        self._used = used
        self._done: dict[tuple[Sector, ...], Layout] = {}

    def lay_out(self, option: Option) -> PlannedOption:
        """
        Lay out one option.

        Parameters
        ----------
        option
            Its actions by sector.

        Returns
        -------
        PlannedOption
            Without anchors where none fit or none are needed; its cautions say which.
        """
        if option.stance is Stance.NOT_POSSIBLE or not option.actions:
            return PlannedOption(
                option=option, cautions=("Nothing is laid out: this option acts on no sector.",)
            )
        fixed = joined(item.sector for item in option.actions if item.action.needs_anchors)
        grafted = joined(item.sector for item in option.actions if item.action.needs_graft)
        cautions: list[str] = []
        layout = self._layout(fixed, cautions)
        graft = None
        if grafted and self._rim is not None:
            graft = graft_stock(
                self._rim, sectors=grafted, grafts=self._used.grafts, table=self._used.table
            )
        elif grafted:
            cautions.append(f"No graft stock: {self._why_not}.")
        return PlannedOption(
            option=option,
            anchors=layout.anchors if layout else (),
            graft=graft,
            cautions=tuple(dict.fromkeys(cautions)),
        )

    def _layout(self, fixed: Sequence[Sector], cautions: list[str]) -> Layout | None:
        """The anchors of an option, with what is to be said about them."""
        if not fixed:
            cautions.append("No anchors: nothing is fixed to the rim.")
            return None
        if self._ground is None:
            cautions.append(f"No anchors laid out: {self._why_not}.")
            return None
        if not self._used.anchors:
            cautions.append("No anchors laid out: the case says that none are to hand.")
            return None
        arcs = tuple(fixed)
        if arcs not in self._done:
            ground = self._ground
            found = lay_out_anchors(
                ground.field,
                ground.rim,
                bone=ground.bone,
                sectors=arcs,
                kinds=self._used.anchors,
                limits=self._used.limits,
                portals=ground.portals,
                old_anchors=ground.old_anchors,
            )
            anchors = anchors_with_density(ground.field, found.anchors)
            self._done[arcs] = replace(found, anchors=anchors)
        layout = self._done[arcs]
        if layout.message:
            cautions.append(layout.message)
        cautions.extend(layout.cautions)
        return layout
