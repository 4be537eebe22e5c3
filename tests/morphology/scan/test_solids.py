"""Regions, filled solids and the surface round them: closed, outward, of the right volume."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import binary_fill_holes, generate_binary_structure, label

from rimwright.morphology.scan.growing import (
    FEMUR,
    HIP_BONE,
    JOINT,
    WALL,
    grow_regions,
    make_solid,
    make_well_composed,
)
from rimwright.morphology.scan.surface_net import split_quads, wrap_solid


def edge_use(triangles: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How often each undirected edge is used, and whether as often one way as the other."""
    sides = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    key, way = np.sort(sides, axis=1), np.where(sides[:, 0] < sides[:, 1], 1, -1)
    _, index, counts = np.unique(key, axis=0, return_inverse=True, return_counts=True)
    return counts, np.bincount(index.ravel(), weights=way)


def volume_of(points: np.ndarray, triangles: np.ndarray) -> float:
    """By the divergence theorem; positive where triangles turn outward."""
    a, b, c = (points[triangles[:, k]] for k in range(3))
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)


def wrapped(inside: np.ndarray, field: np.ndarray, level: float) -> tuple[np.ndarray, np.ndarray]:
    """Surface points as x, y, z and triangles."""
    points, quads = wrap_solid(inside, field.astype(np.float32), level)
    points = points[:, ::-1]
    return points, split_quads(points, quads)


def is_sheet_per_vertex(triangles: np.ndarray) -> bool:
    """Whether the triangles round every vertex hang together by edges at it."""
    at = {}
    for triangle in triangles:
        for corner in triangle:
            at.setdefault(int(corner), []).append({int(v) for v in triangle} - {int(corner)})
    for fan in at.values():
        met, rest = set(fan[0]), fan[1:]
        while True:
            joined = [edge for edge in rest if edge & met]
            if not joined:
                break
            met = met.union(*joined)
            rest = [edge for edge in rest if edge not in joined]
        if rest:
            return False
    return True


@pytest.mark.oracle
def test_a_ball_is_wrapped_at_its_level() -> None:
    """Volume of a ball of 12 boxes within 1 %, every vertex within 0.1 box of the sphere.

    A vertex is the mean of crossings on a curved surface, and faces are chords: both lie inside, by
    about 0.35 / r boxes, which takes 3 · 0.35 / r² = 0.7 % of the volume.
    """
    z, y, x = np.mgrid[:30, :30, :30].astype(float)
    field = 12.0 - np.sqrt((z - 14.7) ** 2 + (y - 14.2) ** 2 + (x - 14.5) ** 2)
    points, triangles = wrapped(field > 0, field, 0.0)
    counts, balance = edge_use(triangles)
    assert (counts == 2).all()
    assert (balance == 0).all()
    assert volume_of(points, triangles) == pytest.approx(4 / 3 * np.pi * 12.0**3, rel=0.01)
    away = np.linalg.norm(points - [14.5, 14.2, 14.7], axis=1) - 12.0
    assert np.abs(away).max() < 0.1


@pytest.mark.property
@given(st.integers(0, 10_000), st.floats(0.1, 0.9))
def test_any_solid_has_a_manifold_surface(seed: int, share: float) -> None:
    """Mended, random boxes have a closed surface: two triangles an edge, one fan a vertex."""
    rng = np.random.default_rng(seed)
    inside = np.zeros((9, 9, 9), dtype=bool)
    inside[2:-2, 2:-2, 2:-2] = rng.random((5, 5, 5)) < share
    before = inside.copy()
    added = make_well_composed(inside)
    assert (added > 0) == bool((inside & ~before).any())
    assert (inside >= before).all()
    if not inside.any():
        return
    assert not inside[[0, -1]].any()
    points, triangles = wrapped(inside, inside.astype(float), 0.5)
    counts, balance = edge_use(triangles)
    assert (counts == 2).all()
    assert (balance == 0).all()
    assert is_sheet_per_vertex(triangles)
    assert volume_of(points, triangles) > 0


@pytest.mark.parametrize(
    "boxes", [[(0, 0, 0), (0, 1, 1)], [(0, 0, 0), (1, 1, 0)], [(0, 0, 0), (1, 1, 1)]]
)
def test_boxes_that_meet_in_an_edge_or_corner_are_joined(boxes: list) -> None:
    """Two boxes that touch without a common face get boxes between them, for every mirror image."""
    for flip in np.ndindex(2, 2, 2):
        inside = np.zeros((8, 8, 8), dtype=bool)
        for box in boxes:
            inside[tuple(3 + (1 - b if f else b) for b, f in zip(box, flip, strict=True))] = True
        assert make_well_composed(inside) >= 1
        _, n = label(inside)
        assert n == 1


def test_a_mended_ball_is_left_alone() -> None:
    """Nothing is added to a solid that is well composed already."""
    inside = np.zeros((12, 12, 12), dtype=bool)
    inside[3:9, 3:9, 3:9] = True
    assert make_well_composed(inside) == 0


@pytest.mark.oracle
def test_solids_are_filled_as_by_another_filler() -> None:
    """Without closing and without neighbours: region and hollows, as scipy fills holes."""
    rng = np.random.default_rng(1)
    region = np.zeros((24, 24, 24), dtype=bool)
    region[3:-3, 3:-3, 3:-3] = rng.random((18, 18, 18)) < 0.55
    got = make_solid(
        region,
        foreign=np.zeros_like(region),
        n_close=0,
        first=3,
        cuts=((False, False), (False, False), (False, False)),
    )
    wanted = binary_fill_holes(region, structure=generate_binary_structure(3, 1))
    assert np.count_nonzero(wanted) > np.count_nonzero(region)
    np.testing.assert_array_equal(got, wanted)


def shell(wall: float = 2.0, n: int = 26) -> np.ndarray:
    """A hollow ball with a wall of some boxes."""
    z, y, x = np.mgrid[:n, :n, :n] - (n - 1) / 2.0
    radius = np.sqrt(z**2 + y**2 + x**2)
    return (radius < 9.0) & (radius > 9.0 - wall)


def test_a_hole_in_a_wall_is_bridged_for_the_filling() -> None:
    """A hole one box wide in a wall of four: closed by one step, the marrow is inside.

    A wall of one or two boxes is not bridged by this closing: its tip passes one box from each
    side.
    """
    region = shell(4.0)
    region[:10, 12, 12] = False
    inside = []
    for n_close in (0, 1):
        solid = make_solid(
            region, foreign=np.zeros_like(region), n_close=n_close, first=3,
            cuts=((False, False), (False, False), (False, False)),
        )  # fmt: skip
        inside.append(bool(solid[13, 13, 13]))
    assert inside == [False, True]


@pytest.mark.parametrize("axis", [0, 1, 2])
@pytest.mark.parametrize("is_high", [False, True])
def test_a_cut_bone_is_closed_at_the_cut_alone(axis: int, is_high: bool) -> None:
    """A tube that any face of the field cuts is filled where it is said to be cut, only there."""
    region = np.zeros((20, 16, 16), dtype=bool)
    region[3:15, 4:12, 4:12] = True
    region[3:14, 6:10, 6:10] = False  # open below, closed above
    if is_high:
        region = region[::-1]
    region = np.ascontiguousarray(np.moveaxis(region, 0, axis))
    filled = []
    for cut in (True, False):
        ends = (False, cut) if is_high else (cut, False)
        cuts = tuple(ends if m == axis else (False, False) for m in range(3))
        solid = make_solid(region, foreign=np.zeros_like(region), n_close=0, first=3, cuts=cuts)
        filled.append(bool(np.moveaxis(solid, axis, 0)[11 if is_high else 8, 8, 8]))
    assert filled == [True, False]


def test_foreign_boxes_stay_out_and_close() -> None:
    """A bone of another takes no part in the solid, but closes a hole that it fills."""
    region = shell()
    foreign = np.zeros_like(region)
    foreign[:8, 11:15, 11:15] = region[:8, 11:15, 11:15]
    region &= ~foreign
    solid = make_solid(
        region,
        foreign=foreign,
        n_close=0,
        first=3,
        cuts=((False, False), (False, False), (False, False)),
    )
    assert not (solid & foreign).any()
    assert solid[13, 13, 13]


def test_regions_meet_halfway_and_never_pass_a_wall() -> None:
    """Two seeds share a bar of bone at its middle; joint and walls are entered by neither."""
    codes = np.zeros((3, 3, 21), np.uint8)
    is_bone = np.zeros(codes.shape, dtype=bool)
    is_bone[1, 1] = True
    codes[1, 1, 0], codes[1, 1, 20] = FEMUR, HIP_BONE
    grown = grow_regions(codes.copy(), is_bone)
    assert (grown[1, 1, :10] == FEMUR).all()
    assert (grown[1, 1, 11:] == HIP_BONE).all()
    assert not grown[~is_bone].any()
    for stop in (JOINT, WALL):
        codes[1, 1, 5] = stop
        grown = grow_regions(codes.copy(), is_bone)
        assert (grown[1, 1, :5] == FEMUR).all()
        assert grown[1, 1, 5] == stop
        assert (grown[1, 1, 6:] == HIP_BONE).all()
