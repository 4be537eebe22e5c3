"""The two clocks: from a measured hip, from points, and which points are refused."""

from __future__ import annotations

import numpy as np
import pytest

from morphology.reformat.made_scan import true_hip
from rimwright.anatomy import ClockReference, Side
from rimwright.errors import LayoutRefusal
from rimwright.morphology.reformat import (
    neck_clock_from_points,
    neck_clock_of,
    socket_clock_from_points,
    socket_clock_of,
)
from rimwright.phantom import HipShape, HipTruth

EXACT = 1e-9  # arithmetic on unit vectors in double precision


def ring(truth: HipTruth, hours: tuple[float, ...]) -> np.ndarray:
    """Points of a flat rim: on the true dial, so that the best plane is known exactly."""
    angles = np.radians(30.0 * np.array(hours))[:, None]
    round_ = np.cos(angles) * truth.twelve + np.sin(angles) * truth.three
    return truth.socket_centre_mm + 26.0 * round_ + 3.0 * truth.opening_axis


@pytest.mark.property
@pytest.mark.parametrize("side", list(Side))
def test_points_of_a_flat_rim_give_the_measured_clock(side: Side) -> None:
    """Three points of the dial's plane and the middle of the notch give the dial itself."""
    truth = HipTruth(shape=HipShape(side=side))
    measured = socket_clock_of(true_hip(truth.shape))
    notch = ring(truth, (6.0,))[0]
    given = socket_clock_from_points(
        side=side,
        centre_mm=truth.socket_centre_mm,
        rim_mm=ring(truth, (0.0, 3.0, 8.0)),
        notch_mm=notch,
    )
    for name in ("centre_mm", "axis", "twelve", "three"):
        np.testing.assert_allclose(getattr(given, name), getattr(measured, name), atol=EXACT)
    assert given.reference is ClockReference.NOTCH
    assert given.notes == ("socket and rim are points given by hand",)


@pytest.mark.parametrize("side", list(Side))
def test_without_a_notch_twelve_is_cranial_and_that_is_said(side: Side) -> None:
    """12 lies in the plane of the axis and the image's cranial direction; 3 is anterior."""
    truth = HipTruth(shape=HipShape(side=side))
    clock = socket_clock_from_points(
        side=side, centre_mm=truth.socket_centre_mm, rim_mm=ring(truth, (1.0, 4.0, 9.0, 10.0))
    )
    assert clock.reference is ClockReference.IMAGE_AXES
    assert "12 is cranial in the image: no point of the notch was given" in clock.notes
    assert clock.three[2] == pytest.approx(0.0, abs=EXACT)  # level: 12 takes all of cranial
    assert clock.twelve[2] > 0.0
    assert clock.three[1] < 0.0  # LPS: anterior is −y
    assert clock.axis[0] * side.lateral_x_lps > 0.0


@pytest.mark.parametrize("side", list(Side))
def test_neck_of_two_points(side: Side) -> None:
    """Head and neck centre give the neck's axis; without a shaft 12 is cranial, and is said so."""
    truth = HipTruth(shape=HipShape(side=side))
    axes = truth.femoral_axes
    clock = neck_clock_from_points(
        side=side, head_centre_mm=truth.head_centre_mm, neck_centre_mm=axes.neck_centre_mm
    )
    np.testing.assert_allclose(clock.axis, axes.neck_axis, atol=EXACT)
    assert clock.three[2] == pytest.approx(0.0, abs=EXACT)
    assert clock.three[1] < 0.0
    assert "femoral 12 is cranial in the image" in clock.notes
    measured = neck_clock_of(true_hip(truth.shape))
    assert measured.reference == "shaft"
    np.testing.assert_array_equal(measured.twelve, axes.femoral_twelve)


LEFT = HipTruth(shape=HipShape())


@pytest.mark.fault
@pytest.mark.parametrize(
    ("points", "sentence"),
    [
        (
            ring(LEFT, (0.0, 3.0)),
            "radial planes: too few points of the rim (got 2, need 3). "
            "Give points well round the socket.",
        ),
        (
            LEFT.socket_centre_mm + np.arange(4.0)[:, None] * np.array([1.0, 2.0, 3.0]),
            "radial planes: the points of the rim lie on one line (within 0.0 mm, need 5 mm). "
            "Give points well round the socket.",
        ),
        (
            LEFT.socket_centre_mm + 25.0 * np.array([[1, 0, 0], [0, 1, 0], [-1, 0, 0.0]]),
            "radial planes: the plane of the rim points does not face outward. "
            "Check the points, the side and the axes of the image.",
        ),
    ],
)
def test_rim_points_that_give_no_axis(points: np.ndarray, sentence: str) -> None:
    """Too few points, points on a line and a plane that looks upward are refused."""
    with pytest.raises(LayoutRefusal) as caught:
        socket_clock_from_points(side=Side.LEFT, centre_mm=LEFT.socket_centre_mm, rim_mm=points)
    assert str(caught.value) == sentence


@pytest.mark.fault
def test_points_of_the_other_side_or_turned_over() -> None:
    """A notch above the socket, a neck that runs inward and one too near are refused."""
    with pytest.raises(LayoutRefusal, match="12 o'clock does not come to lie above"):
        socket_clock_from_points(
            side=Side.LEFT,
            centre_mm=LEFT.socket_centre_mm,
            rim_mm=ring(LEFT, (0.0, 3.0, 8.0)),
            notch_mm=ring(LEFT, (0.0,))[0],
        )
    head, neck = LEFT.head_centre_mm, LEFT.femoral_axes.neck_centre_mm
    with pytest.raises(LayoutRefusal, match="the neck does not run outward from the head"):
        neck_clock_from_points(side=Side.RIGHT, head_centre_mm=head, neck_centre_mm=neck)
    with pytest.raises(LayoutRefusal, match=r"too near \(got 2\.8 mm, need 10 mm\)"):
        neck_clock_from_points(
            side=Side.LEFT, head_centre_mm=head, neck_centre_mm=head + 0.1 * (neck - head)
        )


@pytest.mark.fault
def test_a_hip_without_rim_or_neck() -> None:
    """What was not measured is refused with the reason the measuring gave."""
    from dataclasses import replace

    hip = true_hip(HipShape())
    bare = replace(
        hip, rim=None, femur=None, unavailable={"rim": "no edge", "femoral_axes": "no neck"}
    )
    with pytest.raises(LayoutRefusal, match=r"rim was not measured \(no edge\)"):
        socket_clock_of(bare)
    with pytest.raises(LayoutRefusal, match=r"head and neck were not measured \(no neck\)"):
        neck_clock_of(bare)
