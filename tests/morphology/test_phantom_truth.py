"""Two hundred synthetic hips through file, choice of bone and measurement, against their truth.

Each draws its shape, side, pose, whether the other hip bone and the condyles are seen, how fine
its triangles are, and the axes and unit of its files. What is true comes from analytic curves,
never from a mesh.
"""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial import cKDTree

from rimwright.anatomy import (
    MEASUREMENT_KEYS,
    HipGeometry,
    PelvicReference,
    Side,
    Status,
    TriangleMesh,
)
from rimwright.imaging import read_bodies
from rimwright.morphology import choose_hip_bone, measure_hip
from rimwright.morphology.femur import DEPARTURE_MM
from rimwright.phantom import PhantomHip, make_hip, random_shape
from rimwright.units import LengthUnit

N_SHAPES, N_IN_A_TEST = 200, 10

# What the tool has to reach on a hip of known shape.
ANGLE_DEG, ALPHA_DEG, LENGTH_MM, RIM_MM = 0.5, 2.0, 0.3, 0.5
EXTRUSION_PERCENT = 0.7
"""0.3 mm of the width of a head of 21 mm radius."""
TOLERANCE = {
    "alpha_angle_max": ALPHA_DEG,
    "extrusion_index": EXTRUSION_PERCENT,
    "head_neck_offset": LENGTH_MM,
    "joint_space_min": LENGTH_MM,
}
LETTERS = {"L": (0, 1), "R": (0, -1), "P": (1, 1), "A": (1, -1), "S": (2, 1), "I": (2, -1)}
AXES = ("LPS", "RAS", "LAS", "RPS", "LSA", "SRP", "AIL")


def write_stl(path: Path, meshes: list[TriangleMesh], *, axes: str, unit: LengthUnit) -> None:
    """Binary STL of some bodies, in single precision, as other programs write it."""
    rows = [LETTERS[letter] for letter in axes]
    turn = np.zeros((3, 3))
    for row, (column, sign) in enumerate(rows):
        turn[row, column] = sign
    corners = np.concatenate([mesh.corners_mm() for mesh in meshes]) @ turn.T
    if np.linalg.det(turn) < 0:
        corners = corners[:, ::-1]
    scale = 1.0 if unit is LengthUnit.MM else 1e-3
    facet = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("rest", "<u2")])
    facets = np.zeros(len(corners), dtype=facet)
    facets["corners"] = corners * scale
    path.write_bytes(b"bone".ljust(80) + np.uint32(len(facets)).tobytes() + facets.tobytes())


def measured(hip: PhantomHip, folder: Path, *, seed: int) -> HipGeometry:
    """Write the bones in drawn axes and unit, read them, choose the side, measure."""
    rng = np.random.default_rng([seed, 7])
    axes = str(rng.choice(AXES))
    unit = LengthUnit.MM if rng.random() < 0.5 else LengthUnit.M
    bones = [hip.hip_bone] + ([hip.other_hip_bone] if hip.other_hip_bone else [])
    if rng.random() < 0.5:
        bones.reverse()
    write_stl(folder / "pelvis.stl", bones, axes=axes, unit=unit)
    write_stl(folder / "femur.stl", [hip.femur], axes=axes, unit=unit)
    pelvis = read_bodies(folder / "pelvis.stl", unit=unit, axes=axes)
    femur = read_bodies(folder / "femur.stl", unit=unit, axes=axes)
    assert len(pelvis.bodies) == len(bones)
    assert len(femur.bodies) == 1
    side = hip.shape.side
    if len(bones) == 1 and seed % 4:
        # Time: the search for the socket is spared where there is no choice and a head to start at.
        return measure_hip(side=side, hip_bone=pelvis.bodies[0], femur=femur.bodies[0])
    chosen = choose_hip_bone(pelvis.bodies, side, where="pelvis.stl")
    return measure_hip(
        side=side,
        hip_bone=chosen.hip_bone,
        other_hip_bone=chosen.other_hip_bone,
        femur=femur.bodies[0],
        seed=chosen.seed,
        other_seed=chosen.other_seed,
    )


def misses(hip: PhantomHip, got: HipGeometry) -> list[str]:
    """Everything that leaves the truth by more than it may, in words."""
    truth, found = hip.truth, []

    def check(name: str, miss: float, limit: float) -> None:
        if not miss <= limit:
            found.append(f"{name} off by {miss:.3f}, may be {limit}")

    reference = (
        PelvicReference.ANTERIOR_PELVIC_PLANE if hip.other_hip_bone else PelvicReference.IMAGE_AXES
    )
    if got.frame.reference is not reference:
        found.append(f"frame taken from the {got.frame.reference}, not the {reference}")
    true = truth.measurements(reference=got.frame.reference, departure_mm=DEPARTURE_MM)
    for key in MEASUREMENT_KEYS:
        value = got.measurements[key].value
        if key not in true:
            if got.measurements[key].status is not Status.REFUSED:
                found.append(f"{key} given where nothing shows it")
        elif value is None:
            found.append(f"{key} refused: {got.measurements[key].reason}")
        else:
            check(key, abs(value - true[key]), TOLERANCE.get(key, ANGLE_DEG))
    assert got.head is not None
    assert got.socket is not None
    assert got.rim is not None
    assert got.by_hour is not None
    assert got.femur is not None
    check("head centre", np.linalg.norm(got.head.centre_mm - truth.head_centre_mm), LENGTH_MM)
    check("head radius", abs(got.head.radius_mm - truth.head_radius_mm), LENGTH_MM)
    check("socket centre", np.linalg.norm(got.socket.centre_mm - truth.socket_centre_mm), LENGTH_MM)
    check("socket radius", abs(got.socket.radius_mm - truth.socket_radius_mm), LENGTH_MM)
    check("neck radius", abs(got.femur.neck_radius_mm - hip.shape.neck_radius_mm), LENGTH_MM)
    check("opening axis", _angle_deg(got.rim.axis, truth.opening_axis), ANGLE_DEG)
    check("twelve o'clock", _angle_deg(got.rim.twelve, truth.twelve), 2.0)  # 4 min of the dial
    check("neck axis", _angle_deg(got.femur.neck_axis, truth.femoral_axes.neck_axis), ANGLE_DEG)
    bony = got.rim.points_mm[got.rim.is_bone]
    check("rim points", cKDTree(truth.edge_all_round_mm).query(bony)[0].max(), RIM_MM)
    check("rim length", abs(got.rim.length_mm - truth.rim_length_mm), LENGTH_MM)
    hours = got.by_hour.hours
    assert got.rim.notch_from_hour is not None
    assert got.rim.notch_to_hour is not None
    ends = np.array([got.rim.notch_from_hour, got.rim.notch_to_hour]) - truth.notch_hours
    check("notch ends", np.abs(ends).max(), 0.1)  # one station of the rim curve, hours
    coverage = got.by_hour.coverage_deg - truth.coverage_deg(hours)
    check("coverage by hour", np.nanmax(np.abs(coverage)), ANGLE_DEG)
    gap = got.by_hour.joint_space_mm - truth.joint_space_by_hour_mm(hours)
    check("joint space by hour", np.nanmax(np.abs(gap)), LENGTH_MM)
    alpha = got.by_hour.alpha_deg - truth.alpha_deg(
        got.by_hour.femoral_hours, departure_mm=DEPARTURE_MM
    )
    check("alpha by hour", np.abs(alpha).max(), ALPHA_DEG)
    return found


def _angle_deg(one: np.ndarray, other: np.ndarray) -> float:
    return float(np.degrees(np.arctan2(np.linalg.norm(np.cross(one, other)), one @ other)))


@pytest.mark.oracle
@pytest.mark.parametrize("first", range(0, N_SHAPES, N_IN_A_TEST))
def test_measured_hips_are_true(first: int, tmp_path: Path) -> None:
    """Angles within 0.5 degrees (alpha 2), lengths within 0.3 mm, rim within 0.5 mm of the edge."""
    found = {}
    for seed in range(first, first + N_IN_A_TEST):
        # Edges of 1.3 to 2 mm: surfaces from scans have 1.9 mm and more.
        fineness = np.random.default_rng([seed, 8]).uniform(1.3, 2.0)
        hip = make_hip(random_shape(seed), edge_mm=float(fineness))
        wrong = misses(hip, measured(hip, tmp_path, seed=seed))
        if wrong:
            found[seed] = wrong
    assert not found


@pytest.mark.property
@pytest.mark.parametrize("seed", [4, 11])
def test_a_mirrored_hip_gives_mirrored_numbers(seed: int) -> None:
    """The same person seen in a mirror: equal values, points with x negated, to 1e-6."""
    values, rims, alphas = [], [], []
    for side in Side:
        hip = make_hip(dataclasses.replace(random_shape(seed), side=side))
        got = measure_hip(
            side=side,
            hip_bone=hip.hip_bone,
            other_hip_bone=hip.other_hip_bone,
            femur=hip.femur,
        )
        assert got.rim is not None
        assert got.by_hour is not None
        values.append([got.measurements[key].value or 0.0 for key in MEASUREMENT_KEYS])
        rims.append(got.rim.points_mm * [side.lateral_x_lps, 1.0, 1.0])
        alphas.append(got.by_hour.alpha_deg)
    assert values[0] == pytest.approx(values[1], abs=1e-6)
    assert np.allclose(rims[0], rims[1], atol=1e-6, rtol=0, equal_nan=True)
    assert np.allclose(alphas[0], alphas[1], atol=1e-6, rtol=0, equal_nan=True)
