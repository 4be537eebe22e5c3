"""Published figures for a rim trim, each with its status; none moves a number of the plan."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rimwright.anatomy import PublishedEffect, RimTrim
from rimwright.evidence import EvidenceTable

LCEA, ACEA = "lateral_centre_edge_angle", "anterior_centre_edge_angle"


def find_published(
    trims: Sequence[RimTrim], *, radius_mm: float, table: EvidenceTable
) -> tuple[PublishedEffect, ...]:
    """
    What papers say of this depth.

    Parameters
    ----------
    trims
        Arcs and depths; the deepest is compared.
    radius_mm
        Radius of the lunate sphere, mm, for the figure from plain geometry.
    table
        Evidence.

    Returns
    -------
    tuple of PublishedEffect
        planning:3.01 to 3.06 and 3.08, in this order.
    """
    depth = max((trim.depth_mm for trim in trims), default=0.0)
    if depth <= 0.0:
        return ()
    return (
        _in_vivo(depth, table),
        _cadaver("planning:3.02", "lateral centre-edge angle", LCEA, depth, table),
        _cadaver("planning:3.03", "anterior centre-edge angle", ACEA, depth, table),
        _geometry(depth, radius_mm, table),
        *(_as_printed(row, table) for row in ("planning:3.05", "planning:3.06", "planning:3.08")),
    )


def _in_vivo(depth: float, table: EvidenceTable) -> PublishedEffect:
    """The regression on living hips: its text was never found, so it stands as unverified."""
    row = table.row("planning:3.01")
    numbers = row.numbers
    low, high = numbers["valid_low_mm"], numbers["valid_high_mm"]
    if low <= depth <= high:
        change = -(numbers["intercept"] + numbers["per_mm"] * depth)
        said = f"lateral centre-edge angle {change:+.1f}° at {depth:g} mm"
    else:
        change = None
        said = f"not used at {depth:g} mm: it holds from {low:g} to {high:g} mm"
    return PublishedEffect(
        evidence=row.id,
        status=str(row.status),
        statement=f"unverified, {row.status}: regression on living hips, radiographs; {said}",
        measurement=LCEA,
        change=change,
    )


def _cadaver(
    row_id: str, name: str, measurement: str, depth: float, table: EvidenceTable
) -> PublishedEffect:
    """A mean of cadaver hips trimmed from 12 to 3, in proportion to the depth."""
    row = table.row(row_id)
    change = -row.numbers["drop_at_10_mm"] / 10.0 * depth
    return PublishedEffect(
        evidence=row.id,
        status=str(row.status),
        statement=(
            f"cadaver hips, {row.population}: {name} {change:+.1f}° at {depth:g} mm, in proportion "
            "to the mean at 10 mm"
        ),
        measurement=measurement,
        change=change,
    )


def _geometry(depth: float, radius_mm: float, table: EvidenceTable) -> PublishedEffect:
    """Depth over radius."""
    row = table.row("planning:3.04")
    change = -float(np.degrees(depth / radius_mm))
    return PublishedEffect(
        evidence=row.id,
        status=str(row.status),
        statement=(
            f"plain geometry: coverage in the plane of an hour taken to {depth:g} mm "
            f"{change:+.1f}° (radius {radius_mm:.1f} mm)"
        ),
        change=change,
    )


def _as_printed(row_id: str, table: EvidenceTable) -> PublishedEffect:
    """A row that gives no formula: its value as printed."""
    row = table.row(row_id)
    return PublishedEffect(
        evidence=row.id,
        status=str(row.status),
        statement=f"{row.quantity}: {row.value} ({row.population})",
    )
