"""Graft stock: the arc of the sectors along the seating line and what handling adds to it."""

from __future__ import annotations

from collections.abc import Sequence

from rimwright.anatomy import Allowance, GraftKind, GraftStock, RimCurve, Sector
from rimwright.evidence import EvidenceTable
from rimwright.fixation.layout_arcs import arcs_of

AUTOGRAFT = "autograft"
"""Word in a graft's kind that makes its stock the least length to harvest."""


def graft_stock(
    rim: RimCurve,
    *,
    sectors: Sequence[Sector],
    grafts: Sequence[GraftKind],
    table: EvidenceTable,
) -> GraftStock:
    """
    Work out the stock of graft to have in the room; it is never a length to cut to.

    Parameters
    ----------
    rim
        The seating line is its curve.
    sectors
        Arcs to graft; those that touch are one graft, the notch is left out.
    grafts
        To hand, the first preferred; may be empty.
    table
        Settings in force.

    Returns
    -------
    GraftStock
        Arc, allowances with their evidence, and their sum. For an autograft the least to harvest.

    Notes
    -----
    Each separate arc needs its two ends held; the surplus is a share of the arc and is cut last,
    in place.
    """
    graft = grafts[0] if grafts else None
    is_autograft = graft is not None and AUTOGRAFT in graft.kind.lower()
    arcs = arcs_of(rim, sectors)
    arc_mm = float(sum(arc.length_mm for arc in arcs))
    share_name = "graft.autograft_surplus_fraction" if is_autograft else "graft.surplus_fraction"
    share = table.setting(share_name)
    end = table.setting("graft.end_allowance_mm")
    n_ends = 2 * len(arcs)
    allowances = []
    if arc_mm > 0.0:
        allowances.append(
            Allowance(
                reason=f"handling of {n_ends} ends, {end.value:g} mm each ({end.status})",
                length_mm=n_ends * end.value,
                evidence=tuple(end.evidence),
            )
        )
        purpose = "least surplus to harvest" if is_autograft else "surplus, cut last and in place"
        allowances.append(
            Allowance(
                reason=f"{purpose}: {100 * share.value:g} % of the arc ({share.status})",
                length_mm=share.value * arc_mm,
                evidence=tuple(share.evidence),
            )
        )
    return GraftStock(
        kind=graft.kind if graft else None,
        diameter_mm=graft.diameter_mm if graft else None,
        arc_mm=arc_mm,
        stock_length_mm=arc_mm + sum(allowance.length_mm for allowance in allowances),
        allowances=tuple(allowances),
    )
