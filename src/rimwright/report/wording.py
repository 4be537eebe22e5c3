"""Words of the report: the sentence on every page, names of measurements, numbers with units."""

from __future__ import annotations

from rimwright.anatomy import Measurement, Side, Stance, Status
from rimwright.evidence import EvidenceRow

NOTICE = (
    "Aid for planning and discussion by a licensed surgeon. Not a medical device, not validated "
    "for clinical decisions. Check every measurement on the images. Local regulations, the implant "
    "maker's instructions and the surgeon's judgement come first."
)
"""Stands on every page of everything that could guide an operation."""

MEASUREMENT_NAMES = {
    "lateral_centre_edge_angle": "Lateral centre-edge angle, bone edge",
    "lateral_centre_edge_angle_sourcil": "Lateral centre-edge angle, sourcil",
    "anterior_centre_edge_angle": "Anterior centre-edge angle",
    "tonnis_angle": "Tönnis angle",
    "sharp_angle": "Sharp angle",
    "extrusion_index": "Extrusion index",
    "acetabular_version_cranial": "Acetabular version, cranial",
    "acetabular_version_central": "Acetabular version, central",
    "anterior_sector_angle": "Anterior sector angle",
    "posterior_sector_angle": "Posterior sector angle",
    "horizontal_sector_angle": "Horizontal sector angle",
    "subtended_angle": "Subtended angle of the socket",
    "alpha_angle_max": "Largest alpha angle",
    "head_neck_offset": "Head–neck offset",
    "neck_shaft_angle": "Neck–shaft angle",
    "femoral_version": "Femoral version",
    "joint_space_min": "Smallest joint space",
}

COMPARABLE_ROWS = {
    "lateral_centre_edge_angle": "planning:2.08",
    "acetabular_version_central": "planning:2.27",
    "anterior_sector_angle": "planning:2.22",
    "posterior_sector_angle": "planning:2.23",
    "subtended_angle": "planning:1.18",
}
"""Measurement to the evidence row taken on CT in the same way; radiographic rows are left out."""

ALPHA_BY_HOUR_ROW = "planning:2.38"
"""Alpha on radial CT planes: the one row taken as the curve is taken."""

STATUS_SHAPES = {Status.OK: "●", Status.CAUTION: "▲", Status.REFUSED: "✕"}
STANCE_SHAPES = {
    Stance.SUPPORTED: "◆",
    Stance.OPEN: "◇",
    Stance.ADVISED_AGAINST: "▼",
    Stance.NOT_POSSIBLE: "✕",
}


def side_words(side: Side) -> str:
    """The side as written at the head of a page: LEFT hip."""
    return f"{side.value.upper()} hip"


def number(value: float | None, unit: str, *, digits: int = 1) -> str:
    """A number with its unit, never without: 31.2°, 3.8 mm, 22.0 %; a dash where there is none."""
    if value is None or value != value:
        return "–"
    shown = f"{value:.{digits}f}".replace("-", "−")
    if unit in ("deg", "°"):
        return f"{shown}°"
    if unit in ("", "ratio"):
        return shown
    return f"{shown} {unit}"


def measured(measurement: Measurement) -> str:
    """The value of a measurement with its unit."""
    return number(measurement.value, measurement.unit)


def spread_of(measurement: Measurement) -> str:
    """The spread with its sign and unit, or words where none was made."""
    if measurement.value is None:
        return "–"
    if measurement.spread is None:
        return "not made"
    return f"± {number(measurement.spread, measurement.unit)}"


def count_of(n: int, singular: str, *, plural: str | None = None) -> str:
    """1 anchor, 2 anchors, no anchors."""
    word = singular if n == 1 else (plural or f"{singular}s")
    return f"{n or 'no'} {word}"


def with_unit(row: EvidenceRow) -> str:
    """The value of an evidence row with its unit, as printed."""
    if row.unit == "deg":
        return f"{row.value}°" if row.value[-1:].isdigit() else f"{row.value} (degrees)"
    return row.value if row.unit in ("", "–", "-") else f"{row.value} {row.unit}"


def plain(name: str) -> str:
    """A key as words: margin_joint_mm is 'margin joint, mm'."""
    units = {"mm": "mm", "deg": "°", "mm3": "mm³", "percent": "%", "n": "N", "hours": "hours"}
    head, _, last = name.rpartition("_")
    if head and last in units:
        return f"{head.replace('_', ' ').replace('.', ': ')}, {units[last]}"
    return name.replace("_", " ").replace(".", ": ")
