"""What to book for the theatre: anchors and drills by size, grafts, spares."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from rimwright.anatomy import EquipmentItem, GraftKind, PlannedOption
from rimwright.evidence import EvidenceTable


def list_equipment(
    planned: PlannedOption | None, *, grafts: Sequence[GraftKind], table: EvidenceTable
) -> tuple[EquipmentItem, ...]:
    """
    The equipment of the option shown first, spares included.

    Parameters
    ----------
    planned
        None where nothing is planned.
    grafts
        To hand, in the order of preference.
    table
        Holds how many spares.

    Returns
    -------
    tuple of EquipmentItem
        Anchors and drills by size, then grafts; empty for an option that fixes nothing.
    """
    if planned is None:
        return ()
    items = []
    sizes = Counter((anchor.drill_mm, anchor.depth_mm) for anchor in planned.anchors)
    for (drill_mm, depth_mm), count in sorted(sizes.items()):
        spare = max(
            table.count("plan.spare_anchor_min"),
            math.ceil(count * table.number("plan.spare_anchor_fraction")),
        )
        items.append(
            EquipmentItem(
                item=f"anchor for a {drill_mm:g} mm drill, {depth_mm:g} mm deep",
                count=count + spare,
                note=f"{count} planned, {spare} spare",
            )
        )
    for drill_mm in sorted({drill for drill, _ in sizes}):
        spare = table.count("plan.spare_drill")
        items.append(
            EquipmentItem(
                item=f"drill {drill_mm:g} mm with its guide",
                count=1 + spare,
                note=f"1 in use, {spare} spare",
            )
        )
    if planned.graft is not None:
        items.extend(_grafts(planned, grafts=grafts, spare=table.count("plan.spare_graft")))
    return tuple(items)


def _grafts(
    planned: PlannedOption, *, grafts: Sequence[GraftKind], spare: int
) -> list[EquipmentItem]:
    """The graft in use, and one in reserve."""
    stock = planned.graft
    if stock is None:
        return []
    length = f"at least {stock.stock_length_mm:.0f} mm long"
    if stock.kind is None:
        return [
            EquipmentItem(
                item="graft",
                count=1 + spare,
                note=f"{length}; the case lists no graft to hand: name one",
            )
        ]
    width = "" if stock.diameter_mm is None else f", {stock.diameter_mm:g} mm"
    found = [
        EquipmentItem(
            item=f"{stock.kind}{width}",
            count=1,
            note=f"{length}; the surplus is cut last, in place",
        )
    ]
    others = [kind for kind in grafts if kind.kind != stock.kind]
    if spare and others:
        other = others[0]
        item = f"{other.kind}, {other.diameter_mm:g} mm"
        found.append(EquipmentItem(item=item, count=spare, note=f"in reserve, {length}"))
    elif spare and "autograft" not in stock.kind.casefold():
        found.append(
            EquipmentItem(item=f"{stock.kind}{width}", count=spare, note=f"in reserve, {length}")
        )
    return found
