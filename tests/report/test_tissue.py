"""Runs: the whole ring is told without gaps, and unknown is never drawn as labrum."""

from __future__ import annotations

from itertools import pairwise

import plan_fixture

from rimwright.anatomy import Action, LabrumMap, Plan
from rimwright.report.tissue import Native, graft_runs, tissue_runs


def test_runs_cover_the_ring_once(any_plan: Plan) -> None:
    """From station 0 to 12, each run begins where the last ended."""
    runs = tissue_runs(any_plan.labrum, any_plan.planned)
    assert runs[0].start == 0.0
    assert runs[-1].end == 12.0
    assert all(a.end == b.start for a, b in pairwise(runs))


def test_an_empty_map_is_unknown_all_round() -> None:
    """No sector, no labrum: everything is hatched."""
    runs = tissue_runs(LabrumMap(), None)
    assert [run.native for run in runs] == [Native.UNKNOWN]


def test_each_state_of_the_fixture_is_told(plan: Plan) -> None:
    """Read width, unread width, absent and unknown, by hour."""
    runs = tissue_runs(plan.labrum, plan.planned)

    def native_at(hour: float) -> Native:
        station = (hour - 6.0) % 12.0
        return next(run.native for run in runs if run.start <= station < run.end)

    assert native_at(12.0) is Native.BAND
    assert native_at(5.0) is Native.UNMEASURED
    assert native_at(4.2) is Native.ABSENT
    assert native_at(3.0) is Native.UNKNOWN


def test_augmentation_keeps_the_remnant_and_replacement_does_not() -> None:
    """A graft stands on the kept remnant when it augments, on the rim when it replaces."""
    for planned, removed in (("augmentation", False), ("segmental reconstruction", True)):
        plan = plan_fixture.full_plan(planned=planned)
        run = next(r for r in tissue_runs(plan.labrum, plan.planned) if r.start == 5.0)
        assert run.has_graft
        assert run.is_removed is removed
        assert run.graft_base_mm == (0.0 if removed else 2.5)
        assert run.graft_height_mm == 6.0


def test_one_graft_is_drawn_as_one_piece() -> None:
    """A graft that replaces the whole ring has no seams where the map changes."""
    plan = plan_fixture.full_plan(planned="circumferential reconstruction")
    runs = graft_runs(tissue_runs(plan.labrum, plan.planned))
    assert [(run.start, run.end) for run in runs] == [(0.0, 12.0)]
    assert {run.action for run in runs} == {Action.REPLACE}
