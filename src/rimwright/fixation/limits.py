"""The limits a drill must keep, taken from the evidence and from the case's own settings."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields, replace

from rimwright.errors import CaseRefusal
from rimwright.evidence import EvidenceTable


@dataclass(frozen=True, slots=True, kw_only=True)
class FixationLimits:
    """
    What corridors and layouts keep; each field is the setting `fixation.<field>`.

    Parameters
    ----------
    margin_joint_mm, margin_cortex_mm
        Bone between the drill's surface and the joint, and every other bone surface, mm.
    cortex_margin_from_depth_mm
        Depth below the entry from which the second margin counts, mm.
    spacing_mm, spacing_max_mm, end_tolerance_mm
        Along the rim: target and largest gap of neighbours, largest gap at an end, mm.
    neighbour_gap_mm
        Bone between the surfaces of two drills, mm.
    old_anchor_doubt_mm
        Kept besides round an old anchor known by its hour alone, mm.
    entry_offset_min_mm, entry_offset_max_mm
        Entry from the bony edge along the outer face, mm.
    drill_caution_mm
        A wider drill carries a caution, mm.
    aiming_error_deg
        A corridor that tolerates less carries a caution, deg.
    portal_max_off_deg
        Setting `portal.max_off_deg`: largest angle of a drill against its portal's line, deg.
    """

    margin_joint_mm: float
    margin_cortex_mm: float
    cortex_margin_from_depth_mm: float
    spacing_mm: float
    spacing_max_mm: float
    end_tolerance_mm: float
    neighbour_gap_mm: float
    old_anchor_doubt_mm: float
    entry_offset_min_mm: float
    entry_offset_max_mm: float
    drill_caution_mm: float
    aiming_error_deg: float
    portal_max_off_deg: float

    def __post_init__(self) -> None:
        for name, low, high in (
            ("entry_offset", self.entry_offset_min_mm, self.entry_offset_max_mm),
            ("spacing", self.spacing_mm, self.spacing_max_mm),
        ):
            if low > high:
                raise CaseRefusal(
                    f"its smaller value is above its larger (got {low:g} and {high:g} mm)",
                    f"settings, {name}",
                    "Set both so that the first is not the larger",
                )

    @classmethod
    def from_evidence(
        cls, table: EvidenceTable, overrides: Mapping[str, float] | None = None
    ) -> FixationLimits:
        """
        The evidence table's settings with a case's own over them.

        Parameters
        ----------
        table
            Settings in force.
        overrides
            Field name of this class to value, in its own unit; None for none.

        Raises
        ------
        CaseRefusal
            An override names no limit, or the limits contradict each other.
        """
        names = [field.name for field in fields(cls)]
        limits = cls(**{name: table.number(_setting_name(name)) for name in names})
        unknown = sorted(set(overrides or {}) - set(names))
        if unknown:
            raise CaseRefusal(
                f"not a limit of fixation (need one of {', '.join(names)})",
                f"settings, {unknown[0]}",
                "Correct the name or leave it out",
            )
        return replace(limits, **dict(overrides)) if overrides else limits


def _setting_name(field_name: str) -> str:
    """The evidence setting behind a field."""
    if field_name == "portal_max_off_deg":
        return "portal.max_off_deg"
    return f"fixation.{field_name}"
