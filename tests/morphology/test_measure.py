"""Measuring as a whole: what is missing is said, what does not belong together is refused."""

from __future__ import annotations

import numpy as np
import pytest

from rimwright.anatomy import MEASUREMENT_KEYS, Cancelled, Side, Status, TriangleMesh
from rimwright.errors import BoneRefusal, LayoutRefusal
from rimwright.morphology import measure_hip
from rimwright.phantom import HipShape, make_hip

SHAPE = HipShape(with_other_hip_bone=False)


@pytest.mark.fault
def test_no_bone_is_refused() -> None:
    """Nothing given, nothing measured: one line."""
    with pytest.raises(LayoutRefusal, match="no bone given"):
        measure_hip(side=Side.LEFT)


@pytest.mark.fault
def test_femur_of_another_hip_is_refused() -> None:
    """A femur whose head lies elsewhere does not belong in this socket."""
    hip = make_hip(SHAPE)
    away = TriangleMesh(
        vertices_mm=hip.femur.vertices_mm + np.array([0.0, 0.0, 60.0]),
        triangles=hip.femur.triangles,
    )
    with pytest.raises(BoneRefusal, match="does not belong in this socket"):
        measure_hip(side=Side.LEFT, hip_bone=hip.hip_bone, femur=away)


def test_unseated_head_is_a_warning() -> None:
    """A head 8 mm out of its socket is measured, and said to lie so."""
    hip = make_hip(SHAPE)
    out = TriangleMesh(
        vertices_mm=hip.femur.vertices_mm + np.array([8.0, 0.0, 0.0]), triangles=hip.femur.triangles
    )
    measured = measure_hip(side=Side.LEFT, hip_bone=hip.hip_bone, femur=out)
    assert any("not seated" in warning for warning in measured.warnings)


@pytest.mark.parametrize("lacking", ["hip_bone", "femur"])
def test_what_is_missing_says_why(lacking: str) -> None:
    """Every key stands; what one bone cannot give is refused with the bone it needs."""
    hip = make_hip(SHAPE)
    bones = {"hip_bone": hip.hip_bone, "femur": hip.femur}
    del bones[lacking]
    measured = measure_hip(side=Side.LEFT, **bones)
    assert set(measured.measurements) == set(MEASUREMENT_KEYS)
    word = {"hip_bone": "no hip bone given", "femur": "no femur given"}[lacking]
    refused = [
        key for key, value in measured.measurements.items() if value.status is Status.REFUSED
    ]
    assert refused
    assert {measured.measurements[key].reason for key in refused} == {word}
    assert word in measured.unavailable.values()


def test_given_landmarks_win() -> None:
    """Four landmarks set by the user give the anterior pelvic plane where one bone could not."""
    hip = make_hip(SHAPE)
    truth = make_hip(HipShape(with_other_hip_bone=True)).truth
    names = ("asis", "asis_other", "pubic_tubercle", "pubic_tubercle_other")
    given = {name: truth.landmarks_mm[name] for name in names}
    measured = measure_hip(side=Side.LEFT, hip_bone=hip.hip_bone, landmarks_mm=given)
    assert measured.frame.reference == "anterior pelvic plane"
    np.testing.assert_allclose(measured.landmarks_mm["asis"], given["asis"])


def test_cancelling_stops_the_work() -> None:
    """A progress callback may raise; nothing is returned."""

    def stop(fraction: float, stage: str) -> None:
        if fraction > 0.1:
            raise Cancelled

    with pytest.raises(Cancelled):
        measure_hip(side=Side.LEFT, hip_bone=make_hip(SHAPE).hip_bone, progress=stop)


def test_same_input_same_output() -> None:
    """Two runs agree to the last bit, spreads included."""
    hip = make_hip(SHAPE)
    first, second = (
        measure_hip(side=Side.LEFT, hip_bone=hip.hip_bone, femur=hip.femur) for _ in range(2)
    )
    assert dict(first.measurements) == dict(second.measurements)
