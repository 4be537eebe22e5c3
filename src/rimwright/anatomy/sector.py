"""An arc of the rim from hour to hour, through increasing hours, that may cross 12."""

from __future__ import annotations

from dataclasses import dataclass

from rimwright.anatomy.clock import HOURS_ON_DIAL, hours_after, spoken_hour, wrap_hour

_SAME_HOUR = 1e-9  # hours; an end that went through arithmetic still counts as the end


@dataclass(frozen=True, slots=True, kw_only=True)
class Sector:
    """
    An arc of the clock; equal ends mean the whole ring.

    Parameters
    ----------
    from_hour, to_hour
        Hours; 12 is stored as 0. The arc runs through increasing hours.
    """

    from_hour: float
    to_hour: float

    def __post_init__(self) -> None:
        object.__setattr__(self, "from_hour", wrap_hour(self.from_hour))
        object.__setattr__(self, "to_hour", wrap_hour(self.to_hour))

    @property
    def span_hours(self) -> float:
        """Length of the arc in hours, (0, 12]."""
        span = hours_after(self.from_hour, self.to_hour)
        return span if span > 0.0 else HOURS_ON_DIAL

    @property
    def is_whole_ring(self) -> bool:
        """Whether the arc is the full circle."""
        return self.span_hours == HOURS_ON_DIAL

    @property
    def middle_hour(self) -> float:
        """Hour half-way along the arc."""
        return wrap_hour(self.from_hour + self.span_hours / 2)

    def contains(self, hour: float) -> bool:
        """Whether an hour lies on the arc, ends included."""
        along = hours_after(self.from_hour, hour)
        return along <= self.span_hours + _SAME_HOUR or HOURS_ON_DIAL - along <= _SAME_HOUR

    def overlap_hours(self, other: Sector) -> float:
        """Hours shared by two arcs (touching ends share nothing)."""
        start = hours_after(self.from_hour, other.from_hour)
        shared = 0.0
        for shift in (-HOURS_ON_DIAL, 0.0):
            low = max(0.0, start + shift)
            high = min(self.span_hours, start + shift + other.span_hours)
            shared += max(0.0, high - low)
        return shared

    def split_at(self, hour: float) -> tuple[Sector, ...]:
        """Cut the arc at an hour strictly inside it; otherwise the arc itself."""
        along = hours_after(self.from_hour, hour)
        if not _SAME_HOUR < along < self.span_hours - _SAME_HOUR:
            return (self,)
        return (
            Sector(from_hour=self.from_hour, to_hour=hour),
            Sector(from_hour=hour, to_hour=self.to_hour),
        )

    def __str__(self) -> str:
        if self.is_whole_ring:
            return "whole ring"
        return f"{spoken_hour(self.from_hour)} to {spoken_hour(self.to_hour)}"
