"""Corridors against rays: drills judged by this package and by embree, and the cost of triangles.

60 hours by about 200 directions at one entry each, 1.8 mm drill, 18 mm deep, margins 1.0 mm.
embree casts 16 rays along each cylinder of drill radius + margin, once over the joint side from
the entry on and once over all other bone from where the rays leave a ball of 4 mm about the entry
(`tests/fixation/embree_cylinders.py`). Printed, never a pass or a fail.
"""

from __future__ import annotations

import statistics
import sys
import time
from pathlib import Path

import numpy as np
import pytest

from rimwright.anatomy import AnchorKind, SocketFaces, TriangleMesh
from rimwright.evidence import load_evidence
from rimwright.fixation import FixationLimits, build_mesh_field, find_corridors
from rimwright.fixation.drill_fan import as_fans, cap_grid_of_size, turned
from rimwright.fixation.entry_points import find_entries
from rimwright.fixation.judging import demand_of, judge_directions
from rimwright.fixation.shading import FITS

REPO = Path(__file__).resolve().parents[1]
sys.path.append(str(REPO / "tests"))
from fixation.embree_cylinders import RayJudge  # noqa: E402
from fixation.socket_block import make_block  # noqa: E402

KIND = AnchorKind(drill_mm=1.8, depth_mm=18.0)
N_HOURS = 60
N_DIRECTIONS = 200
OFFSET_MM = 3.0
ROUNDS = 7


def limits() -> FixationLimits:
    return FixationLimits.from_evidence(
        load_evidence(), {"margin_joint_mm": 1.0, "margin_cortex_mm": 1.0}
    )


@pytest.fixture(scope="session")
def seated():
    """Bone, rim and joint faces of the seated hip where it is at hand, else of the block."""
    folder = REPO.parent / "shared" / "data" / "seated-left-hip"
    if not folder.is_dir():
        return make_block()
    from rimwright.anatomy import Side
    from rimwright.imaging import read_bodies
    from rimwright.morphology import measure_hip

    hip = measure_hip(
        side=Side.LEFT,
        hip_bone=read_bodies(folder / "coxae.stl").bodies[0],
        other_hip_bone=None,
        femur=read_bodies(folder / "femur.stl").bodies[0],
        axes_assumed=True,
    )
    return hip.pelvis_bone, hip.rim, hip.faces


class Question:
    """The same drills for both: entries, normals and directions of every hour."""

    def __init__(self, bone, rim, faces) -> None:
        self.bone, self.rim, self.faces = bone, rim, faces
        self.field = build_mesh_field(bone, faces, centre_mm=rim.centre_mm)
        every = [h for h in np.arange(0, 12, 0.05) if np.isfinite(rim.point_at(h)).all()]
        hours = np.array(every)[np.linspace(0, len(every) - 1, N_HOURS).round().astype(int)]
        found = find_entries(self.field, rim, hours=hours, offsets_mm=np.array([OFFSET_MM]))
        self.entries, self.normals = found.points[:, 0], found.normals[:, 0]
        grid = cap_grid_of_size(N_DIRECTIONS, half_angle_deg=90.0)
        self.directions = turned(grid, found.axes)
        self.fans = as_fans(self.directions)
        self.demand = demand_of(KIND, limits(), old_points=np.zeros((0, 3)), old_radii=np.zeros(0))

    def ours(self) -> np.ndarray:
        verdict = judge_directions(
            self.field,
            self.demand,
            entries=self.entries,
            normals=self.normals,
            fan_of=np.arange(len(self.entries)),
            fans=self.fans,
        )
        return (verdict == FITS).ravel()

    def by_rays(self, judge: RayJudge, *, from_mm: float | None = None) -> np.ndarray:
        n = self.directions.shape[1]
        return judge.clear(
            np.repeat(self.entries + self.field.origin_mm, n, axis=0),
            self.directions.reshape(-1, 3),
            depth_mm=KIND.depth_mm,
            joint_mm=self.demand.joint_mm,
            other_mm=self.demand.cortex_mm,
            from_mm=from_mm,
        )

    def cast_alone_s(self, judge: RayJudge) -> float:
        """Embree's time for the rays alone, their making and the looking at hits left out."""
        n = self.directions.shape[1]
        entries = np.repeat(self.entries + self.field.origin_mm - judge.centre, n, axis=0)
        directions = self.directions.reshape(-1, 3)
        spent = 0.0
        for scene, radius, begin in (
            (judge.other, self.demand.cortex_mm, 4.0),
            (judge.joint, self.demand.joint_mm, 0.0),
        ):
            rays = judge.rays(entries, directions, radius_mm=radius, from_mm=begin)
            start = time.perf_counter()
            scene.run(*rays, query="DISTANCE")
            spent += time.perf_counter() - start
        return spent


@pytest.fixture(scope="session")
def question(seated):
    asked = Question(*seated)
    asked.ours()
    return asked


def test_judge_60_hours_by_200_directions(benchmark, question):
    """The planner, its field built beforehand."""
    benchmark.pedantic(question.ours, rounds=20, warmup_rounds=1)


def test_build_the_field(benchmark, seated):
    """The field of the bone."""
    bone, rim, faces = seated
    benchmark.pedantic(
        lambda: build_mesh_field(bone, faces, centre_mm=rim.centre_mm), rounds=10, warmup_rounds=1
    )


def test_every_quarter_hour(benchmark, question):
    """Corridors of the plan: every 0.25 h, five entries, 612 directions, refined; field fresh."""
    benchmark.pedantic(
        lambda field: find_corridors(
            field, question.rim, bone=question.bone, kind=KIND, limits=limits()
        ),
        setup=lambda: ((question.field.with_obstacles(()),), {}),
        rounds=10,
        warmup_rounds=1,
    )


def test_against_embree(benchmark, question):
    """Both on the same drills, in turns; prints the ratios and how often they agree."""
    bone, rim, faces = question.bone, question.rim, question.faces

    def buildscene_of() -> RayJudge:
        return RayJudge(bone, faces.joint, rim.centre_mm)

    judge = buildscene_of()
    times: dict[str, list[float]] = {"field": [], "scene": [], "ours": [], "rays": []}
    for _ in range(ROUNDS):
        for name, work in (
            ("field", lambda: build_mesh_field(bone, faces, centre_mm=rim.centre_mm)),
            ("scene", lambda: judge.scene_of(bone.triangles)),
            ("ours", question.ours),
        ):
            start = time.perf_counter()
            work()
            times[name].append(time.perf_counter() - start)
        times["rays"].append(question.cast_alone_s(judge))
    took = {name: 1e3 * statistics.median(values) for name, values in times.items()}
    ours = question.ours()
    ball = np.mean(ours == question.by_rays(judge))
    disc = np.mean(ours == question.by_rays(judge, from_mm=4.0))
    benchmark.extra_info.update({name: round(value, 1) for name, value in took.items()})
    print(
        f"\n{len(ours)} drills, {bone.n_triangles} triangles, {100 * ours.mean():.0f} % fit\n"
        f"judged {took['ours']:.1f} ms, rays {took['rays']:.1f} ms: "
        f"{took['rays'] / took['ours']:.1f} times faster\n"
        f"with building: {took['field'] + took['ours']:.1f} ms against "
        f"{took['scene'] + took['rays']:.1f} ms\n"
        f"same answer {100 * ball:.2f} % (rays from the 4 mm ball about the entry), "
        f"{100 * disc:.2f} % (rays from a disc 4 mm deep, blind to surface behind it)"
    )
    benchmark.pedantic(question.ours, rounds=3)


@pytest.fixture(scope="session")
def levels():
    """One block at about 10k, 40k, 160k and 640k triangles, each a quartering of the last."""
    bone, rim, faces = make_block(outer_mm=45.0, depth_mm=45.0, step_mm=2.2, n_around=100)
    found = [(bone, rim, faces)]
    for _ in range(3):
        bone, faces = quartered(bone, faces)
        found.append((bone, rim, faces))
    return found


@pytest.mark.parametrize("level", range(4))
def test_cost_against_triangles(benchmark, levels, level):
    """Field and judging together, on finer and finer meshes of one shape."""
    bone, rim, faces = levels[level]
    asked = Question(bone, rim, faces)
    asked.ours()

    def both() -> None:
        asked.field = build_mesh_field(bone, faces, centre_mm=rim.centre_mm)
        asked.ours()

    benchmark.pedantic(both, rounds=3, warmup_rounds=1)
    spent = benchmark.stats.stats.median if benchmark.stats else float("nan")
    print(f"\n{bone.n_triangles} triangles: {1e3 * spent:.0f} ms")


def quartered(bone: TriangleMesh, faces: SocketFaces) -> tuple[TriangleMesh, SocketFaces]:
    """Every triangle cut at its edge middles; the k-th becomes 4k to 4k + 3."""
    t = bone.triangles
    edges = np.sort(t[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2), axis=1)
    unique, which = np.unique(edges, axis=0, return_inverse=True)
    middle = len(bone.vertices_mm) + which.reshape(-1, 3)
    vertices = np.vstack([bone.vertices_mm, bone.vertices_mm[unique].mean(axis=1)])
    parts = np.stack(
        [
            np.column_stack([t[:, 0], middle[:, 0], middle[:, 2]]),
            np.column_stack([middle[:, 0], t[:, 1], middle[:, 1]]),
            np.column_stack([middle[:, 2], middle[:, 1], t[:, 2]]),
            middle,
        ],
        axis=1,
    )
    joint = (4 * faces.joint[:, None] + np.arange(4)).ravel()
    return (
        TriangleMesh(vertices_mm=vertices, triangles=parts.reshape(-1, 3)),
        SocketFaces(joint=joint, lunate=joint),
    )
