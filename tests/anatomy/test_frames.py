"""Frames: a change of frame names both ends, and two that do not meet cannot be chained."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given

from rimwright.anatomy import (
    Frame,
    PelvicReference,
    RigidTransform,
    Side,
    pelvic_frame_of_image,
)
from strategies import POINTS, rotations

CLOSE_MM = 1e-6  # after two changes of frame with rotations built from rounded numbers


def change(source, target, axes, origin_mm=(0.0, 0.0, 0.0)):
    return RigidTransform(source=source, target=target, axes=axes, origin_mm=origin_mm)


@pytest.mark.parametrize("side", list(Side))
def test_pelvic_axes_on_labelled_points(side):
    """Points named by anatomy land on the axis of their name, on the left and on the right."""
    labelled = {
        "lateral": np.array([side.lateral_x_lps, 0, 0]),
        "cranial": np.array([0, 0, 1.0]),
        "anterior": np.array([0, -1.0, 0]),
    }
    frame = pelvic_frame_of_image(side)
    assert frame.reference is PelvicReference.IMAGE_AXES
    for position, (name, point) in enumerate(labelled.items()):
        expected = np.zeros(3)
        expected[position] = 1.0
        assert np.array_equal(frame.pelvic_from_image.directions(point), expected), name
        assert np.array_equal(getattr(frame, name), point), name


def test_handedness_differs_by_side():
    """Lateral x cranial is anterior on a left hip and posterior on a right one."""
    left, right = (pelvic_frame_of_image(side) for side in (Side.LEFT, Side.RIGHT))
    assert np.linalg.det(left.pelvic_from_image.axes) == pytest.approx(1.0)
    assert np.linalg.det(right.pelvic_from_image.axes) == pytest.approx(-1.0)


@pytest.mark.property
@given(axes=rotations(), origin=POINTS, point=POINTS)
def test_there_and_back(axes, origin, point):
    """A change of frame and its inverse leave points and directions alone, and distances too."""
    there = change(Frame.IMAGE, Frame.FEMORAL, axes, origin)
    back = there.inverse()
    assert back.source is Frame.FEMORAL
    assert np.allclose(back.points(there.points(point)), point, atol=CLOSE_MM)
    assert np.allclose(back.directions(there.directions(point)), point, atol=CLOSE_MM)
    distance = np.linalg.norm(there.points(point) - there.points(origin))
    assert distance == pytest.approx(np.linalg.norm(point - origin), abs=CLOSE_MM)


@pytest.mark.property
@given(first=rotations(), second=rotations(), origin=POINTS, other=POINTS, point=POINTS)
def test_a_chain_is_one_after_the_other(first, second, origin, other, point):
    """Chained, two changes do what they do in turn, to points and to directions."""
    pelvic = change(Frame.IMAGE, Frame.PELVIC, first, origin)
    femoral = change(Frame.PELVIC, Frame.FEMORAL, second, other)
    chained = pelvic.then(femoral)
    assert (chained.source, chained.target) == (Frame.IMAGE, Frame.FEMORAL)
    in_turn = femoral.points(pelvic.points(point))
    assert np.allclose(chained.points(point), in_turn, atol=CLOSE_MM)
    in_turn = femoral.directions(pelvic.directions(point))
    assert np.allclose(chained.directions(point), in_turn, atol=CLOSE_MM)


def test_points_move_and_directions_only_turn():
    """The origin acts on points and not on directions."""
    moved = change(Frame.IMAGE, Frame.PELVIC, np.eye(3), (10.0, 0.0, 0.0))
    assert np.array_equal(moved.points([10.0, 0, 0]), [0.0, 0, 0])
    assert np.array_equal(moved.directions([10.0, 0, 0]), [10.0, 0, 0])


@pytest.mark.fault
def test_frames_that_do_not_meet_are_not_chained():
    """The refusal names both frames."""
    pelvic = change(Frame.IMAGE, Frame.PELVIC, np.eye(3))
    with pytest.raises(ValueError, match=r"the pelvic frame .* from the image frame"):
        pelvic.then(pelvic)


@pytest.mark.fault
@pytest.mark.parametrize(
    "axes",
    [
        np.diag([1.0, 1.0, 1.001]),  # stretched in one axis only
        np.array([[1.0, 0.01, 0], [0, 1, 0], [0, 0, 1]]),  # sheared
    ],
)
def test_axes_must_be_orthonormal_in_every_entry(axes):
    """One bad entry is enough: all entries are looked at, not any."""
    with pytest.raises(ValueError, match="not orthonormal"):
        change(Frame.IMAGE, Frame.PELVIC, axes)


@pytest.mark.fault
def test_axes_must_be_finite_and_square():
    """A hole in the axes is no frame."""
    with pytest.raises(ValueError, match="not finite"):
        change(Frame.IMAGE, Frame.PELVIC, np.full((3, 3), np.nan))
    with pytest.raises(ValueError, match="shape"):
        change(Frame.IMAGE, Frame.PELVIC, np.eye(4))


def test_records_cannot_be_written_to():
    """The arrays of a frame are copies and read-only."""
    axes = np.eye(3)
    frame = change(Frame.IMAGE, Frame.PELVIC, axes)
    axes[0, 0] = 5.0
    assert frame.axes[0, 0] == 1.0
    with pytest.raises(ValueError, match="read-only"):
        frame.axes[0, 0] = 5.0
