"""Metal in the scan: what blocks drills, what the case says better, what is only told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from casework.scan_fixture import metal_at
from rimwright.anatomy import OldAnchor
from rimwright.casework import case_from_document, plan_case
from rimwright.casework.metal_ground import (
    DIFFERS_MM,
    MOST_LENGTH_MM,
    MOST_WIDTH_MM,
    metal_obstacles,
)
from rimwright.evidence import load_evidence
from rimwright.fixation import FixationLimits

LIMITS = FixationLimits.from_evidence(load_evidence())


def with_metal(stored, *pieces):
    """The stored hip as if its scan showed metal."""
    return replace(stored, metal=pieces)


def listed_at(piece, *, shift_mm=0.0):
    """An old anchor of the case where a piece lies, moved across its axis."""
    across = np.cross(piece.axis, [0.0, 0.0, 1.0])
    across /= np.linalg.norm(across)
    return OldAnchor(
        drill_mm=2.9,
        depth_mm=15.0,
        entry_mm=piece.centre_mm - piece.length_mm / 2 * piece.axis + shift_mm * across,
        direction=piece.axis,
    )


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_slim_piece_near_the_rim_is_a_body(stored, sign):
    """Entry is the end nearer the rim, direction into bone, whichever way its axis was given."""
    rim = stored.hip.rim
    piece = metal_at(stored.hip, 2.0)
    piece = replace(piece, axis=sign * piece.axis)
    found = metal_obstacles(with_metal(stored, piece), listed=(), limits=LIMITS)
    (body,) = found.bodies
    assert body.entry_mm == pytest.approx(rim.point_at(2.0) + 2.0 * rim.bone_inward_at(2.0))
    assert body.direction == pytest.approx(rim.bone_inward_at(2.0))
    assert (body.drill_mm, body.depth_mm) == (4.0, 14.0)
    (text,) = found.cautions
    assert "Metal at 2:00, 14 mm long and 4 mm wide" in text
    assert "the case does not list" in text


@pytest.mark.parametrize(
    "changes",
    [
        {"width_mm": MOST_WIDTH_MM + 0.1},
        {"length_mm": MOST_LENGTH_MM + 0.1},
        {"centre_mm": np.array([0.0, 0.0, 400.0])},
    ],
)
def test_what_cannot_be_an_anchor_is_told_and_blocks_nothing(stored, changes):
    """Too wide, too long or too far: no guess, a sentence."""
    piece = metal_at(stored.hip, 2.0, **changes)
    found = metal_obstacles(with_metal(stored, piece), listed=(), limits=LIMITS)
    assert found.bodies == ()
    (text,) = found.cautions
    assert "not taken for an old anchor and blocks no drill here" in text


@pytest.mark.parametrize("lies_in", ["femur", "elsewhere"])
def test_metal_outside_the_hip_bone_is_no_obstacle(stored, lies_in):
    """A nail of the femur is the scan's own warning, not a body in the rim."""
    piece = metal_at(stored.hip, 2.0, lies_in=lies_in)
    found = metal_obstacles(with_metal(stored, piece), listed=(), limits=LIMITS)
    assert (found.bodies, found.cautions) == ((), ())


@pytest.mark.parametrize(("shift_mm", "is_said"), [(0.0, False), (2.9, False), (3.1, True)])
def test_the_case_wins_and_a_difference_is_said(stored, shift_mm, is_said):
    """Listed there already: no second body; beyond 3 mm the plan says which one is kept off."""
    piece = metal_at(stored.hip, 2.0)
    found = metal_obstacles(
        with_metal(stored, piece), listed=(listed_at(piece, shift_mm=shift_mm),), limits=LIMITS
    )
    assert found.bodies == ()
    assert bool(found.cautions) is is_said
    assert DIFFERS_MM == 3.0
    if is_said:
        assert "lies 3 mm from the old anchor that the case lists there" in found.cautions[0]
        assert "the one of the case, not off the metal" in found.cautions[0]


def test_an_anchor_known_by_its_hour_is_matched_where_it_is_laid(stored):
    """The hour of the case, laid into the bone as a drill would be, stands for the metal there."""
    piece = metal_at(stored.hip, 2.0)
    old = OldAnchor(drill_mm=2.9, depth_mm=15.0, hour=2.0)
    assert metal_obstacles(with_metal(stored, piece), listed=(old,), limits=LIMITS).bodies == ()
    far = replace(old, hour=10.0)
    assert len(metal_obstacles(with_metal(stored, piece), listed=(far,), limits=LIMITS).bodies) == 1


def test_one_listed_anchor_stands_for_one_piece(stored):
    """Two pieces and one entry in the case: the nearer is listed, the other is a body."""
    near, other = metal_at(stored.hip, 2.0), metal_at(stored.hip, 2.25)
    found = metal_obstacles(
        with_metal(stored, other, near), listed=(listed_at(near),), limits=LIMITS
    )
    (body,) = found.bodies
    rim = stored.hip.rim
    assert body.entry_mm == pytest.approx(rim.point_at(2.25) + 2.0 * rim.bone_inward_at(2.25))


def test_without_a_rim_or_metal_there_is_nothing(stored):
    """No hip, no field, no metal: nothing to keep off and nothing to say."""
    piece = metal_at(stored.hip, 2.0)
    for hip in (None, replace(with_metal(stored, piece), field=None), stored):
        found = metal_obstacles(hip, listed=(), limits=LIMITS)
        assert (found.bodies, found.cautions) == ((), ())


def test_planned_drills_keep_off_the_metal(demo, stored):
    """The body stands in the plan, with its caution, and no drill comes nearer than the gap."""
    document = {key: value for key, value in demo.document.items() if key != "revision"}
    document["old_anchor"] = []
    folder = demo.sources.pelvis.parent
    case = case_from_document(document, folder=folder, where="case.toml")
    free = plan_case(case, hip=stored)
    hour = free.anchors[len(free.anchors) // 2].hour
    piece = metal_at(stored.hip, hour)
    plan = plan_case(case, hip=with_metal(stored, piece))
    (body,) = plan.old_anchors
    assert any("taken for an old anchor" in text for text in plan.cautions)
    axis = body.entry_mm + np.linspace(0, body.depth_mm, 200)[:, None] * body.direction
    assert plan.anchors
    for anchor in plan.anchors:
        drill = anchor.entry_mm + np.linspace(0, anchor.depth_mm, 200)[:, None] * anchor.direction
        gap = np.linalg.norm(axis[:, None] - drill[None], axis=2).min()
        gap -= (anchor.drill_mm + body.drill_mm) / 2
        # 0.15 mm: both axes are looked at every 0.1 mm.
        assert gap > LIMITS.neighbour_gap_mm - 0.15
