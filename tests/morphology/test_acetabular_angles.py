"""Angles of a rim by hand: points, circles and planes whose angles are known."""

from __future__ import annotations

import numpy as np
import pytest

from rimwright.evidence import check_values
from rimwright.morphology.acetabular_angles import RimDraws, measure_rim_angles
from rimwright.morphology.rim_crossings import ANTERIOR, CRANIAL, LATERAL, cross_rim


def planar_rim(*, half_angle_deg: float, inclination_deg: float, version_deg: float) -> RimDraws:
    """A round rim on a sphere of 25 mm about the origin (lateral, cranial, anterior)."""
    tilt, turn = np.radians(inclination_deg), np.radians(version_deg)
    axis = np.array([np.sin(tilt) * np.cos(turn), -np.cos(tilt), np.sin(tilt) * np.sin(turn)])
    zero = np.array([0.0, 1.0, 0.0]) - axis[1] * axis
    zero /= np.linalg.norm(zero)
    quarter = np.array([0.0, 0.0, 1.0])
    quarter -= quarter @ axis * axis + quarter @ zero * zero
    quarter /= np.linalg.norm(quarter)
    angle = np.arange(3600) * (2 * np.pi / 3600)
    opening = np.pi - np.radians(half_angle_deg)
    rim = 25.0 * (
        np.cos(opening) * axis
        + np.sin(opening) * (np.cos(angle)[:, None] * zero + np.sin(angle)[:, None] * quarter)
    )
    return RimDraws(
        rims_mm=rim[None],
        socket_centre_mm=np.zeros((1, 3)),
        socket_radius_mm=np.array([25.0]),
        head_radius_mm=np.array([25.0]),
        poles=-axis[None],
    )


@pytest.mark.oracle
def test_lcea_of_given_points() -> None:
    """LCEA = atan2(L, Cr) for the three edge points of planning §10, lcea_points_C_origin."""
    for case in check_values()["lcea_points_C_origin"]["cases"]:
        edge = np.array([case["E_lateral_mm"], case["E_cranial_mm"], 0.0])
        ahead = np.array([0.0, 0.0, 1.0])
        # a rim that runs through the point from behind to front, high, and returns low
        rim = np.array([edge - ahead, edge + ahead, [-20.0, -20, 1], [-20.0, -20, -1]])
        found = cross_rim(
            rim[None], normal=ANTERIOR, level_mm=np.zeros(1), rising=True, want=CRANIAL, sign=1
        )[0]
        angle = np.degrees(np.arctan2(found[LATERAL], found[CRANIAL]))
        assert angle == pytest.approx(case["lcea_deg"], abs=0.01)


@pytest.mark.oracle
@pytest.mark.parametrize("lcea_deg", [20, 25, 30, 35, 40])
def test_extrusion_follows_from_lcea_where_the_edge_is_on_the_head(lcea_deg: int) -> None:
    """Extrusion = 50 (1 − sin LCEA) % (planning §10); rounding of its table is 0.05."""
    # a rim in the sagittal plane of symmetry: opening straight down-out, no version
    draws = planar_rim(half_angle_deg=90.0, inclination_deg=90.0 - lcea_deg, version_deg=0.0)
    values = measure_rim_angles(draws)
    assert values["lateral_centre_edge_angle"][0] == pytest.approx(lcea_deg, abs=1e-6)
    table = check_values()["extrusion_index_if_edge_on_head_circle_pct"]
    assert values["extrusion_index"][0] == pytest.approx(float(table[str(lcea_deg)]), abs=0.06)


@pytest.mark.oracle
def test_hemispherical_rim_is_anteverted_by_its_axis() -> None:
    """A great circle whose axis is turned forward by 20 degrees has version 20 at the centre.

    Geometry: in the axial plane through the centre the rim's chord is at right angles to the
    axis' horizontal part.
    """
    draws = planar_rim(half_angle_deg=90.0, inclination_deg=45.0, version_deg=20.0)
    values = measure_rim_angles(draws)
    assert values["acetabular_version_central"][0] == pytest.approx(20.0, abs=1e-3)
    assert values["anterior_sector_angle"][0] == pytest.approx(70.0, abs=1e-3)
    assert values["posterior_sector_angle"][0] == pytest.approx(110.0, abs=1e-3)
    assert values["horizontal_sector_angle"][0] == pytest.approx(180.0, abs=1e-3)
    assert values["subtended_angle"][0] == pytest.approx(90.0, abs=1e-6)


def test_plane_that_the_rim_does_not_reach_gives_nothing() -> None:
    """No crossing is NaN, never a number: here the notch takes the whole front half."""
    draws = planar_rim(half_angle_deg=80.0, inclination_deg=45.0, version_deg=20.0)
    rims = draws.rims_mm.copy()
    rims[rims[:, :, ANTERIOR] > 0] = np.nan
    gone = RimDraws(
        rims_mm=rims,
        socket_centre_mm=draws.socket_centre_mm,
        socket_radius_mm=draws.socket_radius_mm,
        head_radius_mm=draws.head_radius_mm,
        poles=draws.poles,
    )
    values = measure_rim_angles(gone)
    assert np.isnan(values["acetabular_version_central"][0])
    assert np.isnan(values["anterior_sector_angle"][0])
    assert np.isfinite(values["posterior_sector_angle"][0])


@pytest.mark.oracle
def test_resection_along_the_arc_costs_what_geometry_says() -> None:
    """Taking 3 and 5 mm of arc off an edge at LCEA 35 on 25 mm leaves 28.12 and 23.54 (§10)."""
    table = check_values()["lcea_after_arc_resection"]
    for millimetres in (3, 5):
        lost = np.degrees(millimetres / table["R"])
        draws = planar_rim(
            half_angle_deg=90.0, inclination_deg=90.0 - table["start"] + lost, version_deg=0.0
        )
        value = measure_rim_angles(draws)["lateral_centre_edge_angle"][0]
        assert value == pytest.approx(table[f"{millimetres}mm"], abs=0.01)
