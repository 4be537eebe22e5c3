"""What is booked for the worse case: only what the option shown first does not bring already."""

from __future__ import annotations

from rimwright.anatomy import (
    Action,
    Anchor,
    GraftStock,
    Option,
    PlannedOption,
    Sector,
    SectorAction,
    Stance,
    WorsePlan,
)
from rimwright.casework.equipment import IF_WORSE, list_equipment
from rimwright.evidence import load_evidence


def option(*, drills, stock_mm=None, action=Action.REPAIR):
    """An option with one anchor for each drill, 20 mm deep, all through one portal."""
    sector = Sector(from_hour=0.0, to_hour=2.0)
    stock = GraftStock(kind="tendon", diameter_mm=6.0, arc_mm=40.0, stock_length_mm=stock_mm or 0.0)
    return PlannedOption(
        option=Option(
            name="repair",
            stance=Stance.OPEN,
            actions=(SectorAction(sector=sector, action=action),),
        ),
        anchors=tuple(
            Anchor(
                hour=0.5 * number,
                entry_mm=[0.0, 0.0, 0.0],
                direction=[0.0, 0.0, 1.0],
                depth_mm=20.0,
                drill_mm=drill,
                clearance_joint_mm=3.0,
                clearance_cortex_mm=3.0,
                half_angle_deg=10.0,
                portal="anterior",
            )
            for number, drill in enumerate(drills)
        ),
        graft=stock if stock_mm else None,
    )


def booked(shown, worse, *, more_mm):
    """Lines of the list that only the worse case needs, item to count and note."""
    plan = WorsePlan(planned=worse, anchors_more=0, graft_more_mm=more_mm)
    items = list_equipment(shown, grafts=(), table=load_evidence(), worse=plan)
    return {item.item: (item.count, item.note) for item in items if IF_WORSE in item.note}


def test_the_same_anchors_and_graft_are_not_booked_twice():
    """Nothing more is needed where anchors and stock are the same."""
    shown = option(drills=[1.8, 1.8], stock_mm=70.0)
    assert booked(shown, option(drills=[1.8, 1.8], stock_mm=70.0), more_mm=0.0) == {}


def test_more_anchors_with_their_spares_less_what_is_there():
    """2 planned and 2 spare against 9 and 3 spare: 8 more; no second drill of the same size."""
    shown = option(drills=[1.8] * 2, stock_mm=70.0)
    found = booked(shown, option(drills=[1.8] * 9, stock_mm=70.0), more_mm=0.0)
    assert {item: count for item, (count, _) in found.items()} == {
        "anchor for a 1.8 mm drill, 20 mm deep": 8
    }


def test_another_size_brings_its_drill():
    """A size that the option shown first does not use comes with spares and with its drills."""
    shown = option(drills=[1.8], stock_mm=70.0)
    found = booked(shown, option(drills=[2.9], stock_mm=70.0), more_mm=0.0)
    assert {item: count for item, (count, _) in found.items()} == {
        "anchor for a 2.9 mm drill, 20 mm deep": 3,
        "drill 2.9 mm": 2,
    }


def test_a_longer_graft_says_what_it_stands_in_for():
    """A longer stock is booked in place of the shorter one; a first one as itself."""
    longer = option(drills=[1.8], stock_mm=90.0)
    (note,) = [
        note
        for _, note in booked(option(drills=[1.8], stock_mm=70.0), longer, more_mm=20.0).values()
    ]
    assert note == f"{IF_WORSE}: at least 90 mm long, in place of the one of 70 mm"
    (note,) = [note for _, note in booked(option(drills=[1.8]), longer, more_mm=90.0).values()]
    assert note == f"{IF_WORSE}: at least 90 mm long"
