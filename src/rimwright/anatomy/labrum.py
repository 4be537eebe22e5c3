"""The labrum by the clock: per sector, each field possibly unknown (None)."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from rimwright.anatomy.clock import ClockReference, hour_gap
from rimwright.anatomy.sector import Sector


class Tissue(StrEnum):
    """Quality of the labral tissue."""

    GOOD = "good"
    POOR = "poor"
    ABSENT = "absent"


class Attachment(StrEnum):
    """Whether the labrum holds to the rim."""

    ATTACHED = "attached"
    DETACHED = "detached"


class Fibres(StrEnum):
    """Whether the circumferential fibres run through the sector."""

    CONTINUOUS = "continuous"
    INTERRUPTED = "interrupted"


class Tear(StrEnum):
    """Whether there is a tear and whether it moves."""

    NONE = "none"
    STABLE = "stable"
    UNSTABLE = "unstable"


class SeenBy(StrEnum):
    """How a reading was made; widths differ by modality, so it is part of the value."""

    PROBE = "probe"
    MR = "MR"
    CT_ARTHROGRAM = "CT arthrogram"


@dataclass(frozen=True, slots=True, kw_only=True)
class LabrumSector:
    """
    What is known of one sector; None means unknown, never healthy.

    Parameters
    ----------
    sector
        The arc.
    width_mm, thickness_mm
        Measured, mm.
    tissue, attachment, fibres, tear, seals, calcified, prior_suture
        Findings.
    tear_type
        Free words of the trade (radial flap, longitudinal …).
    cartilage_grade, cartilage_scale
        Grade of the acetabular cartilage beside the labrum, and the scale it is on.
    seen_by
        Modality of the reading.
    reference
        What the hours were counted from.
    """

    sector: Sector
    width_mm: float | None = None
    thickness_mm: float | None = None
    tissue: Tissue | None = None
    attachment: Attachment | None = None
    fibres: Fibres | None = None
    seals: bool | None = None
    tear: Tear | None = None
    tear_type: str | None = None
    calcified: bool | None = None
    prior_suture: bool | None = None
    cartilage_grade: int | None = None
    cartilage_scale: str | None = None
    seen_by: SeenBy | None = None
    reference: ClockReference | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class LabrumMap:
    """
    Sectors that do not overlap; what they leave open is unknown.

    Parameters
    ----------
    sectors
        In order of their first hour.
    """

    sectors: tuple[LabrumSector, ...] = ()

    def __post_init__(self) -> None:
        ordered = tuple(sorted(self.sectors, key=lambda item: item.sector.from_hour))
        object.__setattr__(self, "sectors", ordered)
        for position, first in enumerate(ordered):
            for second in ordered[position + 1 :]:
                if first.sector.overlap_hours(second.sector) > 1e-9:
                    raise ValueError(f"sectors overlap: {first.sector} and {second.sector}")

    def at(self, hour: float) -> LabrumSector | None:
        """The sector an hour lies in, or None where nothing is known."""
        for item in self.sectors:
            if item.sector.contains(hour):
                return item
        return None

    def unknown_sectors(self) -> tuple[Sector, ...]:
        """The arcs no sector speaks of."""
        if not self.sectors:
            return (Sector(from_hour=0.0, to_hour=0.0),)
        gaps = []
        for first, second in zip(self.sectors, (*self.sectors[1:], self.sectors[0]), strict=True):
            if first.sector.is_whole_ring:
                return ()
            start, end = first.sector.to_hour, second.sector.from_hour
            if hour_gap(start, end) > 1e-9:
                gaps.append(Sector(from_hour=start, to_hour=end))
        return tuple(gaps)
