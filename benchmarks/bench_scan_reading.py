"""Reading a series of slices against pydicom alone, and the memory it takes.

400 slices of 512×512, uncompressed, and 40 of each way of packing. pydicom reads each file and
asks for its pixels (decoder named), which gives stored numbers, unsorted and not in one volume.
Printed, never a pass or a fail.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from pydicom import dcmread
from pydicom.pixels import pixel_array

from rimwright.imaging import read_volume
from rimwright.imaging.scan.decoding import PLUG_INS

REPO = Path(__file__).resolve().parents[1]
sys.path.append(str(REPO / "tests"))
from imaging.scan.scan_slices import SYNTAXES, save, slices  # noqa: E402

SIDE, N_SLICES, N_PACKED, ROUNDS = 512, 400, 40, 7
MEMORY = """
import sys
from rimwright.imaging import read_volume
import rimwright.imaging.scan.dicom_volume
def peak():
    lines = open("/proc/self/status").read().splitlines()
    return 1024 * int(next(line.split()[1] for line in lines if line.startswith("VmHWM")))
before = peak()
file = read_volume(sys.argv[1])
print((peak() - before) / file.volume.values.nbytes)
"""


def write(folder: Path, *, n: int, syntax: str) -> Path:
    """Slices of smooth shapes and noise of 12 bits, the scale of a CT."""
    folder.mkdir()
    rng = np.random.default_rng(0)
    j, i = np.mgrid[:SIDE, :SIDE] - SIDE / 2
    body = np.where((i / 220) ** 2 + (j / 150) ** 2 < 1, 40.0, -1000.0)
    for k in range(n):
        plane = body + rng.normal(0, 20, body.shape) * (body > 0)
        (ds,) = slices(plane[None], origin=(-180, -180, 100 + 1.0 * k), step=(0, 0, 1.0), bits=12)
        ds.SOPInstanceUID += f".{k}"
        save(ds, folder / f"{k * 7919 % n:04d}.dcm", SYNTAXES[syntax])
    return folder


def read_plainly(folder: Path) -> None:
    """What pydicom alone does."""
    for path in sorted(folder.iterdir()):
        ds = dcmread(path)
        plug_in = PLUG_INS.get(ds.file_meta.TransferSyntaxUID, "")
        pixel_array(ds, decoding_plugin=plug_in)


def compare(folder: Path) -> tuple[float, float]:
    """Median times of both in turn, s."""
    plain, ours = [], []
    for _ in range(ROUNDS + 1):
        start = time.perf_counter()
        read_plainly(folder)
        middle = time.perf_counter()
        read_volume(folder)
        plain.append(middle - start)
        ours.append(time.perf_counter() - middle)
    return statistics.median(plain[1:]), statistics.median(ours[1:])


@pytest.mark.parametrize("syntax", [name for name in SYNTAXES if name != "deflated"])
def test_time_of_reading(syntax: str, tmp_path: Path, benchmark, capsys) -> None:
    n = N_SLICES if syntax == "explicit" else N_PACKED
    folder = write(tmp_path / "series", n=n, syntax=syntax)
    plain_s, ours_s = compare(folder)
    benchmark.pedantic(read_volume, args=(folder,), rounds=2)
    with capsys.disabled():
        print(f"\n{syntax}: {n} slices, pydicom {plain_s:.3f} s, read_volume {ours_s:.3f} s, "
              f"ratio {ours_s / plain_s:.2f}")  # fmt: skip


def test_memory_of_reading(tmp_path: Path, benchmark, capsys) -> None:
    folder = write(tmp_path / "series", n=N_SLICES, syntax="explicit")
    run = subprocess.run(
        [sys.executable, "-c", MEMORY, str(folder)], capture_output=True, text=True, check=True
    )
    benchmark.pedantic(read_volume, args=(folder,), rounds=1)
    with capsys.disabled():
        print(f"\npeak above the beginning: {float(run.stdout):.2f} times the volume")
