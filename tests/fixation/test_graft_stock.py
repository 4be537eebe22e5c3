"""Graft stock: arc and allowances, by hand on a rim of known length."""

from __future__ import annotations

import numpy as np
import pytest

from fixation.socket_block import make_block
from rimwright.anatomy import GraftKind, Sector
from rimwright.evidence import load_evidence
from rimwright.fixation import graft_stock

RIM = make_block(step_mm=5.0, n_around=48)[1]
PER_HOUR_MM = 2 * np.pi * 25.0 / 12


def stock(*sectors: Sector, kind: str | None = "tibialis tendon allograft"):
    grafts = [] if kind is None else [GraftKind(kind=kind, diameter_mm=6.0)]
    return graft_stock(RIM, sectors=sectors, grafts=grafts, table=load_evidence())


def test_stock_is_arc_ends_and_surplus() -> None:
    """3.5 h of a 25 mm rim: 45.8 mm, 10 mm for each of two ends, a fifth of the arc."""
    found = stock(Sector(from_hour=11.0, to_hour=2.5))
    assert found.arc_mm == pytest.approx(3.5 * PER_HOUR_MM, abs=0.03)  # chords of a tenth hour
    assert [a.length_mm for a in found.allowances] == pytest.approx([20.0, 0.2 * found.arc_mm])
    assert found.stock_length_mm == pytest.approx(1.2 * found.arc_mm + 20.0)
    assert all(a.evidence for a in found.allowances)
    assert "cut last" in found.allowances[1].reason


def test_an_autograft_asks_for_the_least_to_harvest() -> None:
    """A tenth of the arc instead of a fifth, and said so."""
    found = stock(Sector(from_hour=11.0, to_hour=2.5), kind="iliotibial band autograft")
    assert found.stock_length_mm == pytest.approx(1.1 * found.arc_mm + 20.0)
    assert "least surplus to harvest" in found.allowances[1].reason


def test_sectors_that_touch_are_one_graft_and_apart_two() -> None:
    """Two ends for one arc, four for two."""
    one = stock(Sector(from_hour=11.0, to_hour=12.0), Sector(from_hour=0.0, to_hour=2.5))
    two = stock(Sector(from_hour=11.0, to_hour=12.0), Sector(from_hour=1.0, to_hour=2.5))
    assert one.allowances[0].length_mm == pytest.approx(20.0)
    assert two.allowances[0].length_mm == pytest.approx(40.0)
    assert one.arc_mm == pytest.approx(3.5 * PER_HOUR_MM, abs=0.03)
    assert two.arc_mm == pytest.approx(2.5 * PER_HOUR_MM, abs=0.03)


def test_the_ring_leaves_the_notch_out() -> None:
    """From 7:24 round to 4:36: 9.2 h."""
    found = stock(Sector(from_hour=0.0, to_hour=0.0))
    assert found.arc_mm == pytest.approx(9.2 * PER_HOUR_MM, abs=0.1)


def test_without_a_graft_listed_the_stock_still_has_a_length() -> None:
    """Kind and diameter are unknown, the length is not."""
    found = stock(Sector(from_hour=1.0, to_hour=2.0), kind=None)
    assert found.kind is None
    assert found.diameter_mm is None
    assert found.stock_length_mm > found.arc_mm > 0
