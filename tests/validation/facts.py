"""Facts of populations beside the hips at hand; printed, never asserted of a single hip."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from rimwright.anatomy import AnchorKind, HipGeometry, Side
from rimwright.evidence import load_evidence
from rimwright.fixation import FixationLimits, MeshBoneField, build_mesh_field, find_corridors
from rimwright.imaging import read_bodies
from rimwright.morphology import choose_hip_bone, measure_hip
from rimwright.phantom import make_hip, random_shape

DRILL = AnchorKind(drill_mm=1.8, depth_mm=18.0)
HOURS = (0.0, 1.0, 2.0, 3.0)
PERPENDICULAR_HOURS = (7.0 / 3.0, 3.0, 4.0)
N_MADE = 12
REAL = Path(__file__).resolve().parents[3] / "shared" / "data"
NORMS = {
    "lateral_centre_edge_angle": "planning:2.05 radiographs 35 ± 7",
    "acetabular_version_central": "planning:2.28 dry bones 19.9 ± 6.6",
    "anterior_sector_angle": "planning:2.24 CT 63 ± 6.1",
    "posterior_sector_angle": "planning:2.24 CT 105 ± 7.9",
    "subtended_angle": "planning:1.18 CT 87 ± 4",
}


def real_hips() -> Iterator[tuple[str, HipGeometry]]:
    """The real hips beside the project, where they are."""
    seated = REAL / "seated-left-hip"
    if (seated / "coxae.stl").is_file():
        bone = read_bodies(seated / "coxae.stl", axes="LPS").bodies[0]
        femur = read_bodies(seated / "femur.stl", axes="LPS").bodies[0]
        yield "seated left hip", measure_hip(side=Side.LEFT, hip_bone=bone, femur=femur)
    for path in sorted((REAL / "pelvis-only").glob("*.wrl")):
        bodies = read_bodies(path, axes="LPS").bodies
        for side in Side:
            chosen = choose_hip_bone(bodies, side, where=path.name)
            yield (
                f"pelvis only, {side}",
                measure_hip(
                    side=side,
                    hip_bone=chosen.hip_bone,
                    other_hip_bone=chosen.other_hip_bone,
                    seed=chosen.seed,
                    other_seed=chosen.other_seed,
                ),
            )


def made_hips() -> Iterator[tuple[str, HipGeometry]]:
    """Some made hips."""
    for seed in range(N_MADE):
        hip = make_hip(random_shape(seed))
        yield (
            f"made hip {seed}",
            measure_hip(side=hip.shape.side, hip_bone=hip.hip_bone, femur=hip.femur),
        )


def perpendicular_outside(
    hip: HipGeometry, field: MeshBoneField, limits: FixationLimits
) -> list[bool]:
    """Whether a drill along the opening axis, at each hour's best entry, leaves its bone."""
    if hip.rim is None or hip.pelvis_bone is None:
        return []
    found = find_corridors(
        field,
        hip.rim,
        bone=hip.pelvis_bone,
        kind=DRILL,
        limits=limits,
        hours=PERPENDICULAR_HOURS,
    )
    depths = np.arange(4.0, DRILL.depth_mm, 0.25)[:, None]
    answers = []
    for corridor in found:
        if corridor.entry_mm is None:
            continue
        met = field.sample(corridor.entry_mm - depths * hip.rim.axis)
        room = np.minimum(met.joint_mm, met.cortex_mm).min()
        answers.append(not (met.inside.all() and room > DRILL.drill_mm / 2))
    return answers


def print_facts() -> None:
    """Corridors at 12, 1, 2, 3 and the norms, over the hips at hand."""
    limits = FixationLimits.from_evidence(load_evidence())
    cones, volumes, runs = [], [], []
    outside: list[bool] = []
    values: dict[str, list[float]] = {key: [] for key in NORMS}
    print(
        f"\ncorridors, drill {DRILL.drill_mm} mm, {DRILL.depth_mm} mm deep: half-angle of the cone"
    )
    print(f"{'hip':22s} " + " ".join(f"{int(hour) or 12:>5d}" for hour in HOURS))
    for name, hip in (*real_hips(), *made_hips()):
        if hip.rim is None or hip.faces is None or hip.pelvis_bone is None or hip.socket is None:
            continue
        field = build_mesh_field(hip.pelvis_bone, hip.faces, centre_mm=hip.socket.centre_mm)
        found = find_corridors(
            field, hip.rim, bone=hip.pelvis_bone, kind=DRILL, limits=limits, hours=HOURS
        )
        outside += perpendicular_outside(hip, field, limits)
        cones.append([corridor.half_angle_deg for corridor in found])
        runs.append([corridor.rim_angle_deg for corridor in found])
        volumes.append([corridor.bone_volume_mm3 for corridor in found])
        print(f"{name:22s} " + " ".join(f"{value:5.1f}" for value in cones[-1]))
        for key in NORMS:
            value = hip.measurements[key].value
            if value is not None:
                values[key].append(value)
    cone, volume, run = np.array(cones), np.array(volumes), np.array(runs)
    print("\npublished facts beside the hips at hand")
    print(
        f"  cone at 1 o'clock: {cone[:, 1].mean():.1f} ± {cone[:, 1].std():.1f} deg (half-angle); "
        "planning:5.01 32.0 ± 5.1, larger than at 12, 2, 3"
    )
    print(f"  1 o'clock has the widest cone in {(cone.argmax(axis=1) == 1).mean():.0%} of hips")
    print(
        "  bone volume at 12, 1, 2, 3: "
        + ", ".join(f"{value:.0f}" for value in volume.mean(axis=0))
        + " mm³; planning:5.02 largest at 1 (4196 ± 1190), smallest at 3 (629 ± 180)"
    )
    print(f"  3 o'clock has the least volume in {(volume.argmin(axis=1) == 3).mean():.0%} of hips")
    print(
        f"  3 o'clock has the narrowest rim angle in {(run.argmin(axis=1) == 3).mean():.0%}; "
        "planning:5.04 smallest at 3"
    )
    print(
        f"  drill held perpendicular to the opening plane leaves the bone or meets the joint at "
        f"2:20, 3 and 4 in {np.mean(outside):.0%}; planning:5.05 28 %"
    )
    for key, norm in NORMS.items():
        got = np.array(values[key])
        print(f"  {key}: {got.mean():.1f} ± {got.std():.1f} ({len(got)} hips); {norm}")
