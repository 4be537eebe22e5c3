"""How long a hip in a CT takes against reading the series alone, and how much memory."""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pydicom
import pytest

from rimwright.anatomy import Side
from rimwright.casework import (
    case_from_document,
    load_hip,
    plan_case,
    prepare_hip,
    save_hip,
)
from rimwright.imaging import read_volume, write_ct_series
from rimwright.morphology.scan import measure_scan
from rimwright.phantom import demo_shape, make_hip
from rimwright.phantom.ct import CtGrid, CtLook, make_ct, person_bones

SHAPE = (512, 512, 400)
ROUNDS = 3
TIMES_READING = 6.0
"""A hip from a series is to take at most this many times what reading it with pydicom takes."""
TIMES_VOLUME, MORE_MB = 2.5, 300.0
"""Memory is to stay below this many times the volume, and this much more, MB."""
PLAN_S = 1.5
"""A plan from the measured hip is to be there within this, s."""

MEASURE = """
import sys
from pathlib import Path
from rimwright.anatomy import Side
from rimwright.imaging import read_volume
from rimwright.morphology.scan import measure_scan
measure_scan(read_volume(Path(sys.argv[1])).volume, side=Side.LEFT)
print(next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")))
"""


@pytest.fixture(scope="session")
def series(tmp_path_factory) -> Path:
    """400 slices of 512×512: both hips of a made person down to the condyles, in a trunk."""
    bones = person_bones(make_hip(demo_shape()))
    points = np.concatenate([bone.vertices_mm for bone in bones])
    low, high = points.min(axis=0), points.max(axis=0)
    spacing = np.array([0.72, 0.72, (high[2] - low[2] + 12.0) / SHAPE[2]])
    grid = CtGrid(
        shape=SHAPE,
        spacing_mm=spacing,
        origin_mm=(low + high) / 2.0 - spacing * (np.array(SHAPE) - 1) / 2.0,
        directions=np.eye(3),
    )
    folder = tmp_path_factory.mktemp("scan") / "series"
    return write_ct_series(make_ct(bones, look=CtLook(noise_hu=20.0), grid=grid), folder)


def read_plainly(folder: Path) -> npt.NDArray[np.int16]:
    """Read and decode every slice with pydicom, put in order, in Hounsfield units."""
    images = [pydicom.dcmread(path) for path in folder.iterdir()]
    images.sort(key=lambda image: image.ImagePositionPatient[2])
    units = [
        image.pixel_array * np.int16(image.RescaleSlope) + np.int16(image.RescaleIntercept)
        for image in images
    ]
    return np.stack(units)


def best_of(job: Callable[[], object]) -> float:
    """Least time of a few rounds after one that is not counted, s."""
    job()
    taken = []
    for _ in range(ROUNDS):
        started = time.perf_counter()
        job()
        taken.append(time.perf_counter() - started)
    return min(taken)


def test_reading(benchmark, series, capsys):
    """The reader against plain pydicom, which neither checks nor knows where the slices lie."""
    plain = best_of(lambda: read_plainly(series))
    ours = best_of(lambda: read_volume(series))
    with capsys.disabled():
        print(f"\n400 slices of 512×512: read and decoded with pydicom {plain:.2f} s = 1")
        print(f"  read_volume                    {ours / plain:5.2f}")
    benchmark.pedantic(lambda: read_volume(series), rounds=1)


def test_hip_from_series(benchmark, series, capsys):
    """Series to geometry of one hip, as a ratio to reading it; 6 is the limit, 3 the aim."""
    plain = best_of(lambda: read_plainly(series))
    whole = best_of(lambda: measure_scan(read_volume(series).volume, side=Side.LEFT))
    with capsys.disabled():
        print(f"\nhip from 400 slices: read and decoded with pydicom {plain:.2f} s = 1")
        print(f"  read_volume + measure_scan     {whole / plain:5.2f}  (limit {TIMES_READING:.0f})")
    benchmark.pedantic(lambda: measure_scan(read_volume(series).volume, side=Side.LEFT), rounds=1)


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="memory is read from /proc")
def test_memory_of_a_hip_from_series(benchmark, series, capsys):
    """Largest memory of a process that reads the series and measures one hip."""
    arguments = [sys.executable, "-c", MEASURE, str(series)]
    run = benchmark.pedantic(
        lambda: subprocess.run(arguments, check=True, capture_output=True, text=True), rounds=1
    )
    used_mb, volume_mb = int(run.stdout) / 1024, 2 * np.prod(SHAPE) / 2**20
    limit = TIMES_VOLUME * volume_mb + MORE_MB
    with capsys.disabled():
        print(f"\nmemory: {used_mb:.0f} MB, volume {volume_mb:.0f} MB = 1")
        print(
            f"  peak                           {used_mb / volume_mb:5.2f}  (limit {limit:.0f} MB)"
        )


def test_plan_from_scanned_hip(benchmark, series, capsys, tmp_path):
    """A plan from the hip measured in the series, read from its store: what it kept is not used."""
    document = {
        "schema": "rimwright.case/1",
        "id": "scanned",
        "side": "left",
        "sources": {"image": series.name},
        "labrum": [{"from_hour": 11.0, "to_hour": 2.5, "tissue": "poor"}],
        "equipment": {"anchors": [{"drill_mm": 1.8, "depth_mm": 18.0}]},
    }
    case = case_from_document(document, folder=series.parent)
    store = tmp_path / "hip.npz"
    save_hip(prepare_hip(case), store)
    loading = best_of(lambda: load_hip(store))
    taken = best_of(lambda: plan_case(case, hip=load_hip(store)))
    with capsys.disabled():
        print(f"\nplan from the hip of a scan      {taken:5.2f} s (limit {PLAN_S:.1f} s)")
        size_mb = store.stat().st_size / 1e6
        print(f"  of it loading the hip          {loading:5.2f} s ({size_mb:.0f} MB)")
    benchmark.pedantic(lambda: plan_case(case, hip=load_hip(store)), rounds=1)
