"""How long measuring takes, alone, with its parts, and against the number of triangles."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from rimwright.anatomy import HipGeometry, RimTrim, Sector, Side, TriangleMesh
from rimwright.evidence import load_evidence
from rimwright.imaging import read_bodies
from rimwright.morphology import choose_hip_bone, measure_hip, predict_trim
from rimwright.phantom import HipShape, make_hip

SHAPE = HipShape(with_other_hip_bone=False)


@pytest.fixture(scope="session")
def bones(request: pytest.FixtureRequest) -> tuple[TriangleMesh, TriangleMesh]:
    """The seated left hip where it is at hand, else a made one."""
    folder = Path(__file__).resolve().parents[2] / "shared" / "data" / "seated-left-hip"
    if folder.is_dir():
        return tuple(read_bodies(folder / name).bodies[0] for name in ("coxae.stl", "femur.stl"))
    hip = make_hip(SHAPE)
    return hip.hip_bone, hip.femur


def measured(bones: tuple[TriangleMesh, TriangleMesh]) -> HipGeometry:
    """Choose and measure, as the command does."""
    chosen = choose_hip_bone([bones[0]], Side.LEFT, where="hip bone")
    return measure_hip(side=Side.LEFT, hip_bone=chosen.hip_bone, femur=bones[1], seed=chosen.seed)


def test_measure_hip(benchmark, bones):
    """Hip bone and femur of one real hip, compiled code warm."""
    measured(bones)
    benchmark.pedantic(lambda: measured(bones), rounds=5)


def test_predict_trim(benchmark, bones):
    """Coverage at every depth of a rim trim; under 50 ms is the aim."""
    hip, table = measured(bones), load_evidence()
    trims = [RimTrim(sector=Sector(from_hour=12.0, to_hour=3.0), depth_mm=3.0)]
    predict_trim(hip, trims, table=table)
    benchmark.pedantic(lambda: predict_trim(hip, trims, table=table), rounds=5)


def test_load_settings(benchmark):
    """Settings of the evidence read afresh; under 50 ms is the aim."""
    cache = load_evidence.__globals__["_shipped"]

    def load() -> None:
        cache.cache_clear()
        load_evidence()

    benchmark.pedantic(load, rounds=5)


def finer(mesh: TriangleMesh) -> TriangleMesh:
    """Every triangle cut into four."""
    edges = np.sort(mesh.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    pairs, index = np.unique(edges, axis=0, return_inverse=True)
    middles = mesh.vertices_mm[pairs].mean(axis=1)
    a, b, c = mesh.triangles.T
    ab, bc, ca = (index.reshape(-1, 3) + len(mesh.vertices_mm)).T
    triangles = np.concatenate(
        [np.column_stack(t) for t in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))]
    )
    return TriangleMesh(vertices_mm=np.vstack([mesh.vertices_mm, middles]), triangles=triangles)


def test_cost_against_triangles(bones, capsys):
    """Measuring a hip bone of 10k, 40k, 160k and 640k triangles: not worse than linear."""
    fast = pytest.importorskip("fast_simplification")
    bone = bones[0]
    points, triangles = fast.simplify(
        bone.vertices_mm.astype(np.float32), bone.triangles.astype(np.int32), target_count=10_000
    )
    mesh = TriangleMesh(vertices_mm=points.astype(np.float64), triangles=triangles)
    rows = []
    for _ in range(4):
        chosen = choose_hip_bone([mesh], Side.LEFT, where="hip bone")
        measure_hip(side=Side.LEFT, hip_bone=mesh, seed=chosen.seed)
        started = time.perf_counter()
        chosen = choose_hip_bone([mesh], Side.LEFT, where="hip bone")
        measure_hip(side=Side.LEFT, hip_bone=mesh, seed=chosen.seed)
        rows.append((mesh.n_triangles, time.perf_counter() - started))
        mesh = finer(mesh)
    with capsys.disabled():
        print("\nmeasuring a hip bone against its triangles")
        for count, seconds in rows:
            each_us = 1e6 * seconds / count
            print(f"{count:>9} triangles  {1000 * seconds:7.0f} ms  {each_us:6.2f} us each")
    (first, least), (last, most) = rows[0], rows[-1]
    assert most / least <= last / first
