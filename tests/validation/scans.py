"""Made hips seen by many scanners, and all 48 memory orders measured in full; printed."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
from scipy.spatial import cKDTree

from rimwright.anatomy import MEASUREMENT_KEYS, Volume
from rimwright.errors import Refusal
from rimwright.morphology.femur import DEPARTURE_MM
from rimwright.morphology.scan import measure_scan
from rimwright.phantom import HipShape, make_hip
from rimwright.phantom.ct import CtLook, grid_round, make_ct

SHAPE = HipShape(with_other_hip_bone=False, shaft_length_mm=120.0, joint_gap_mm=3.5)
HALF_MM = 62.0
SAME = 1e-3
LOOKS = {
    "plain": CtLook(),
    "cortex 700 HU": CtLook(cortex_hu=700.0),
    "cortex 1800 HU": CtLook(cortex_hu=1800.0),
    "spongy 100 HU": CtLook(spongy_hu=100.0),
    "spongy 600 HU": CtLook(spongy_hu=600.0),
    "one bone of 700 HU": CtLook(cortex_hu=700.0, spongy_hu=700.0),
    "porous: 700 on 100 HU": CtLook(cortex_hu=700.0, spongy_hu=100.0),
    "noise 10 HU": CtLook(noise_hu=10.0),
    "noise 80 HU": CtLook(noise_hu=80.0),
    "blur 0.4 mm": CtLook(blur_mm=0.4),
    "blur 1.0 mm": CtLook(blur_mm=1.0),
    "cortex 0.5 mm": CtLook(cortex_mm=0.5),
    "cortex 2.5 mm": CtLook(cortex_mm=2.5),
}
SPACINGS = ((0.5, 0.5, 0.5), (0.7, 0.7, 1.0), (1.25, 1.25, 1.25), (0.7, 0.7, 1.5), (2.0, 2.0, 2.0))
KEYS = (
    "lateral_centre_edge_angle",
    "anterior_centre_edge_angle",
    "tonnis_angle",
    "acetabular_version_central",
    "joint_space_min",
)
LIMITS = (1.5, 2.5, 2.5, 1.0, 0.8)
"""As `tests/morphology/scan/test_made_hips.py` has them on plain scans, with their reasons."""


def scan(look: CtLook, spacing_mm: tuple[float, ...], shift: int = 0) -> Volume:
    """A CT about the head, its voxels set a little otherwise for each shift."""
    hip = make_hip(SHAPE)
    rng = np.random.default_rng(shift)
    corners = hip.truth.head_centre_mm + HALF_MM * np.array([[-1.0], [1.0]])
    corners = corners + rng.uniform(-0.5, 0.5, 3) * spacing_mm
    grid = grid_round(corners, spacing_mm=spacing_mm, margin_mm=0.0)
    return make_ct([hip.hip_bone, hip.femur], look=look, grid=grid, seed=shift)


def print_one(name: str, volume: Volume) -> bool:
    """One row: misses against the truth; whether it stays within the limits."""
    truth = make_hip(SHAPE).truth
    try:
        hip = measure_scan(volume, side=SHAPE.side).hip
    except Refusal as refusal:
        print(f"{name:40s} {refusal}")
        return False
    true = truth.measurements(reference=hip.frame.reference, departure_mm=DEPARTURE_MM)
    misses = np.array(
        [
            np.nan
            if hip.measurements[key].value is None
            else hip.measurements[key].value - true[key]
            for key in KEYS
        ],
        dtype=float,
    )
    head = np.nan if hip.head is None else np.linalg.norm(hip.head.centre_mm - truth.head_centre_mm)
    rim = np.array([np.nan, np.nan])
    if hip.rim is not None:
        points = hip.rim.points_mm[np.isfinite(hip.rim.points_mm).all(axis=1)]
        rim = np.quantile(cKDTree(truth.edge_all_round_mm).query(points)[0], [0.5, 0.95])
    print(
        f"{name:40s} {head:5.2f} {rim[0]:5.2f} {rim[1]:5.2f} "
        + " ".join(f"{m:+6.2f}" for m in misses)
    )
    return bool((np.abs(misses[:4]) < LIMITS[:4]).all() and head < 0.3)


def print_scans() -> bool:
    """Looks, spacings and shifts of one made hip; then every memory order of one scan."""
    print(
        "\nmade scans: head, rim median and 95 %, mm; LCEA, ACEA, Tönnis, version, deg; joint, mm"
    )
    rows = [(name, look, (0.7, 0.7, 1.0), 0) for name, look in LOOKS.items()]
    rows += [(f"voxels {spacing}", CtLook(), spacing, 0) for spacing in SPACINGS]
    rows += [(f"shift {shift}", CtLook(), (0.7, 0.7, 1.0), shift) for shift in range(1, 7)]
    held = [print_one(name, scan(look, spacing, shift)) for name, look, spacing, shift in rows]
    print(f"{sum(held)} of {len(held)} within limits")
    return all(held) & _orders_agree()


def _orders_agree() -> bool:
    """All 48 orders measured in full against the first."""
    volume = scan(replace(CtLook(), noise_hu=30.0), (1.7, 1.7, 1.7))
    first = measure_scan(volume, side=SHAPE.side).hip
    most = 0.0
    for axes in itertools.permutations(range(3)):
        for signs in itertools.product((1, -1), repeat=3):
            values, affine = volume.values.transpose(axes), volume.affine.copy()
            affine[:3, :3] = volume.affine[:3, list(axes)]
            for axis, sign in enumerate(signs):
                if sign < 0:
                    values = np.flip(values, axis)
                    affine[:3, 3] += affine[:3, axis] * (values.shape[axis] - 1)
                    affine[:3, axis] *= -1.0
            hip = measure_scan(Volume(values=values, affine=affine), side=SHAPE.side).hip
            for key in MEASUREMENT_KEYS:
                a, b = first.measurements[key].value, hip.measurements[key].value
                if (a is None) != (b is None):
                    most = np.inf
                elif a is not None and b is not None:
                    most = max(most, abs(a - b))
            if hip.rim is not None and first.rim is not None:
                apart = np.abs(hip.rim.points_mm - first.rim.points_mm)
                most = max(most, float(np.nanmax(apart)))
    print(f"48 memory orders: largest difference {most:.2e} (limit {SAME})")
    return most < SAME
