"""Layouts: every limit held, the cheapest chain found, the blocking hour named."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from fixation.socket_block import make_block
from rimwright.anatomy import AnchorKind, OldAnchor, Portal, Sector, Status
from rimwright.errors import CaseRefusal, LayoutRefusal
from rimwright.evidence import load_evidence
from rimwright.fixation import FixationLimits, build_mesh_field, lay_out_anchors
from rimwright.fixation.layout_arcs import LayoutArc
from rimwright.fixation.layout_candidates import Candidates
from rimwright.fixation.layout_program import best_chain

KIND = AnchorKind(drill_mm=1.8, depth_mm=18.0)
LESION = Sector(from_hour=11.0, to_hour=2.5)
RING = Sector(from_hour=0.0, to_hour=0.0)


@pytest.fixture(scope="module")
def block():
    bone, rim, faces = make_block()
    return bone, rim, build_mesh_field(bone, faces, centre_mm=np.zeros(3))


def limits(**overrides: float) -> FixationLimits:
    return FixationLimits.from_evidence(
        load_evidence(), {"margin_joint_mm": 1.0, "margin_cortex_mm": 1.0, **overrides}
    )


def gaps_mm(rim, anchors) -> list[float]:
    return [rim.arc_between_mm(a.hour, b.hour) for a, b in itertools.pairwise(anchors)]


def apart_mm(rim, one: float, other: float) -> float:
    return abs(rim.arc_position_mm(one) - rim.arc_position_mm(other))


def axis_points(anchor, n: int = 400) -> np.ndarray:
    along = np.linspace(0, anchor.depth_mm, n)
    return anchor.entry_mm + along[:, None] * anchor.direction


def assert_holds(rim, anchors, *, used: FixationLimits, start: float, end: float) -> None:
    """Ends, spacing, gaps between drills (by points along their axes) and status."""
    assert all(anchor.status is Status.OK for anchor in anchors)
    assert apart_mm(rim, start, anchors[0].hour) <= used.end_tolerance_mm + 1e-6
    assert apart_mm(rim, anchors[-1].hour, end) <= used.end_tolerance_mm + 1e-6
    assert max(gaps_mm(rim, anchors)) <= used.spacing_max_mm + 1e-6
    for a, b in itertools.combinations(anchors, 2):
        off = np.linalg.norm(axis_points(a)[:, None] - axis_points(b)[None], axis=2).min()
        # Points 0.05 mm apart overestimate the distance of two segments by less than 0.01 mm.
        assert off - (a.drill_mm + b.drill_mm) / 2 >= used.neighbour_gap_mm - 0.01


def test_a_lesion_is_held_within_every_limit(block) -> None:
    """45.8 mm of rim at a target of 8 mm: 6 or 7 anchors, ends held, no gap over 12 mm."""
    bone, rim, field = block
    used = limits()
    layout = lay_out_anchors(field, rim, bone=bone, sectors=[LESION], kinds=[KIND], limits=used)
    assert layout.blocked_hour is None
    assert layout.message == ""
    assert len(layout.anchors) in (6, 7)
    assert_holds(rim, layout.anchors, used=used, start=11.0, end=2.5)
    for anchor in layout.anchors:
        assert anchor.clearance_joint_mm >= 1.0
        assert anchor.clearance_cortex_mm >= 1.0
        assert anchor.portal is None


def test_a_whole_ring_leaves_the_notch_out_and_holds_its_ends(block) -> None:
    """The ring runs from the notch's far end round to its near end."""
    bone, rim, field = block
    used = limits()
    layout = lay_out_anchors(field, rim, bone=bone, sectors=[RING], kinds=[KIND], limits=used)
    assert not any(4.6 < a.hour < 7.4 for a in layout.anchors)
    assert_holds(rim, layout.anchors, used=used, start=7.4, end=4.6)


def test_a_ring_without_notch_closes_on_itself() -> None:
    """Without a notch there are no ends: the last gap, back to the first anchor, counts too."""
    bone, rim, faces = make_block(notch=False)
    field = build_mesh_field(bone, faces, centre_mm=np.zeros(3))
    used = limits()
    anchors = lay_out_anchors(
        field, rim, bone=bone, sectors=[RING], kinds=[KIND], limits=used
    ).anchors
    closing = rim.arc_between_mm(anchors[-1].hour, anchors[0].hour)
    assert closing <= used.spacing_max_mm + 1e-6
    # 157 mm at 8 mm: 19.6 gaps, so 19 or 20 of them, each within a step of the hours tried.
    assert len(anchors) in (19, 20)
    assert np.ptp([*gaps_mm(rim, anchors), closing]) < 3.0


def test_sectors_that_touch_are_one_arc_held_where_they_meet(block) -> None:
    """No gap may step over the place where two sectors touch by more than the end tolerance."""
    bone, rim, field = block
    used = limits(spacing_mm=12.0)
    layout = lay_out_anchors(
        field,
        rim,
        bone=bone,
        sectors=[Sector(from_hour=11.0, to_hour=12.5), Sector(from_hour=0.5, to_hour=2.0)],
        kinds=[KIND],
        limits=used,
    )
    at = rim.arc_position_mm(0.5)
    assert min(abs(rim.arc_position_mm(a.hour) - at) for a in layout.anchors) <= 3.0 + 1e-6


def all_chains(candidates: Candidates, *, arc_mm: float, used: FixationLimits, kind: AnchorKind):
    """Every chain that holds one arc, with its cost; by plain recursion over all subsets."""
    n = len(candidates)
    spans = candidates.directions * kind.depth_mm
    along = np.linspace(0, 1, 60)

    def clear(i: int, j: int) -> bool:
        a = candidates.entries[i] + along[:, None] * spans[i]
        b = candidates.entries[j] + along[:, None] * spans[j]
        off = np.linalg.norm(a[:, None] - b[None], axis=2).min()
        return off - kind.drill_mm >= used.neighbour_gap_mm

    pair_clear = {(i, j): clear(i, j) for i in range(n) for j in range(i + 1, n)}

    def extend(chain: list[int], cost: float):
        last = chain[-1]
        if candidates.along_mm[last] >= arc_mm - used.end_tolerance_mm - 1e-6:
            yield cost, tuple(chain)
        for j in range(last + 1, n):
            gap = candidates.along_mm[j] - candidates.along_mm[last]
            if 0 < gap <= used.spacing_max_mm and all(pair_clear[(i, j)] for i in chain):
                price = (gap / used.spacing_mm - 1) ** 2 + candidates.cost[j] + 1e-6
                yield from extend([*chain, j], cost + price)

    for i in range(n):
        if candidates.along_mm[i] <= used.end_tolerance_mm + 1e-6:
            yield from extend([i], candidates.cost[i] + 1e-6)


def line_of_drills(seed: int, *, n_places: int) -> Candidates:
    """Entries 5 mm apart along a straight edge, three drills each, tilted at random."""
    rng = np.random.default_rng(seed)
    along = np.repeat(np.arange(n_places) * 5.0, 3)
    tilt, aside = rng.uniform(-1.2, 1.2, len(along)), rng.uniform(-0.6, 0.6, len(along))
    n = len(along)
    return Candidates(
        arc=np.zeros(n, dtype=np.int64),
        along_mm=along,
        hour=along / 10.0,
        entries=np.column_stack([along, np.zeros(n), np.zeros(n)]),
        normals=np.tile([0.0, 0.0, 1.0], (n, 1)),
        directions=np.column_stack(
            [np.sin(tilt), np.cos(tilt) * np.sin(aside), -np.cos(tilt) * np.cos(aside)]
        ),
        kind=np.zeros(n, dtype=np.int64),
        portal=np.full(n, -1),
        portal_off_deg=np.full(n, np.nan),
        cost=rng.uniform(0, 0.3, n),
    )


@pytest.mark.oracle
@pytest.mark.parametrize("seed", range(12))
def test_the_program_finds_the_cheapest_of_all_chains(seed) -> None:
    """On drills that cross in depth the chain found costs what the cheapest of all subsets does."""
    kind = AnchorKind(drill_mm=2.0, depth_mm=40.0)
    used = limits(neighbour_gap_mm=1.5)
    few = line_of_drills(seed, n_places=6)
    arc = LayoutArc(
        hours=np.arange(6) / 2.0,
        along_mm=np.arange(6) * 5.0,
        length_mm=25.0,
        held_mm=(0.0, 25.0),
        closed=False,
    )
    cheapest = min(all_chains(few, arc_mm=25.0, used=used, kind=kind), default=None)
    found = best_chain(few, arcs=[arc], kinds=[kind], limits=used)
    if cheapest is None:
        assert found.rows == ()
    else:
        assert found.rows == cheapest[1]
        assert found.cost == pytest.approx(cheapest[0], abs=1e-9)


def test_the_blocking_hour_and_what_would_fit_are_named() -> None:
    """A bulky old tunnel at 12:45 blocks; the message says where and what stops it."""
    bone, rim, faces = make_block()
    old = OldAnchor(
        drill_mm=16.0, depth_mm=30.0, entry_mm=[29.5, 9.0, 0.0], direction=[0.0, 0.0, -1.0]
    )
    field = build_mesh_field(bone, faces, centre_mm=np.zeros(3), obstacles=[old])
    layout = lay_out_anchors(field, rim, bone=bone, sectors=[LESION], kinds=[KIND], limits=limits())
    assert layout.anchors == ()
    assert layout.blocked_hour is not None
    assert 0.1 < layout.blocked_hour < 1.1
    assert "an old anchor or tunnel is in the way" in layout.message
    assert "margin" not in layout.message


def test_a_shallower_hole_is_offered_where_the_depth_blocks() -> None:
    """A plate 28 mm thick holds no 70 mm hole: flat enough for its floor, too flat for its top."""
    bone, rim, faces = make_block(depth_mm=28.0, outer_mm=110.0, step_mm=2.0, n_around=180)
    field = build_mesh_field(bone, faces, centre_mm=np.zeros(3))
    deep = AnchorKind(drill_mm=1.8, depth_mm=70.0)
    layout = lay_out_anchors(field, rim, bone=bone, sectors=[LESION], kinds=[deep], limits=limits())
    assert layout.anchors == ()
    assert "the outer or inner wall is too near" in layout.message
    offered = float(layout.message.rpartition("drill, ")[2].partition(" mm")[0])
    assert 28.0 < offered < 70.0
    again = lay_out_anchors(
        field,
        rim,
        bone=bone,
        sectors=[LESION],
        kinds=[deep, AnchorKind(drill_mm=1.8, depth_mm=offered)],
        limits=limits(),
    )
    assert {anchor.depth_mm for anchor in again.anchors} == {offered}
    assert any(f"{offered:g} mm deep, is used" in caution for caution in again.cautions)


def test_the_first_kind_listed_is_used_where_it_has_a_layout(block) -> None:
    """Kinds further down the list stay in their box while the first fits."""
    bone, rim, field = block
    kinds = [KIND, AnchorKind(drill_mm=1.4, depth_mm=12.0)]
    layout = lay_out_anchors(field, rim, bone=bone, sectors=[LESION], kinds=kinds, limits=limits())
    assert {(a.drill_mm, a.depth_mm) for a in layout.anchors} == {(1.8, 18.0)}


def test_a_wide_drill_carries_its_caution(block) -> None:
    """Over 2.3 mm the caution names its evidence; at 2.3 mm there is none."""
    bone, rim, field = block
    for drill_mm, expected in ((2.9, True), (2.3, False)):
        layout = lay_out_anchors(
            field,
            rim,
            bone=bone,
            sectors=[LESION],
            kinds=[AnchorKind(drill_mm=drill_mm, depth_mm=15.0)],
            limits=limits(),
        )
        assert layout.anchors
        assert any("planning:5.13" in caution for caution in layout.cautions) is expected


def test_portals_decide_what_is_reached(block) -> None:
    """An anchor lies within the angle of its portal's line; without reach nothing is laid out."""
    bone, rim, field = block
    reach = (Sector(from_hour=9.0, to_hour=4.0),)
    # Above the rim's middle at 12:45, so that lines run down into the bone.
    over = Portal(name="over", skin_mm=[40.0, 16.0, 70.0], reaches=reach)
    used = limits(portal_max_off_deg=15.0)
    layout = lay_out_anchors(
        field, rim, bone=bone, sectors=[Sector(from_hour=0.0, to_hour=1.5)], kinds=[KIND],
        limits=used, portals=[over],
    )  # fmt: skip
    assert layout.anchors
    for anchor in layout.anchors:
        line = anchor.entry_mm - over.skin_mm
        off = np.degrees(np.arccos(line @ anchor.direction / np.linalg.norm(line)))
        assert off <= 15.0 + 1e-6
        assert anchor.portal_off_deg == pytest.approx(off, abs=1e-6)
        assert anchor.portal == "over"
    elsewhere = Portal(
        name="over", skin_mm=over.skin_mm, reaches=(Sector(from_hour=9, to_hour=11),)
    )
    blocked = lay_out_anchors(
        field, rim, bone=bone, sectors=[Sector(from_hour=0.0, to_hour=1.5)], kinds=[KIND],
        limits=used, portals=[elsewhere],
    )  # fmt: skip
    assert blocked.anchors == ()
    assert "no portal reaches" in blocked.message


def test_an_old_anchor_by_hour_alone_brings_its_doubt(block) -> None:
    """Its place is assumed, and the layout says so and keeps away from it."""
    bone, rim, field = block
    old = OldAnchor(drill_mm=2.9, depth_mm=15.0, hour=1.0)
    layout = lay_out_anchors(
        field, rim, bone=bone, sectors=[LESION], kinds=[KIND], limits=limits(), old_anchors=[old]
    )
    assert any("known by its hour only" in caution for caution in layout.cautions)
    entry = rim.point_at(1.0) * (25.0 + 4.0) / 25.0
    direction = rim.bone_inward_at(1.0)
    old_axis = entry + np.linspace(0, 15.0, 300)[:, None] * direction
    for anchor in layout.anchors:
        off = np.linalg.norm(axis_points(anchor)[:, None] - old_axis[None], axis=2).min()
        assert off - 0.9 - 1.45 >= 1.5 + 2.0 - 0.02


def test_tissue_in_the_notch_has_nothing_to_hold_on_to(block) -> None:
    """A sector inside the notch is blocked in words; one that ends there is held at its edge."""
    bone, rim, field = block
    inside = lay_out_anchors(
        field, rim, bone=bone, sectors=[Sector(from_hour=5.0, to_hour=7.0)], kinds=[KIND],
        limits=limits(),
    )  # fmt: skip
    assert inside.anchors == ()
    assert "notch" in inside.message
    across = lay_out_anchors(
        field, rim, bone=bone, sectors=[Sector(from_hour=3.5, to_hour=6.0)], kinds=[KIND],
        limits=limits(),
    )  # fmt: skip
    assert across.anchors
    assert max(a.hour for a in across.anchors) <= 4.6
    assert any("6:00 lies in the notch" in caution for caution in across.cautions)


@pytest.mark.fault
def test_what_is_missing_is_refused_in_one_line(block) -> None:
    """No kinds, no sectors, an old anchor without a place or in the notch."""
    bone, rim, field = block
    with pytest.raises(LayoutRefusal, match="no kind of anchor is given"):
        lay_out_anchors(field, rim, bone=bone, sectors=[LESION], kinds=[], limits=limits())
    with pytest.raises(LayoutRefusal, match="no sector is given"):
        lay_out_anchors(field, rim, bone=bone, sectors=[], kinds=[KIND], limits=limits())
    for old, words in (
        (OldAnchor(drill_mm=2.9, depth_mm=15.0), "neither an hour nor an entry"),
        (OldAnchor(drill_mm=2.9, depth_mm=15.0, hour=6.0), "lies in the notch"),
    ):
        with pytest.raises(CaseRefusal, match=words):
            lay_out_anchors(
                field, rim, bone=bone, sectors=[LESION], kinds=[KIND], limits=limits(),
                old_anchors=[old],
            )  # fmt: skip
