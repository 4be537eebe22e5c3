"""Words for what came out of a scan: the scan itself, and the density along a drill."""

from __future__ import annotations

from collections.abc import Sequence

from rimwright.anatomy import Anchor, Plan, ScanSource
from rimwright.report.blocks import Cell
from rimwright.report.wording import number

DENSITY_HEADER = "Density\nHU"
DENSITY_CAPTION = "density along the drill (HU, this scan)"
DENSITY_NOTE = (
    "Density along the drill (HU, this scan): mean, and in brackets the least cross-section, from "
    "4 mm below the entry to the tip. Hounsfield units are not calibrated between scanners: no "
    "cut-off is applied, and nothing here rests on them."
)


def source_facts(plan: Plan) -> tuple[tuple[str, str], ...]:
    """What the hip was measured in, as a pair; none where it was measured on surfaces."""
    if plan.source is None:
        return ()
    labels = "label map used" if plan.source.has_labels else "no label map"
    return (("measured in", f"{plan.source}; {labels}"),)


def source_details(plan: Plan) -> tuple[tuple[str, str], ...]:
    """The same for the back of the report, with what else is known of the scan."""
    source = plan.source
    if source is None:
        if plan.hip is None:
            return ()
        return (("Measured on", "surfaces of the bones, as given"),)
    return (
        ("Measured in", str(source)),
        ("Slice thickness", _thickness(source)),
        ("Label map", "used to tell the bones apart" if source.has_labels else "none"),
    )


def knows_density(anchors: Sequence[Anchor]) -> bool:
    """Whether the density along any of the drills is known."""
    return any(anchor.density_mean_hu is not None for anchor in anchors)


def density_cell(anchor: Anchor) -> Cell:
    """Mean and least density along one drill; a dash where a part of it was not scanned."""
    if anchor.density_mean_hu is None or anchor.density_least_hu is None:
        return Cell(text="–")
    mean = number(anchor.density_mean_hu, "", digits=0)
    least = number(anchor.density_least_hu, "", digits=0)
    return Cell(text=f"{mean} ({least})")


def _thickness(source: ScanSource) -> str:
    """Slice thickness in words."""
    if source.slice_thickness_mm is None:
        return "not stated"
    return number(source.slice_thickness_mm, "mm", digits=2)
