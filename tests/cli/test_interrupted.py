"""The command as its own process: stopped midway it leaves nothing half written."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from casework.scan_fixture import write_series

CODE = "from rimwright.cli import main; main()"
WAIT_S = 120.0  # a cold start compiles; a shared machine is slow


SLOW_SCAN = """
import time
import rimwright.morphology.scan as scan
def slow(volume, *, progress, **_):
    open("measuring", "w").close()
    while True:
        progress(0.5, "finding the head")
        time.sleep(0.01)
scan.measure_scan = slow
"""
"""Measuring that never ends, so that the signal meets it for certain."""

EATEN_SIGNAL = """
import time
import rimwright.morphology.scan as scan
def eats(volume, **_):
    open("measuring", "w").close()
    try:
        while True:
            time.sleep(0.01)
    except SystemExit:
        raise SystemError("returned a result with an exception set") from None
scan.measure_scan = eats
"""
"""What compiled code makes of a signal that meets it between its own lines."""


def start(*arguments: object, cwd: Path, before: str = "") -> subprocess.Popen[str]:
    """The command in a process of its own."""
    return subprocess.Popen(
        [sys.executable, "-c", before + CODE, *map(str, arguments)],
        cwd=cwd,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


@pytest.mark.fault
@pytest.mark.parametrize(("number", "code"), [(signal.SIGINT, 130), (signal.SIGTERM, 143)])
def test_stopped_midway(tmp_path, number, code):
    """Ctrl-C or a stop signal while planning: its exit code, no traceback, no half-made plan."""
    process = start("demo", "--out", "demo", cwd=tmp_path)
    case = tmp_path / "demo" / "case" / "case.toml"
    end = time.monotonic() + WAIT_S
    while not case.exists() and process.poll() is None and time.monotonic() < end:
        time.sleep(0.02)
    assert case.exists(), process.communicate()[1]
    os.kill(process.pid, number)
    out, err = process.communicate(timeout=WAIT_S)
    assert process.returncode == code
    assert out == ""
    assert "Traceback" not in err
    names = {path.name for path in (tmp_path / "demo").iterdir()}
    assert names == {"case"}


@pytest.mark.fault
@pytest.mark.parametrize("before", [SLOW_SCAN, EATEN_SIGNAL], ids=["between", "inside"])
@pytest.mark.parametrize(
    "job",
    [
        ("measure", "--image", "series", "--side", "left", "--json"),
        ("plan", "case.toml", "--out", "plan"),
    ],
)
def test_stopped_while_a_scan_is_measured(tmp_path, job, before):
    """Ctrl-C between two stages of a scan or inside one: no traceback, and nothing is written."""
    write_series(tmp_path / "series")
    (tmp_path / "case.toml").write_text(
        'schema = "rimwright.case/1"\nid = "x"\nside = "left"\n[sources]\nimage = "series"\n',
        encoding="utf-8",
    )
    process = start(*job, cwd=tmp_path, before=before)
    end = time.monotonic() + WAIT_S
    while not (tmp_path / "measuring").exists() and process.poll() is None:
        assert time.monotonic() < end
        time.sleep(0.02)
    os.kill(process.pid, signal.SIGINT)
    out, err = process.communicate(timeout=WAIT_S)
    assert process.returncode == 130
    assert out == ""
    assert "Traceback" not in err
    assert "fault of this program" not in err
    assert {path.name for path in tmp_path.iterdir()} == {"series", "case.toml", "measuring"}


def test_json_on_stdout_and_nothing_else(tmp_path):
    """As a process of its own, too: one JSON document on stdout, warnings on stderr only."""
    (tmp_path / "case.toml").write_text(
        'schema = "rimwright.case/1"\nid = "x"\nside = "left"\n', encoding="utf-8"
    )
    process = start("plan", "case.toml", "--out", "plan", "--json", cwd=tmp_path)
    out, err = process.communicate(timeout=WAIT_S)
    assert process.returncode == 0, err
    document = json.loads(out)
    assert document["schema"] == "rimwright.plan/1"
    assert all(line.startswith("caution: ") for line in err.splitlines())
    assert json.loads((tmp_path / "plan" / "plan.json").read_text(encoding="utf-8")) == document
