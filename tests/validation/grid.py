"""A grid of made hips, measured and compared with their truth."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np
from scipy.spatial import cKDTree

from rimwright.anatomy import MEASUREMENT_KEYS, HipGeometry, Side
from rimwright.morphology import measure_hip
from rimwright.morphology.femur import DEPARTURE_MM
from rimwright.phantom import HipShape, PhantomHip, make_hip
from rimwright.phantom.random_shape import aim_socket

LCEA_DEG = (18.0, 24.0, 30.0, 36.0, 42.0)
VERSION_DEG = (5.0, 13.0, 21.0, 30.0)
HEAD_RADIUS_MM = (20.0, 23.5, 27.0)
NECK_SHAFT_DEG = (118.0, 130.0, 142.0)
FEMORAL_VERSION_DEG = (-5.0, 12.0, 35.0)
CAM_START_DEG = (40.0, 65.0, 88.0)

# What the tool has to reach on a hip of known shape.
LIMITS = dict.fromkeys(MEASUREMENT_KEYS, 0.5) | {
    "alpha_angle_max": 2.0,
    "extrusion_index": 0.7,
    "head_neck_offset": 0.3,
    "joint_space_min": 0.3,
    "head centre, mm": 0.3,
    "head radius, mm": 0.3,
    "socket centre, mm": 0.3,
    "socket radius, mm": 0.3,
    "rim to true edge, mm": 0.5,
    "alpha by hour": 2.0,
    "coverage by hour": 0.5,
    "joint space by hour, mm": 0.3,
}


def grid_shapes() -> Iterator[HipShape]:
    """Every socket of the grid; the femurs of theirs take turns, so that all of them appear."""
    sockets = itertools.product(LCEA_DEG, VERSION_DEG, HEAD_RADIUS_MM)
    femurs = list(itertools.product(NECK_SHAFT_DEG, FEMORAL_VERSION_DEG, CAM_START_DEG))
    for index, (lcea, version, radius) in enumerate(sockets):
        # 10 and 27 share no factor: every femur comes once in 27 hips, neighbours differ.
        neck_shaft, femoral_version, cam = femurs[10 * index % len(femurs)]
        size = radius / 24.0
        shape = HipShape(
            side=Side.LEFT if index % 2 else Side.RIGHT,
            head_radius_mm=radius,
            joint_gap_mm=(2.0, 3.2, 4.4)[index % 3],
            fossa_depth_mm=4.0 * size,
            floor_thickness_mm=4.0 * size,
            neck_radius_mm=0.645 * radius,
            neck_waist_mm=1.18 * radius,
            neck_length_mm=54.0 * size,
            neck_shaft_angle_deg=neck_shaft,
            femoral_version_deg=femoral_version,
            cam_start_deg=cam,
            tilt_deg=(-6.0, 0.0, 6.0)[index // 3 % 3],
            rim_rounding_mm=(0.3, 0.6, 1.0)[index % 3],
        )
        yield aim_socket(shape, lcea_deg=lcea, version_deg=version)


def errors_of(hip: PhantomHip) -> dict[str, float]:
    """Measured less true; a refusal counts as endless."""
    got = measure_hip(
        side=hip.shape.side,
        hip_bone=hip.hip_bone,
        other_hip_bone=hip.other_hip_bone,
        femur=hip.femur,
    )
    truth = hip.truth
    true = truth.measurements(reference=got.frame.reference, departure_mm=DEPARTURE_MM)
    errors = {}
    for key, value in true.items():
        measured = got.measurements[key].value
        errors[key] = np.inf if measured is None else measured - value
    return errors | _errors_of_parts(hip, got)


def _errors_of_parts(hip: PhantomHip, got: HipGeometry) -> dict[str, float]:
    """Spheres, rim and curves by hour."""
    truth = hip.truth
    if got.head is None or got.socket is None or got.rim is None or got.by_hour is None:
        return {"head centre, mm": np.inf}
    hours = got.by_hour.hours
    bony = got.rim.points_mm[got.rim.is_bone]
    alpha = got.by_hour.alpha_deg - truth.alpha_deg(
        got.by_hour.femoral_hours, departure_mm=DEPARTURE_MM
    )
    coverage = got.by_hour.coverage_deg - truth.coverage_deg(hours)
    gap = got.by_hour.joint_space_mm - truth.joint_space_by_hour_mm(hours)
    return {
        "head centre, mm": float(np.linalg.norm(got.head.centre_mm - truth.head_centre_mm)),
        "head radius, mm": got.head.radius_mm - truth.head_radius_mm,
        "socket centre, mm": float(np.linalg.norm(got.socket.centre_mm - truth.socket_centre_mm)),
        "socket radius, mm": got.socket.radius_mm - truth.socket_radius_mm,
        "rim to true edge, mm": float(cKDTree(truth.edge_all_round_mm).query(bony)[0].max()),
        "alpha by hour": float(np.abs(alpha).max()),
        "coverage by hour": float(np.nanmax(np.abs(coverage))),
        "joint space by hour, mm": float(np.nanmax(np.abs(gap))),
    }


def print_grid() -> bool:
    """Measure the grid, print one row a measurement, say whether all limits were held."""
    rows: list[dict[str, float]] = []
    for shape in grid_shapes():
        rows.append(errors_of(make_hip(shape)))
        print(f"\rmeasured {len(rows)} hips", end="", flush=True)
    print("\n\nmeasured less true over the grid, deg (% for the extrusion index) unless named")
    print(f"{'measurement':36s} {'n':>4s} {'mean':>8s} {'SD':>8s} {'largest':>8s} {'may be':>7s}")
    held = True
    for name, limit in LIMITS.items():
        errors = np.array([row[name] for row in rows if name in row])
        largest = np.abs(errors).max()
        held &= bool(largest <= limit)
        mark = "" if largest <= limit else "  MISSED"
        print(
            f"{name:36s} {len(errors):4d} {errors.mean():8.3f} {errors.std():8.3f} "
            f"{largest:8.3f} {limit:7.2f}{mark}"
        )
    return held
