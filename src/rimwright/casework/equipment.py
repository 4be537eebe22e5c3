"""What to book for the theatre: anchors, drills, guides by portal, grafts, the worse case."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from rimwright.anatomy import (
    CamPlan,
    EquipmentItem,
    GraftKind,
    GraftStock,
    PlannedOption,
    RimTrim,
    WorsePlan,
    spoken_hour,
)
from rimwright.evidence import EvidenceTable

IF_WORSE = "only if the remnant is not usable"

_Size = tuple[float, float]


def list_equipment(
    planned: PlannedOption | None,
    *,
    grafts: Sequence[GraftKind],
    table: EvidenceTable,
    worse: WorsePlan | None = None,
    rim_trim: Sequence[RimTrim] = (),
    cam: CamPlan | None = None,
) -> tuple[EquipmentItem, ...]:
    """
    The equipment of the option shown first, spares and the worse case included.

    Parameters
    ----------
    planned
        None where nothing is planned.
    grafts
        To hand, in the order of preference.
    table
        Holds how many spares.
    worse
        The plan if the remnant is not usable: what it needs beyond the rest is listed as such.
    rim_trim, cam
        Work on bone that is planned.

    Returns
    -------
    tuple of EquipmentItem
        Anchors and drills by size, guides by portal, burr, grafts, then what only the worse case
        needs; empty for an option that needs nothing.
    """
    if planned is None:
        return ()
    items = [*_anchors(planned, table=table), *_drills(planned, table=table)]
    items += _guides(planned)
    parts = ["rim"] if rim_trim else []
    parts += ["neck of the femur"] if cam is not None and len(cam.resected_hours) else []
    if parts:
        spare = table.count("plan.spare_drill")
        items.append(
            EquipmentItem(
                item=f"burr for the {' and the '.join(parts)}",
                count=1 + spare,
                note=f"1 in use, {spare} spare",
            )
        )
    if planned.graft is not None:
        items += _grafts(planned.graft, grafts=grafts, spare=table.count("plan.spare_graft"))
    if worse is not None:
        items += _for_worse(planned, worse, table=table)
    return tuple(items)


def _sizes(planned: PlannedOption) -> Counter[_Size]:
    """How many anchors of each size."""
    return Counter((anchor.drill_mm, anchor.depth_mm) for anchor in planned.anchors)


def _spare(count: int, table: EvidenceTable) -> int:
    """How many anchors more than planned are booked."""
    return max(
        table.count("plan.spare_anchor_min"),
        math.ceil(count * table.number("plan.spare_anchor_fraction")),
    )


def _name(size: _Size) -> str:
    """An anchor in words."""
    return f"anchor for a {size[0]:g} mm drill, {size[1]:g} mm deep"


def _anchors(planned: PlannedOption, *, table: EvidenceTable) -> list[EquipmentItem]:
    """Anchors by size, with spares."""
    return [
        EquipmentItem(
            item=_name(size),
            count=count + _spare(count, table),
            note=f"{count} planned, {_spare(count, table)} spare",
        )
        for size, count in sorted(_sizes(planned).items())
    ]


def _drills(planned: PlannedOption, *, table: EvidenceTable) -> list[EquipmentItem]:
    """Drills by diameter, with spares."""
    spare = table.count("plan.spare_drill")
    return [
        EquipmentItem(
            item=f"drill {drill_mm:g} mm", count=1 + spare, note=f"1 in use, {spare} spare"
        )
        for drill_mm in sorted({anchor.drill_mm for anchor in planned.anchors})
    ]


def _guides(planned: PlannedOption) -> list[EquipmentItem]:
    """Drill guides by portal, with the anchors each is for."""
    by_portal: dict[tuple[str, float], list[float]] = {}
    for anchor in planned.anchors:
        by_portal.setdefault((anchor.portal or "", anchor.drill_mm), []).append(anchor.hour)
    items = []
    for (portal, drill_mm), hours in by_portal.items():
        through = f"the {portal} portal" if portal else "a portal chosen on the table"
        at = ", ".join(spoken_hour(hour) for hour in hours)
        items.append(
            EquipmentItem(
                item=f"guide for the {drill_mm:g} mm drill, through {through}",
                count=1,
                note=f"for the anchor{'s' if len(hours) > 1 else ''} at {at}",
            )
        )
    return items


def _grafts(stock: GraftStock, *, grafts: Sequence[GraftKind], spare: int) -> list[EquipmentItem]:
    """The graft in use, and one in reserve."""
    length = f"at least {stock.stock_length_mm:.0f} mm long"
    if stock.kind is None:
        return [
            EquipmentItem(
                item="graft",
                count=1 + spare,
                note=f"{length}; the case lists no graft to hand: name one",
            )
        ]
    width = _width(stock)
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


def _width(stock: GraftStock) -> str:
    """The diameter of a graft, as it follows its kind."""
    return "" if stock.diameter_mm is None else f", {stock.diameter_mm:g} mm"


def _for_worse(
    planned: PlannedOption, worse: WorsePlan, *, table: EvidenceTable
) -> list[EquipmentItem]:
    """What the worse case needs beyond what is listed already."""
    listed = {size: count + _spare(count, table) for size, count in _sizes(planned).items()}
    items = []
    for size, count in sorted(_sizes(worse.planned).items()):
        need = count + _spare(count, table)
        more = need - listed.get(size, 0)
        if more > 0:
            items.append(
                EquipmentItem(
                    item=_name(size),
                    count=more,
                    note=f"{IF_WORSE}: {count} would be planned, {_spare(count, table)} spare",
                )
            )
    in_use = {drill_mm for drill_mm, _ in listed}
    for drill_mm in sorted({drill for drill, _ in _sizes(worse.planned)} - in_use):
        spare = table.count("plan.spare_drill")
        items.append(
            EquipmentItem(
                item=f"drill {drill_mm:g} mm",
                count=1 + spare,
                note=f"{IF_WORSE}: 1 in use, {spare} spare",
            )
        )
    stock = worse.planned.graft
    if stock is None:
        return items
    graft = f"{stock.kind or 'graft'}{_width(stock)}"
    if planned.graft is None:
        items.append(
            EquipmentItem(
                item=graft,
                count=1,
                note=f"{IF_WORSE}: at least {stock.stock_length_mm:.0f} mm long",
            )
        )
    elif worse.graft_more_mm and round(worse.graft_more_mm):
        items.append(
            EquipmentItem(
                item=graft,
                count=1,
                note=f"{IF_WORSE}: at least {stock.stock_length_mm:.0f} mm long, in place of the "
                f"one of {planned.graft.stock_length_mm:.0f} mm",
            )
        )
    return items
