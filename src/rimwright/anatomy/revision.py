"""What earlier surgery left in and round the rim."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from rimwright.anatomy.clinic import SeenOn
from rimwright.anatomy.clock import spoken_hour, wrap_hour
from rimwright.anatomy.sector import Sector

OBSTACLE_STEP_HOURS = 0.25
"""Hours; an arc is given to the corridors as obstacles this close, the step of the rim itself."""


class RevisionKind(StrEnum):
    """What was found."""

    ANCHOR = "anchor"
    TUNNEL = "tunnel"
    CYST = "cyst"
    EARLIER_TRIM = "earlier trim"
    OSSICLE = "ossicle"
    CAPSULE_DEFECT = "capsule defect"

    @property
    def is_in_bone(self) -> bool:
        """Whether a drill can run into it."""
        return self in (RevisionKind.ANCHOR, RevisionKind.TUNNEL, RevisionKind.CYST)

    @property
    def is_left_by_surgery(self) -> bool:
        """Whether it can only be there after an operation."""
        return self in (RevisionKind.ANCHOR, RevisionKind.TUNNEL, RevisionKind.EARLIER_TRIM)


@dataclass(frozen=True, slots=True, kw_only=True)
class RevisionFinding:
    """
    One finding, by hour or by sector; neither where its place is not known.

    Parameters
    ----------
    kind
        What it is.
    hour, sector
        Where; at most one of them.
    size_mm
        Diameter of an anchor, tunnel, cyst or ossicle, depth of an earlier trim, width of a
        capsule defect, mm.
    depth_mm
        How deep an anchor, tunnel or cyst reaches below the rim, mm.
    note
        In words.
    seen_by
        What it was seen on.
    """

    kind: RevisionKind
    hour: float | None = None
    sector: Sector | None = None
    size_mm: float | None = None
    depth_mm: float | None = None
    note: str = ""
    seen_by: SeenOn | None = None

    def __post_init__(self) -> None:
        if self.hour is not None and self.sector is not None:
            raise ValueError(f"{self.kind}: give an hour or a sector, not both")
        for name in ("size_mm", "depth_mm"):
            value = getattr(self, name)
            if value is not None and not value >= 0.0:
                raise ValueError(f"{self.kind}: {name} is not a length (got {value:g})")

    @property
    def place(self) -> str:
        """Where, in words; '' where it is not known."""
        if self.hour is not None:
            return spoken_hour(self.hour)
        return str(self.sector) if self.sector is not None else ""

    def lies_in(self, sector: Sector) -> bool:
        """Whether it lies in an arc, or shares part of it; False where its place is unknown."""
        if self.hour is not None:
            return sector.contains(self.hour)
        return self.sector is not None and self.sector.overlap_hours(sector) > 0.0

    def hours(self) -> tuple[float, ...]:
        """The hours it takes: its own, or its whole arc in steps, both ends among them."""
        if self.hour is not None:
            return (self.hour,)
        if self.sector is None:
            return ()
        n_steps = max(1, round(self.sector.span_hours / OBSTACLE_STEP_HOURS))
        step = self.sector.span_hours / n_steps
        n_hours = n_steps if self.sector.is_whole_ring else n_steps + 1
        return tuple(wrap_hour(self.sector.from_hour + index * step) for index in range(n_hours))
