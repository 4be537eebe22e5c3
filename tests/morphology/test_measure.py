"""Measuring as a whole: what is missing is said, what does not belong together is refused."""

from __future__ import annotations

import numpy as np
import pytest

from rimwright.anatomy import MEASUREMENT_KEYS, Cancelled, Side, Status, TriangleMesh
from rimwright.errors import BoneRefusal, CaseRefusal, LayoutRefusal
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


def test_given_notch_turns_the_dial() -> None:
    """Six o'clock is the middle of the ends set by hand, and the rim is bone up to them."""
    hip = make_hip(SHAPE)
    found = measure_hip(side=Side.LEFT, hip_bone=hip.hip_bone).rim
    assert found is not None
    ends = {"notch_anterior": found.point_at(4.2), "notch_posterior": found.point_at(7.6)}
    rim = measure_hip(side=Side.LEFT, hip_bone=hip.hip_bone, landmarks_mm=ends).rim
    assert rim is not None
    # in the old dial the middle lay at (4.2 + 7.6) / 2 = 5.9: the new one is turned by 0.1 hour
    turned = float(found.hours_of(rim.centre_mm + rim.twelve))
    assert turned == pytest.approx(11.9, abs=0.03)
    assert rim.notch_to_hour is not None
    assert rim.notch_from_hour is not None
    assert rim.notch_to_hour - rim.notch_from_hour == pytest.approx(3.4, abs=0.03)


@pytest.mark.fault
def test_one_end_of_the_notch_is_not_enough() -> None:
    """Half a notch is refused."""
    hip = make_hip(SHAPE)
    with pytest.raises(CaseRefusal, match="only one end of the notch"):
        measure_hip(
            side=Side.LEFT, hip_bone=hip.hip_bone, landmarks_mm={"notch_anterior": np.zeros(3)}
        )


def test_given_condyles_turn_the_version() -> None:
    """Condyles moved so that their line turns by ten degrees change the version by ten."""
    hip = make_hip(SHAPE)
    found = measure_hip(side=Side.LEFT, femur=hip.femur)
    medial, lateral = (found.landmarks_mm[f"condyle_{name}"] for name in ("medial", "lateral"))
    assert found.femur is not None
    shaft = found.femur.shaft_axis
    assert shaft is not None
    middle, half = (medial + lateral) / 2, (lateral - medial) / 2
    half = half - half @ shaft * shaft
    angle = np.radians(10.0)
    turned = np.cos(angle) * half + np.sin(angle) * np.cross(shaft, half)
    given = {"condyle_medial": middle - turned, "condyle_lateral": middle + turned}
    moved = measure_hip(side=Side.LEFT, femur=hip.femur, landmarks_mm=given)
    before, after = (item.measurements["femoral_version"].value for item in (found, moved))
    assert before is not None
    assert after is not None
    assert abs(after - before) == pytest.approx(10.0, abs=0.05)


def test_given_neck_centre_turns_the_neck() -> None:
    """The neck axis runs from the head centre through the point set by hand."""
    hip = make_hip(SHAPE)
    found = measure_hip(side=Side.LEFT, femur=hip.femur)
    assert found.femur is not None
    assert found.head is not None
    point = found.femur.neck_centre_mm + np.array([0.0, 3.0, 2.0])
    moved = measure_hip(side=Side.LEFT, femur=hip.femur, landmarks_mm={"neck_centre": point})
    assert moved.femur is not None
    step = point - found.head.centre_mm
    np.testing.assert_allclose(moved.femur.neck_axis, step / np.linalg.norm(step), atol=1e-9)
    assert moved.measurements["neck_shaft_angle"].value != pytest.approx(
        found.measurements["neck_shaft_angle"].value, abs=0.5
    )
