"""The check values agree with the rows they name, and the exact ones with geometry done anew."""

from __future__ import annotations

import math

import pytest

from rimwright.evidence import check_values, load_evidence

VALUES = check_values()
TABLE = load_evidence()


def test_every_check_names_rows_that_exist():
    """A check is published, geometry or sanity, and its rows exist."""
    assert len(VALUES) == 19
    for name, entry in VALUES.items():
        assert entry["kind"].split(",")[0] in {"published", "geometry", "sanity"}, name
        assert all(TABLE.has_row(row) for row in entry["evidence"]), name


@pytest.mark.oracle
def test_lcea_points_are_exact():
    """Points on a circle of 25 mm: the angle from cranial is atan2(lateral, cranial)."""
    for case in VALUES["lcea_points_C_origin"]["cases"]:
        angle = math.degrees(math.atan2(case["E_lateral_mm"], case["E_cranial_mm"]))
        assert angle == pytest.approx(case["lcea_deg"], abs=0.01)  # points printed to 0.001 mm


@pytest.mark.oracle
def test_extrusion_of_an_edge_on_the_head_circle():
    """Width lateral of the edge over head width: (R - R sin a) / 2R."""
    entry = VALUES["extrusion_index_if_edge_on_head_circle_pct"]
    for lcea in ("20", "25", "30", "35", "40"):
        expected = 50 * (1 - math.sin(math.radians(float(lcea))))
        assert entry[lcea] == pytest.approx(expected, abs=0.05)  # printed to 0.1 %


@pytest.mark.oracle
def test_coverage_lost_per_mm():
    """One millimetre along an arc of radius R is 180 / (pi R) degrees."""
    entry = VALUES["coverage_loss_deg_per_mm_at_resected_hour"]
    for radius in (22, 24, 25, 26):
        expected = 180 / (math.pi * radius)
        assert entry[f"R{radius}"] == pytest.approx(expected, abs=0.006)  # printed to 0.01
    arc = VALUES["lcea_after_arc_resection"]
    for trim in (3, 5):
        left = arc["start"] - trim * 180 / (math.pi * arc["R"])
        assert arc[f"{trim}mm"] == pytest.approx(left, abs=0.01)


@pytest.mark.oracle
def test_published_checks_repeat_their_rows():
    """What is checked against and what is shown come from one place."""
    cone = TABLE.row("planning:5.01").numbers
    assert VALUES["trajectory_cone_deg"]["1"] == [cone["mean"], cone["sd"]]
    depth = TABLE.row("planning:5.10").numbers
    assert VALUES["bone_depth_mm"]["mean_sd"] == [depth["mean"], depth["sd"]]
    seal = TABLE.row("planning:6.01").numbers
    assert VALUES["seal_force_N"]["intact"] == [seal["intact_mean"], seal["intact_sd"]]
    widths = TABLE.row("planning:4.01").numbers
    assert VALUES["labral_width_mm_arthroscopy"]["3:00"] == [
        widths["mean_3_00"],
        widths["sd_3_00"],
    ]
    in_vivo = TABLE.row("planning:3.01").numbers
    for trim in range(1, 6):
        expected = in_vivo["intercept"] + in_vivo["per_mm"] * trim
        assert VALUES["lcea_change_in_vivo"][f"d_{trim}"] == pytest.approx(expected, abs=1e-9)


def test_memory_is_said_to_be_memory():
    """The regression that was recalled says so beside its numbers."""
    assert "MEMORY" in VALUES["lcea_change_in_vivo"]["kind"]
    assert not TABLE.row("planning:3.01").status.was_read
