"""What stands on the rim, run by run: the labrum found, what is done with it, the graft brought."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import pairwise

from rimwright.anatomy import (
    HOURS_ON_DIAL,
    Action,
    LabrumMap,
    LabrumSector,
    PlannedOption,
    Tissue,
    hours_after,
    wrap_hour,
)
from rimwright.report.unrolled import station_of

DRAWN_WIDTH_MM = 5.0
"""Height a labrum of unread width is drawn with, dotted; a drawing, not a measurement."""
DRAWN_GRAFT_MM = 5.0
"""Height a graft of unstated diameter is drawn with, dotted; a drawing, not a measurement."""


class Native(StrEnum):
    """How the native labrum of a run is drawn."""

    BAND = "band"
    UNMEASURED = "unmeasured"
    ABSENT = "absent"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """
    A stretch of the rim over which nothing changes.

    Parameters
    ----------
    start, end
        Stations, hours after 6.
    found
        The labrum sector; None where nothing is known.
    action
        What the option does here; None where it leaves the labrum as it is.
    graft_mm
        Diameter of the graft; None where the equipment lists none.
    """

    start: float
    end: float
    found: LabrumSector | None
    action: Action | None
    graft_mm: float | None

    @property
    def native(self) -> Native:
        """How the native labrum is drawn."""
        if self.found is None:
            return Native.UNKNOWN
        if self.found.tissue is Tissue.ABSENT:
            return Native.ABSENT
        return Native.UNMEASURED if self.found.width_mm is None else Native.BAND

    @property
    def is_removed(self) -> bool:
        """Whether the native labrum goes: debrided, or a graft stands instead."""
        return self.action in (Action.DEBRIDE, Action.REPLACE)

    @property
    def has_graft(self) -> bool:
        """Whether a graft is brought here."""
        return self.action is not None and self.action.needs_graft

    @property
    def native_height_mm(self) -> float:
        """Height the native labrum is drawn with, mm."""
        if self.native is Native.ABSENT:
            return 0.0
        width_mm = None if self.found is None else self.found.width_mm
        return DRAWN_WIDTH_MM if width_mm is None else width_mm

    @property
    def graft_height_mm(self) -> float:
        """Height the graft is drawn with, mm."""
        if not self.has_graft:
            return 0.0
        return DRAWN_GRAFT_MM if self.graft_mm is None else self.graft_mm

    @property
    def graft_base_mm(self) -> float:
        """Where the graft begins above the rim: on a kept remnant, else on the rim, mm."""
        return self.native_height_mm if self.action is Action.AUGMENT else 0.0

    @property
    def height_mm(self) -> float:
        """Highest thing drawn, mm."""
        return max(self.native_height_mm, self.graft_base_mm + self.graft_height_mm)


def tissue_runs(labrum: LabrumMap, option: PlannedOption | None) -> tuple[Run, ...]:
    """
    Cut the rim wherever a sector of the map or of the option begins or ends.

    Parameters
    ----------
    labrum
        What was found.
    option
        What is done; None draws the labrum as it is.

    Returns
    -------
    tuple of Run
        From 6 through 9, 12 and 3 back to 6, without gaps.
    """
    actions = option.option.actions if option else ()
    sectors = [item.sector for item in labrum.sectors] + [item.sector for item in actions]
    cuts = {0.0, HOURS_ON_DIAL}
    for sector in sectors:
        if not sector.is_whole_ring:
            cuts |= {station_of(sector.from_hour), station_of(sector.to_hour)}
    ordered = sorted(cuts)
    graft_mm = option.graft.diameter_mm if option and option.graft else None
    runs = []
    for start, end in pairwise(ordered):
        middle = wrap_hour((start + end) / 2 + 6.0)
        done = [
            item.action
            for item in actions
            if hours_after(item.sector.from_hour, middle) < item.sector.span_hours
        ]
        runs.append(
            Run(
                start=start,
                end=end,
                found=labrum.at(middle),
                action=done[-1] if done else None,
                graft_mm=graft_mm,
            )
        )
    return tuple(runs)


def graft_runs(runs: Sequence[Run]) -> tuple[Run, ...]:
    """The grafted stretches, joined where the graft runs on at the same height."""
    joined: list[Run] = []
    for run in runs:
        if not run.has_graft:
            continue
        last = joined[-1] if joined else None
        if (
            last is not None
            and last.end == run.start
            and last.graft_base_mm == run.graft_base_mm
            and last.graft_height_mm == run.graft_height_mm
        ):
            joined[-1] = replace(last, end=run.end)
        else:
            joined.append(run)
    return tuple(joined)
