"""Polygons that are not convex are cut without leaving their area, whichever corner comes first."""

from __future__ import annotations

import numpy as np
import pytest

from rimwright.errors import FileRefusal
from rimwright.imaging import welding
from rimwright.imaging.polygons import cut_polygons, cut_strips, sizes_of_offsets, split_counted
from rimwright.imaging.welding import weld_vertices

ARROW = [[0, 0], [40, 0], [10, 10], [0, 40]]
LETTER_L = [[0, 0], [50, 0], [50, 20], [20, 20], [20, 50], [0, 50]]
COMB = [[0, 0], [70, 0], [70, 50], [60, 10], [50, 50], [40, 10], [30, 50], [20, 10], [10, 50]]
COLLINEAR = [[0, 0], [20, 0], [40, 0], [40, 30], [20, 30], [0, 30]]


def shoelace(flat: list[list[float]]) -> float:
    """Area of a polygon in a plane by the shoelace formula."""
    x, y = np.array(flat, dtype=float).T
    return 0.5 * float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum())


@pytest.mark.property
@pytest.mark.parametrize("flat", [ARROW, LETTER_L, COMB, COLLINEAR])
@pytest.mark.parametrize("first", [0, 1, 2, 3])
@pytest.mark.parametrize("turned", [False, True])
def test_areas_add_up_and_none_is_negative(
    flat: list[list[float]], first: int, *, turned: bool
) -> None:
    """All triangles wind like the polygon and their areas are its area, in any tilted plane."""
    rng = np.random.default_rng(2)
    plane = np.linalg.qr(rng.normal(size=(3, 3)))[0]
    normal = np.cross(plane[0], plane[1])
    places = np.array(np.roll(flat, first, axis=0), dtype=float) @ plane[:2] + rng.normal(size=3)
    corners = np.arange(len(flat))[::-1] if turned else np.arange(len(flat))
    triangles = cut_polygons(places, corners, sizes=np.array([len(flat)]), where="x")
    a, b, c = places[triangles].transpose(1, 0, 2)
    areas = 0.5 * np.cross(b - a, c - a) @ normal * (-1 if turned else 1)
    assert len(triangles) == len(flat) - 2
    assert areas.sum() == pytest.approx(shoelace(flat), rel=1e-12)
    assert areas.min() > -1e-9 * shoelace(flat)  # a straight corner leaves a sliver of none


def test_polygons_keep_their_order() -> None:
    """Sizes 4, 3, 2, 5: triangles in the order of the polygons, lines passed over."""
    turn = np.linspace(0, 2 * np.pi, 6)[:-1]
    places = np.column_stack([np.cos(turn), np.sin(turn), 0 * turn])
    corners = np.array([0, 1, 2, 3, 2, 3, 4, 0, 1, 0, 1, 2, 3, 4])
    triangles = cut_polygons(places, corners, sizes=np.array([4, 3, 2, 5]), where="x")
    assert triangles.tolist() == [
        [0, 1, 2], [0, 2, 3], [2, 3, 4], [0, 1, 2], [0, 2, 3], [0, 3, 4],
    ]  # fmt: skip


def test_strips_turn_every_second_triangle() -> None:
    """Corners 0 1 2 3 4 give 012, 132, 234; strips of two give none."""
    corners = np.array([0, 1, 2, 3, 4, 8, 9, 5, 6, 7])
    found = cut_strips(corners, sizes=np.array([5, 2, 3]))
    assert found.tolist() == [[0, 1, 2], [1, 3, 2], [2, 3, 4], [5, 6, 7]]


@pytest.mark.fault
@pytest.mark.parametrize(
    ("cells", "n_cells"),
    [([3, 0, 1, 2], 2), ([3, 0, 1, 2, 9], 1), ([4, 0, 1, 2], 1), ([-1, 3, 0, 1, 2], 2), ([], 1)],
)
def test_sizes_that_do_not_add_up(cells: list[int], n_cells: int) -> None:
    """Counted cells must fill their list exactly."""
    with pytest.raises(FileRefusal, match="do not add up"):
        split_counted(np.array(cells, dtype=np.int64), n_cells=n_cells, where="x")


@pytest.mark.fault
@pytest.mark.parametrize("offsets", [[3, 2, 6], [-3, 6], [3, 5], [3, 9], []])
def test_offsets_that_do_not_fit(offsets: list[int]) -> None:
    """Ends of cells rise to the number of corners."""
    with pytest.raises(FileRefusal, match="do not fit"):
        sizes_of_offsets(np.array(offsets, dtype=np.int64), n_corners=6, where="x")


@pytest.mark.fault
def test_a_concave_polygon_of_too_many_corners() -> None:
    """A comb of 200 corners is refused; a convex polygon of as many is a fan."""
    turn = np.linspace(0, 2 * np.pi, 201)[:-1]
    reach = np.where(np.arange(200) % 2, 60, 20)
    star = np.column_stack([reach * np.cos(turn), reach * np.sin(turn), 0 * turn])
    sizes = np.array([200])
    with pytest.raises(FileRefusal, match="not convex have too many corners"):
        cut_polygons(star, np.arange(200), sizes=sizes, where="x")
    round_ = star / reach[:, None]
    assert len(cut_polygons(round_, np.arange(200), sizes=sizes, where="x")) == 198


def test_places_that_share_a_key_are_told_apart(monkeypatch: pytest.MonkeyPatch) -> None:
    """Were the mix of bits the same for all vertices, they would still be merged by value only."""
    rng = np.random.default_rng(9)
    places = rng.integers(0, 4, (200, 3)).astype(float)
    triangles = rng.integers(0, 200, (100, 3))
    expected = weld_vertices(places, triangles)
    monkeypatch.setattr(welding, "_MIX", (np.uint64(0),) * 3)
    found = weld_vertices(places, triangles)
    assert all(np.array_equal(a, b) for a, b in zip(found, expected, strict=True))
    assert np.array_equal(found[0][found[1]], places[triangles])


def test_a_crowd_on_the_search_line_is_merged_by_a_grid() -> None:
    """A thousand vertices within the tolerance: a list of near pairs would hold half a million."""
    rng = np.random.default_rng(1)
    crowd = rng.uniform(0, 1e-12, (1000, 3))
    places = np.vstack([crowd, np.diag([100.0, 100, 100])])
    triangles = np.vstack([rng.integers(0, 1000, (500, 3)), [[1000, 1001, 1002]]])
    vertices, welded = weld_vertices(places, triangles)
    assert len(vertices) == 4
    assert len(np.unique(welded[:500])) == 1
