"""Work on bone: a rim trimmed by sector with what it does to coverage, and a cam taken away."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from rimwright.anatomy.arrays import Floats, Ints, frozen_floats, frozen_ints
from rimwright.anatomy.measurement import Measurement
from rimwright.anatomy.sector import Sector


@dataclass(frozen=True, slots=True, kw_only=True)
class RimTrim:
    """
    Bone taken from the rim along one arc; nothing outside the arc is touched.

    Parameters
    ----------
    sector
        The arc; the depth tapers to nothing at both of its ends.
    depth_mm
        Full depth, along the articular surface from the bony edge towards the pole, mm, ≥ 0.
    """

    sector: Sector
    depth_mm: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.depth_mm < float("inf"):
            raise ValueError(f"depth_mm: need 0 or more (got {self.depth_mm})")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrimStep:
    """
    Coverage after the same arcs are taken to one depth.

    Parameters
    ----------
    depth_mm
        Full depth of every arc, mm.
    values
        Measurement key to value in its own unit; None where it cannot be taken.
    coverage_deg
        (120,) coverage by hour, deg; NaN in the notch.
    """

    depth_mm: float
    values: Mapping[str, float | None]
    coverage_deg: Floats

    def __post_init__(self) -> None:
        array = frozen_floats(self.coverage_deg, shape=(None,), name="coverage_deg", allow_nan=True)
        object.__setattr__(self, "coverage_deg", array)


@dataclass(frozen=True, slots=True, kw_only=True)
class PublishedEffect:
    """
    What a paper says of the same depth, beside what geometry gives for this hip.

    Parameters
    ----------
    evidence
        Id of the row.
    status
        Where its value was read, in the words of the evidence tables.
    statement
        One sentence.
    measurement
        Measurement key the number belongs to; '' where it belongs to none.
    change
        Change of it by the published figures at this depth; None where they do not hold or give
        no number.
    """

    evidence: str
    status: str
    statement: str
    measurement: str = ""
    change: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CoverageLimit:
    """
    One limit of coverage in force, and how this hip stands to it.

    Parameters
    ----------
    measurement
        Measurement key.
    setting, evidence, status
        Setting the limit comes from, what it rests on.
    limit, before, after
        The limit and the value before and after the trim, in the measurement's unit; None where it
        cannot be taken.
    room_mm
        Depth of the same arcs at which the limit is met; None where it is not met at any depth
        tried, or nothing was asked to be trimmed.
    is_kept
        Whether the value after the trim keeps the limit; None where it cannot be taken.
    """

    measurement: str
    setting: str
    evidence: tuple[str, ...]
    status: str
    limit: float
    before: float | None
    after: float | None
    room_mm: float | None
    is_kept: bool | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class TrimEffect:
    """
    What trimming the rim does to this hip, by geometry, with the published figures beside it.

    Parameters
    ----------
    trims
        What was asked for; empty for none.
    hours, depth_mm
        (120,) hours of the rim, and the depth taken there, tapers included, mm.
    coverage_before_deg, coverage_after_deg
        (120,) coverage by hour, deg; NaN in the notch.
    before, after
        Measurement key to measurement; those after are predicted.
    steps
        The same arcs at 0, 1 … 6 mm; empty where nothing was asked for.
    limits
        Limits in force.
    published
        Published figures with their status.
    warnings
        Lines for the surgeon.
    """

    trims: tuple[RimTrim, ...]
    hours: Floats
    depth_mm: Floats
    coverage_before_deg: Floats
    coverage_after_deg: Floats
    before: Mapping[str, Measurement]
    after: Mapping[str, Measurement]
    steps: tuple[TrimStep, ...] = ()
    limits: tuple[CoverageLimit, ...] = ()
    published: tuple[PublishedEffect, ...] = ()
    warnings: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        for name in ("hours", "depth_mm", "coverage_before_deg", "coverage_after_deg"):
            array = frozen_floats(getattr(self, name), shape=(None,), name=name, allow_nan=True)
            object.__setattr__(self, name, array)

    @property
    def deepest_mm(self) -> float:
        """Largest depth taken anywhere, mm."""
        return float(self.depth_mm.max()) if len(self.depth_mm) else 0.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CamPlan:
    """
    Bone to take from the head-neck junction so that alpha comes under its target.

    Parameters
    ----------
    femoral_hours
        (h,) hours of the femoral clock.
    angles_deg
        (a,) angle from the neck axis at the head centre, deg, increasing.
    contour_before_mm, contour_after_mm
        (h, a) distance of the bone from the head centre, mm; NaN where not seen.
    depth_map_mm
        (h, a) what is taken along the ray from the head centre, mm.
    depth_mm
        (h,) the most taken at each hour, mm.
    alpha_before_deg, alpha_after_deg
        (h,) alpha angle of the contours, deg; NaN where not seen.
    target_alpha_deg, target_source
        The target, and the setting or the user it comes from.
    other_targets
        Other cut-offs in print, as sentences with their evidence ids.
    resected_hours
        (k,) indices of the hours at which bone has to go for the target.
    neck_share_removed
        Largest share of the neck's width that is taken in any plane, 0 to 1.
    neck_share_hour
        Femoral hour of that; None where nothing is taken.
    volume_mm3
        Bone taken, mm³.
    cautions
        Lines for the surgeon.
    """

    femoral_hours: Floats
    angles_deg: Floats
    contour_before_mm: Floats
    contour_after_mm: Floats
    depth_map_mm: Floats
    depth_mm: Floats
    alpha_before_deg: Floats
    alpha_after_deg: Floats
    target_alpha_deg: float
    target_source: str
    other_targets: tuple[str, ...]
    resected_hours: Ints
    neck_share_removed: float
    neck_share_hour: float | None
    volume_mm3: float
    cautions: tuple[str, ...] = field(default=())

    def __post_init__(self) -> None:
        for name in (
            "femoral_hours",
            "angles_deg",
            "depth_mm",
            "alpha_before_deg",
            "alpha_after_deg",
        ):
            array = frozen_floats(getattr(self, name), shape=(None,), name=name, allow_nan=True)
            object.__setattr__(self, name, array)
        for name in ("contour_before_mm", "contour_after_mm", "depth_map_mm"):
            array = frozen_floats(
                getattr(self, name), shape=(None, None), name=name, allow_nan=True
            )
            object.__setattr__(self, name, array)
        hours = frozen_ints(self.resected_hours, shape=(None,), name="resected_hours")
        object.__setattr__(self, "resected_hours", hours)
