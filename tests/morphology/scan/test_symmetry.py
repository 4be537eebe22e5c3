"""What must not matter: memory order, mirror, where the scanner's origin lies, a turned grid."""

from __future__ import annotations

import numpy as np
import pytest

from morphology.scan.kept import Kept
from morphology.scan.made_hips import PLAIN, coarse_scan, measured, plain_scan, scan_about
from morphology.scan.orders import all_orders, mirrored, reordered
from rimwright.anatomy import MEASUREMENT_KEYS, HipGeometry, Side, Volume
from rimwright.morphology.femur import DEPARTURE_MM
from rimwright.morphology.scan import measure_scan
from rimwright.morphology.scan.oriented import orient

pytestmark = [pytest.mark.property, pytest.mark.slow]

SAME = 1e-3
"""Of any memory order: mm and degrees."""


def numbers_of(hip: HipGeometry) -> dict[str, np.ndarray]:
    """What is compared of two hips; a refusal is NaN."""
    assert hip.head is not None
    assert hip.rim is not None
    assert hip.by_hour is not None
    assert hip.opening_axis is not None
    return {
        "head": np.append(hip.head.centre_mm, hip.head.radius_mm),
        "rim": hip.rim.points_mm,
        "axis": hip.opening_axis,
        "joint space": hip.by_hour.joint_space_mm,
        "coverage": hip.by_hour.coverage_deg,
        "measurements": np.array(
            [hip.measurements[key].value for key in MEASUREMENT_KEYS], dtype=float
        ),
    }


def assert_same(first: HipGeometry, second: HipGeometry, *, atol: float) -> None:
    """Equal numbers, equal words."""
    wanted = numbers_of(first)
    for name, got in numbers_of(second).items():
        np.testing.assert_allclose(got, wanted[name], atol=atol, rtol=0.0, err_msg=name)
    assert first.warnings == second.warnings


@pytest.fixture(scope="module")
def coarse(kept: Kept) -> Volume:
    """The plain hip, small."""
    return coarse_scan(kept)


def test_all_48_orders_give_the_same_hip(coarse: Volume) -> None:
    """The 48 memory orders of one scan: the same hip to 1e-3 mm.

    A scan enters the measuring as its turned grid alone. Orders whose grids agree in every bit
    (values, steps and origin) are measured once; `test_a_turned_grid_is_all_that_enters` holds
    that this leaves nothing out.
    """
    first = measure_scan(coarse, side=Side.LEFT).hip
    seen: dict[bytes, HipGeometry] = {}
    for order in all_orders():
        volume = reordered(coarse, order)
        grid = orient(volume)
        key = grid.values.tobytes() + grid.step.tobytes() + grid.origin_mm.tobytes()
        if key not in seen:
            seen[key] = measure_scan(volume, side=Side.LEFT).hip
        assert_same(first, seen[key], atol=SAME)
    assert len(seen) <= 8


def test_a_turned_grid_is_all_that_enters(coarse: Volume) -> None:
    """Another order measured in full, density crop included: equal places have equal values."""
    first = measure_scan(coarse, side=Side.LEFT)
    second = measure_scan(reordered(coarse, list(all_orders())[22]), side=Side.LEFT)
    assert_same(first.hip, second.hip, atol=SAME)
    index = np.random.default_rng(1).integers(0, first.density.values.shape, (200, 3))
    there = np.round(second.density.to_index(first.density.to_mm(index))).astype(int)
    np.testing.assert_array_equal(
        first.density.values[tuple(index.T)], second.density.values[tuple(there.T)]
    )


def angles_apart(first: HipGeometry, second: HipGeometry) -> dict[str, float]:
    """Difference of every number both have."""
    apart = {}
    for key in MEASUREMENT_KEYS:
        a, b = first.measurements[key].value, second.measurements[key].value
        if a is not None and b is not None:
            apart[key] = abs(a - b)
    return apart


CUT = ("alpha_angle_max", "head_neck_offset")
"""The small field cuts the neck: not compared here."""
LOOSE = {
    "lateral_centre_edge_angle_sourcil": 5.0,
    "tonnis_angle": 2.5,
    "anterior_centre_edge_angle": 2.0,
}
"""Read on one section through the rim, or on the roof's ends: they step with the boxes, deg."""


def assert_alike(first: HipGeometry, second: HipGeometry, *, limit: float) -> None:
    """Numbers alike where voxels fall otherwise on the bone."""
    apart = angles_apart(first, second)
    assert len(apart) >= 12
    for key, value in apart.items():
        if key in CUT:
            continue
        assert value < LOOSE.get(key, limit), key


def test_the_mirrored_scan_is_the_other_hip(kept: Kept) -> None:
    """Every place's x turned: the other side, the head's centre mirrored to 0.02 mm.

    Not to rounding: boxes are counted from the array's first voxel, which is at the other end. So
    the surfaces have other vertices: 0.1 mm of the radius, angles to 1 degree.
    """
    volume = plain_scan(kept)
    here = measured(kept, "plain", PLAIN, volume).scan.hip
    there = measure_scan(mirrored(volume), side=Side.RIGHT).hip
    assert there.side is Side.RIGHT
    assert here.head is not None
    assert there.head is not None
    np.testing.assert_allclose(
        there.head.centre_mm, here.head.centre_mm * [-1.0, 1.0, 1.0], atol=0.02
    )
    assert there.head.radius_mm == pytest.approx(here.head.radius_mm, abs=0.1)
    assert_alike(here, there, limit=1.0)


def test_a_moved_scan_is_the_moved_hip(coarse: Volume) -> None:
    """A metre away: everything moves along, to 1e-3 mm."""
    volume = coarse
    here = measure_scan(volume, side=Side.LEFT).hip
    shift = np.array([1000.0, -500.0, 250.0])
    affine = volume.affine.copy()
    affine[:3, 3] += shift
    there = measure_scan(Volume(values=volume.values, affine=affine), side=Side.LEFT).hip
    wanted, got = numbers_of(here), numbers_of(there)
    np.testing.assert_allclose(got["head"][:3] - shift, wanted["head"][:3], atol=SAME)
    np.testing.assert_allclose(got["rim"] - shift, wanted["rim"], atol=SAME)
    np.testing.assert_allclose(got["measurements"], wanted["measurements"], atol=SAME)


def turned(degrees: float, axis: int) -> np.ndarray:
    """A turn about one axis."""
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    a, b = [k for k in range(3) if k != axis]
    turn = np.eye(3)
    turn[a, a], turn[a, b], turn[b, a], turn[b, b] = c, -s, s, c
    return turn


OBLIQUE = {
    "lateral_centre_edge_angle": 1.5,
    "anterior_centre_edge_angle": 2.5,
    "acetabular_version_cranial": 1.0,
    "acetabular_version_central": 1.0,
    "sharp_angle": 1.0,
    "subtended_angle": 1.5,
    "anterior_sector_angle": 2.0,
    "posterior_sector_angle": 2.0,
    "alpha_angle_max": 2.0,
}
"""As of straight scans in `test_made_hips`."""


def test_an_oblique_scan_gives_the_true_hip(kept: Kept) -> None:
    """A grid turned by 18 and 11 degrees: the head to 0.1 mm, angles as of a straight one."""
    volume = kept.get(
        "plain-oblique",
        lambda: scan_about(PLAIN, directions=turned(18.0, 0) @ turned(11.0, 2), half_mm=58.0),
    )
    there = measured(kept, "plain-oblique-hip", PLAIN, volume)
    head = there.scan.hip.head
    assert head is not None
    assert np.linalg.norm(head.centre_mm - there.truth.head_centre_mm) < 0.1
    assert head.radius_mm == pytest.approx(PLAIN.head_radius_mm, abs=0.25)
    hip = there.scan.hip
    true = there.truth.measurements(reference=hip.frame.reference, departure_mm=DEPARTURE_MM)
    for key, limit in OBLIQUE.items():
        assert hip.measurements[key].value == pytest.approx(true[key], abs=limit), key
