"""`rimwright demo --from ct`: from slices to a plan, with the bones' own truth as oracle."""

from __future__ import annotations

import json
import sys

import numpy as np
import pytest

from rimwright.cli.app import main
from rimwright.phantom import demo_shape, make_hip


def run(capfd, monkeypatch, *arguments):
    """Exit code, stdout and stderr of the command, run in this process."""
    monkeypatch.setattr(sys, "argv", ["rimwright", *map(str, arguments)])
    with pytest.raises(SystemExit) as stop:
        main()
    said = capfd.readouterr()
    return (stop.value.code or 0), said.out, said.err


def test_another_source_is_wrong_usage(capfd, monkeypatch, tmp_path):
    """Bones or CT; anything else ends before a file is written."""
    code, out, err = run(capfd, monkeypatch, "demo", "--from", "film", "--out", tmp_path / "demo")
    assert code == 2
    assert out == ""
    assert "film" in err
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
@pytest.mark.oracle
def test_the_plan_of_the_scan_rests_on_the_hip_that_was_scanned(capfd, monkeypatch, tmp_path):
    """Head and socket where they were made, every option there, a report and the slices."""
    out = tmp_path / "demo"
    code, _, err = run(capfd, monkeypatch, "demo", "--from", "ct", "--out", out)
    assert code == 0, err
    assert "Traceback" not in err
    assert len(list((out / "case" / "series").iterdir())) > 400
    assert (out / "plan" / "report.html").is_file()
    plan = json.loads((out / "plan" / "plan.json").read_text(encoding="utf-8"))
    assert (plan["side"], len(plan["options"])) == ("left", 5)
    assert any(option["anchors"] for option in plan["options"])
    code, said, err = run(
        capfd,
        monkeypatch,
        "measure",
        "--image",
        out / "case" / "series",
        "--side",
        "left",
        "--json",
    )
    assert code == 0, err
    hip, truth = json.loads(said), make_hip(demo_shape()).truth
    # 0.3 mm at voxels of 0.7×0.7×1.0 mm is what is asked of a scan; these are a quarter coarser.
    for part in ("head", "socket"):
        centre = getattr(truth, f"{part}_centre_mm")
        assert np.linalg.norm(np.array(hip[part]["centre_mm"]) - centre) < 0.4
        assert hip[part]["radius_mm"] == pytest.approx(getattr(truth, f"{part}_radius_mm"), abs=0.4)
