"""Sections: lengths, areas and centres of bodies whose sections are known."""

from __future__ import annotations

import numpy as np
import pytest

from morphology.femur.bones import turned_mesh
from rimwright.morphology.femur.sections import (
    Dial,
    plane_directions,
    radial_contours,
    radii_along,
    stack_sections,
)

AXIS = np.array([0.3, -0.5, 0.8]) / np.linalg.norm([0.3, -0.5, 0.8])
START = np.array([4.0, 70.0, -900.0])


def cone_mesh():  # type: ignore[no-untyped-def]
    """A cone frustum: radius 10 at 0, 20 at 40, turned with 360 facets."""
    profile = np.array([[0.0, 0.0], [0.0, 10.0], [40.0, 20.0], [40.0, 0.0]])
    return turned_mesh(profile, centre=START, axis=AXIS, n_facets=360)


@pytest.mark.oracle
def test_radii_of_a_cone() -> None:
    """The radius of a cone grows linearly along its axis, the same on every side."""
    cone = cone_mesh()
    twelve, three = plane_directions(AXIS)
    dial = Dial(centre_mm=START, axis=AXIS, twelve=twelve, three=three)
    contours = radial_contours(cone.vertices_mm, cone.triangles, dial=dial, n_hours=48)
    along = np.array([5.0, 20.0, 35.0])
    radii = radii_along(contours, along_mm=along)
    sag = 20.0 * (1.0 - np.cos(np.pi / 360.0)) * 2.0  # chord against arc, diagonals included
    assert np.abs(radii - (10.0 + along / 4.0)).max() < sag


@pytest.mark.oracle
def test_stack_of_a_cone() -> None:
    """Areas are pi r squared and centres lie on the axis."""
    cone = cone_mesh()
    heights = np.array([5.0, 20.0, 35.0])
    stack = stack_sections(
        cone.vertices_mm, cone.triangles, origin_mm=START, axis=AXIS, heights_mm=heights
    )
    assert stack.areas_mm2 == pytest.approx(np.pi * (10.0 + heights / 4.0) ** 2, rel=3e-4)
    assert np.abs(stack.centroids_mm - (START + heights[:, None] * AXIS)).max() < 1e-6


@pytest.mark.oracle
def test_centroid_of_a_lopsided_prism() -> None:
    """A trapezium of parallel sides 6 and 2, 4 apart: area 16, centroid (5/3, 13/6)."""
    base = np.array([[0.0, 0.0], [4.0, 0.0], [4.0, 2.0], [2.0, 4.0], [1.0, 5.0], [0.0, 6.0]])
    n, corner = len(base), np.array([50.0, -20.0, 0.0])
    points = np.vstack([np.column_stack([base, np.full(n, z)]) + corner for z in (0.0, 9.0)])
    here, there = np.arange(n), (np.arange(n) + 1) % n
    sides = np.vstack(
        [np.column_stack([here, there, there + n]), np.column_stack([here, there + n, here + n])]
    )
    stack = stack_sections(
        points,
        sides,
        origin_mm=np.zeros(3),
        axis=np.array([0.0, 0.0, 1.0]),
        heights_mm=np.array([4.0]),
    )
    assert stack.areas_mm2[0] == pytest.approx(16.0, abs=1e-9)
    expected = [50.0 + 5.0 / 3.0, -20.0 + 13.0 / 6.0, 4.0]
    assert stack.centroids_mm[0] == pytest.approx(expected, abs=1e-9)


def test_heights_beyond_the_body_are_empty() -> None:
    """Where nothing is met the area is 0 and the centre NaN."""
    cone = cone_mesh()
    stack = stack_sections(
        cone.vertices_mm,
        cone.triangles,
        origin_mm=START,
        axis=AXIS,
        heights_mm=np.array([-3.0, 20.0, 43.0]),
    )
    assert list(stack.areas_mm2 > 0) == [False, True, False]
    assert np.isnan(stack.centroids_mm[[0, 2]]).all()


@pytest.mark.property
def test_order_of_triangles_does_not_matter() -> None:
    """Shuffled triangles, each started at another corner, give the same radii."""
    cone = cone_mesh()
    rng = np.random.default_rng(3)
    shuffled = np.roll(cone.triangles[rng.permutation(len(cone.triangles))], 1, axis=1)
    twelve, three = plane_directions(AXIS)
    dial = Dial(centre_mm=START, axis=AXIS, twelve=twelve, three=three)
    along = np.arange(1.0, 39.0)
    answers = [
        radii_along(radial_contours(cone.vertices_mm, faces, dial=dial, n_hours=24), along_mm=along)
        for faces in (cone.triangles, shuffled)
    ]
    assert np.abs(answers[0] - answers[1]).max() < 1e-9  # rounding
