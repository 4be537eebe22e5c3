"""How long a whole plan takes, and planning again from a stored hip."""

from __future__ import annotations

import os
import resource
import subprocess
import sys
from pathlib import Path

import pytest

from rimwright.casework import (
    case_from_document,
    load_hip,
    plan_case,
    prepare_hip,
    read_case,
    save_hip,
    write_demo_case,
    write_plan,
)

LESION = {"from_hour": 11.0, "to_hour": 2.5, "tissue": "poor", "fibres": "continuous"}


@pytest.fixture(scope="session")
def seated_case(tmp_path_factory):
    """The seated left hip where it is at hand, else the demo hip."""
    folder = Path(__file__).resolve().parents[2] / "shared" / "data" / "seated-left-hip"
    if not folder.is_dir():
        return read_case(write_demo_case(tmp_path_factory.mktemp("demo")))
    document = {
        "schema": "rimwright.case/1",
        "id": "seated",
        "side": "left",
        "sources": {"pelvis": "coxae.stl", "femur": "femur.stl", "units": "mm", "axes": "LPS"},
        "labrum": [LESION],
        "equipment": {"anchors": [{"drill_mm": 1.8, "depth_mm": 18.0}]},
        "settings": {"margin_joint_mm": 1.0, "margin_cortex_mm": 1.0},
    }
    return case_from_document(document, folder=folder)


@pytest.fixture(scope="session")
def stored(seated_case, tmp_path_factory):
    """The seated hip measured and stored once; compiled code warm."""
    ready = prepare_hip(seated_case)
    path = tmp_path_factory.mktemp("hip") / "hip.npz"
    save_hip(ready, path)
    plan_case(seated_case, hip=ready)
    return path


def test_measure_and_plan(benchmark, seated_case, stored):
    """Measure, corridors and layouts of the seated hip, in process; under 2 s is the aim."""
    benchmark.pedantic(lambda: plan_case(seated_case), rounds=3)


def test_load_hip(benchmark, stored):
    """Load a stored hip; 0.1 s is the aim."""
    benchmark.pedantic(lambda: load_hip(stored), rounds=10)


def test_plan_again(benchmark, seated_case, stored):
    """Plan again from a hip loaded afresh, with another lesion and drill; 0.3 s is the aim."""
    document = dict(seated_case.document)
    document["labrum"] = [{**LESION, "to_hour": 3.0}]
    document["equipment"] = {"anchors": [{"drill_mm": 1.6, "depth_mm": 18.0}]}
    changed = case_from_document(document, folder=Path())
    benchmark.pedantic(lambda hip: plan_case(changed, hip=hip), setup=_loaded(stored), rounds=5)


def test_write_plan(benchmark, seated_case, stored, tmp_path):
    """Write every file of a plan."""
    hip = load_hip(stored)
    plan = plan_case(seated_case, hip=hip)
    benchmark.pedantic(lambda: write_plan(plan, tmp_path / "out", stored=hip), rounds=3)


def test_whole_command(benchmark, tmp_path):
    """`rimwright plan` with its report, from a cold start; under 6 s and 1 GB is the aim."""
    case = write_demo_case(tmp_path / "case")
    code = "from rimwright.cli import main; main()"

    def run() -> None:
        out = tmp_path / f"plan-{os.urandom(4).hex()}"
        arguments = [sys.executable, "-c", code, "plan", str(case), "--out", str(out)]
        subprocess.run(arguments, check=True, capture_output=True)

    benchmark.pedantic(run, rounds=3, warmup_rounds=1)
    used_mb = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024
    benchmark.extra_info["memory_mb"] = round(used_mb)
    print(f"largest memory of a child: {used_mb:.0f} MB")


def _loaded(path):
    """A setup that loads the hip afresh, so that nothing is kept from the round before."""
    return lambda: ((load_hip(path),), {})
