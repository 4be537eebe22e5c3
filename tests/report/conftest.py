"""Plans that every test of the report may ask for."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # so that plan_fixture is found under importlib mode

import plan_fixture

from rimwright.anatomy import Plan, Side
from rimwright.evidence import EvidenceTable, load_evidence

PLANS = {
    "left": lambda: plan_fixture.full_plan(Side.LEFT),
    "right": lambda: plan_fixture.full_plan(Side.RIGHT),
    "ring of graft, no femur": lambda: plan_fixture.full_plan(
        Side.RIGHT, femur=False, planned="circumferential reconstruction"
    ),
    "no anchors": lambda: plan_fixture.full_plan(planned="debridement"),
    "blocked": lambda: plan_fixture.full_plan(planned="repair"),
    "no rim found": plan_fixture.rimless_plan,
    "map only": plan_fixture.map_only_plan,
    "nothing known": plan_fixture.unknown_plan,
}


@pytest.fixture(params=PLANS, ids=list(PLANS))
def any_plan(request: pytest.FixtureRequest) -> Plan:
    """Each made-up plan in turn."""
    return PLANS[request.param]()


@pytest.fixture
def plan() -> Plan:
    """A left hip in which every kind of thing occurs once."""
    return plan_fixture.full_plan(Side.LEFT)


@pytest.fixture(scope="session")
def evidence() -> EvidenceTable:
    """The shipped tables."""
    return load_evidence()
