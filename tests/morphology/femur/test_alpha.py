"""Alpha angle and head-neck offset: closed forms on a turned head, rules on hand-made curves."""

from __future__ import annotations

import numpy as np
import pytest

from morphology.femur.bones import (
    HEAD_CENTRE,
    HEAD_MM,
    NECK_AXIS,
    NECK_MM,
    femur_of,
    head_on_neck,
)
from rimwright.anatomy import Floats, Side, TriangleMesh, pelvic_frame_of_image
from rimwright.morphology.femur import DEPARTURE_MM, measure_femur
from rimwright.morphology.femur.alpha import (
    alpha_by_hour,
    alpha_hours,
    departure_mm,
    head_neck_offset_mm,
    largest_alpha,
)
from rimwright.morphology.femur.sections import (
    Dial,
    RadialContours,
    plane_directions,
    radial_contours,
)
from rimwright.phantom import HipShape


def contours_of(mesh: TriangleMesh) -> RadialContours:
    """Quarter-hour planes through the turned neck's axis."""
    twelve, three = plane_directions(NECK_AXIS)
    dial = Dial(centre_mm=HEAD_CENTRE, axis=NECK_AXIS, twelve=twelve, three=three)
    return radial_contours(mesh.vertices_mm, mesh.triangles, dial=dial, n_hours=48)


@pytest.mark.oracle
@pytest.mark.parametrize("departure", [0.25, 0.5, 1.0, 2.0])
@pytest.mark.parametrize("neck_mm", [12.0, 15.0, 18.0])
def test_alpha_of_a_ball_on_a_cylinder(departure: float, neck_mm: float) -> None:
    """A cylinder of radius a is R + d from the centre where sin(alpha) = a / (R + d)."""
    alpha = alpha_by_hour(
        contours_of(head_on_neck(neck_mm=neck_mm)), radius_mm=HEAD_MM, departure=departure
    )
    exact = np.degrees(np.arcsin(neck_mm / (HEAD_MM + departure)))
    assert np.abs(alpha - exact).max() < 0.05  # chords of 180 facets lie 0.003 mm inside


@pytest.mark.oracle
def test_offset_of_a_ball_on_a_cylinder() -> None:
    """The offset is the difference of the two radii at every hour."""
    contours = contours_of(head_on_neck())
    for hour_index in (0, 12, 30):
        offset = head_neck_offset_mm(
            contours, hour_index=hour_index, radius_mm=HEAD_MM, neck_mm=30.0, alpha_deg=38.0
        )
        assert offset == pytest.approx(HEAD_MM - NECK_MM, abs=0.005)  # chords


def outline(points: Floats) -> RadialContours:
    """One half-plane (12 o'clock of a dial of two hours) with a polyline of radius and place."""
    ends = np.stack([points[:-1], points[1:]], axis=1)
    return RadialContours(
        n_hours=2,
        plane=np.zeros(len(ends), dtype=np.int64),
        ends_mm=ends,
        outward=np.ones(len(ends)),
    )


@pytest.mark.oracle
@pytest.mark.parametrize("sideways_mm", [-1.0, 0.0, 1.5])
@pytest.mark.parametrize("along_mm", [-2.0, 0.0, 3.0])
def test_alpha_of_a_ball_on_a_cone_seen_from_a_moved_centre(
    sideways_mm: float, along_mm: float
) -> None:
    """On the line x = 10 + z / 2, a point at L from (s, t) stands at asin(c / (L w)) + atan(1/2).

    c = 10 + t / 2 - s and w = sqrt(5) / 2: the sine of a difference.
    """
    place = np.array([sideways_mm, along_mm])
    polar = np.linspace(np.pi - 0.05, 0.8, 400)  # the old ball stays inside the moved limit
    ball = place + 17.0 * np.column_stack([np.sin(polar), np.cos(polar)])
    along = np.linspace(along_mm + 12.0, 60.0, 50)
    cone = np.column_stack([10.0 + along / 2.0, along])
    shift = np.array([sideways_mm, 0.0, along_mm])
    alpha = alpha_by_hour(
        outline(np.vstack([ball, cone])), radius_mm=24.0, departure=1.0, shift_mm=shift
    )
    offset = 10.0 + along_mm / 2.0 - sideways_mm
    exact = np.degrees(np.arcsin(offset / (25.0 * np.sqrt(1.25))) + np.arctan(0.5))
    assert alpha[0] == pytest.approx(exact, abs=1e-6)  # a straight line is cut exactly


@pytest.mark.parametrize(("bump_mm", "leaves_at_deg"), [(1.0, 40.0), (6.0, 100.0)])
def test_first_lasting_way_out(bump_mm: float, leaves_at_deg: float) -> None:
    """A bump shorter than a lip is stepped over; a longer one is where the outline leaves."""
    theta = np.linspace(170.0, 20.0, 3001)
    wide_deg = np.degrees(bump_mm / 25.0)
    on_bump = (theta <= 100.0) & (theta > 100.0 - wide_deg)
    reach = np.where(on_bump | (theta <= 40.0), 28.0, 24.0)
    angles = np.radians(theta)
    points = np.column_stack([reach * np.sin(angles), reach * np.cos(angles)])
    alpha = alpha_by_hour(outline(points), radius_mm=24.0, departure=1.0)
    assert alpha[0] == pytest.approx(leaves_at_deg, abs=0.06)  # one step of the outline


@pytest.mark.oracle
@pytest.mark.parametrize("cam_hour", [0.5, 1.5, 2.5])
def test_curve_of_a_synthetic_cam(cam_hour: float) -> None:
    """Alpha is within 2 degrees of the exact contour at every hour, and largest at the cam."""
    mesh, truth = femur_of(
        HipShape(cam_hour=cam_hour, cam_start_deg=75.0, cam_height_mm=2.8, cam_sharpness=4.0)
    )
    femur = measure_femur(mesh, side=Side.LEFT, frame=pelvic_frame_of_image(Side.LEFT))
    exact = truth.alpha_deg(femur.femoral_hours, departure_mm=DEPARTURE_MM)
    assert np.abs(femur.alpha_deg - exact).max() < 2.0
    largest = femur.femoral_hours[np.argmax(femur.alpha_deg)]
    assert largest == pytest.approx(cam_hour, abs=0.25)  # one step of the curve


def test_a_hole_at_the_departure_gives_nothing_there() -> None:
    """Where the outline is missing round the place, the hour has no alpha."""
    mesh = head_on_neck()
    twelve, _ = plane_directions(NECK_AXIS)
    alpha = np.arcsin(NECK_MM / (HEAD_MM + DEPARTURE_MM))
    place = HEAD_CENTRE + HEAD_MM * (np.cos(alpha) * NECK_AXIS + np.sin(alpha) * twelve)
    kept = np.linalg.norm(mesh.centroids_mm() - place, axis=1) > 7.0
    holed = TriangleMesh(vertices_mm=mesh.vertices_mm, triangles=mesh.triangles[kept])
    curve = alpha_by_hour(contours_of(holed), radius_mm=HEAD_MM)
    assert np.isnan(curve[0])
    assert np.isfinite(curve[12:36]).all()


def test_largest_is_searched_where_cams_are_and_is_no_spike() -> None:
    """A spike at one quarter hour and a high place at 7 o'clock are passed over."""
    curve = np.full(48, 42.0)
    hours = alpha_hours()
    curve[hours == 7.0] = 90.0
    curve[hours == 7.25] = 90.0
    curve[hours == 11.0] = 80.0  # alone by 38 degrees
    curve[(hours >= 1.0) & (hours <= 2.0)] = [60.0, 63.0, 66.0, 62.0, 55.0]
    place = largest_alpha(curve)
    assert place is not None
    assert hours[place] == 1.5
    assert largest_alpha(np.full(48, np.nan)) is None


def test_departure_follows_a_rough_head() -> None:
    """1 mm up to a miss of a third of it, then three times the miss."""
    assert departure_mm(0.1) == 1.0
    assert departure_mm(0.5) == 1.5
