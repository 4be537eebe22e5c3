"""Candidacy: roads side by side, cut-offs on the modality they were made on, conflicts shown."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimwright.anatomy import (
    MEASUREMENT_KEYS,
    HipGeometry,
    Measurement,
    Side,
    Stance,
    Status,
    pelvic_frame_of_image,
)
from rimwright.evidence import load_evidence
from rimwright.treatment import Findings, Modality, Reading, assess_candidacy, readings_of_hip
from treatment.labrum_cases import YOUNG, findings

TABLE = load_evidence()
ROADS = (
    "No operation",
    "Arthroscopy",
    "Osteotomy of the pelvis",
    "Osteotomy of the femur",
    "Arthroplasty",
)


def read(quantity, value, modality=Modality.RADIOGRAPH, **more):
    """Findings with one reading."""
    return Findings(readings=(Reading(quantity=quantity, value=value, modality=modality, **more),))


def road(known, name):
    """The statement of one road."""
    return next(
        item for item in assess_candidacy(known, TABLE)[:5] if item.statement.startswith(name)
    )


def about(known, words):
    """The one statement, roads apart, that begins with some words."""
    found = [
        item for item in assess_candidacy(known, TABLE)[5:] if item.statement.startswith(words)
    ]
    assert len(found) == 1
    return found[0]


@pytest.mark.property
@given(known=findings())
def test_the_five_roads_always_stand_first(known):
    """Whatever is known, no operation and the other roads stand beside arthroscopy."""
    statements = assess_candidacy(known, TABLE)
    for name, item in zip(ROADS, statements, strict=False):
        assert item.statement.startswith(f"{name}: ")
    assert statements[0].stance is Stance.OPEN  # going on without an operation is never excluded
    assert all(TABLE.has_row(row) for item in statements for row in item.evidence)


def test_nothing_known_names_everything_unknown():
    """Unknown inputs are named as unknown, with what to do, and decide nothing."""
    statements = assess_candidacy(Findings(), TABLE)
    assert len(statements) == 6
    assert all(item.stance is Stance.OPEN for item in statements)
    for label in ("joint space (", "Tönnis grade (", "age (", "largest alpha angle ("):
        assert label in statements[-1].statement


def test_narrow_joint_space_on_a_radiograph():
    """2 mm or less on a radiograph speaks against arthroscopy and for talking of arthroplasty."""
    known = read("joint_space_min", 1.8)
    arthroscopy = road(known, "Arthroscopy")
    assert arthroscopy.stance is Stance.ADVISED_AGAINST
    assert "planning:4.23" in arthroscopy.evidence
    assert "Joint space 1.8 mm (radiograph)" in road(known, "Arthroplasty").statement
    assert road(read("joint_space_min", 2.0), "Arthroscopy").stance is Stance.ADVISED_AGAINST
    assert road(read("joint_space_min", 2.1), "Arthroscopy").stance is Stance.OPEN


@pytest.mark.parametrize("modality", [Modality.MESH, Modality.CT, Modality.MR, None])
def test_radiographic_cut_offs_are_not_applied_elsewhere(modality):
    """Joint space and LCEA of another or unknown modality stay open, and the reason is said."""
    for key, value, label in (
        ("joint_space_min", 1.0, "Joint space"),
        ("lateral_centre_edge_angle", 10.0, "Lateral centre-edge angle (bone edge)"),
    ):
        known = read(key, value, modality)
        assert road(known, "Arthroscopy").stance is Stance.OPEN
        item = about(known, label)
        assert item.stance is Stance.OPEN
        assert "not held against the cut-offs in force" in item.statement
        assert "made on radiographs" in item.statement


def test_a_radiograph_beside_a_mesh_is_the_one_that_counts():
    """With both at hand the cut-off takes the modality it was made on."""
    both = Findings(
        readings=(
            Reading(quantity="lateral_centre_edge_angle", value=28, modality=Modality.MESH),
            Reading(quantity="lateral_centre_edge_angle", value=17, modality=Modality.RADIOGRAPH),
        )
    )
    assert road(both, "Arthroscopy").stance is Stance.ADVISED_AGAINST
    assert "17° (radiograph)" in about(both, "Lateral centre-edge angle (bone").statement


@pytest.mark.parametrize(
    ("value", "stance", "words"),
    [
        (17.0, Stance.ADVISED_AGAINST, "dysplasia by the limit in force"),
        (19.9, Stance.ADVISED_AGAINST, "by 18° the answer would be another"),
        (20.0, Stance.OPEN, "borderline coverage"),
        (24.0, Stance.OPEN, "by 23° the answer would be another"),
        (25.0, Stance.OPEN, "meets none of the cut-offs"),
        (35.0, Stance.OPEN, "at least 40° by default, in print also 33°, 39°, by 33° the answer"),
        (40.0, Stance.OPEN, "overcoverage by the limit in force"),
    ],
)
def test_lcea_classes_with_their_conflict(value, stance, words):
    """Classes of 2.01 in force; the other limits of C3 stand beside, and where they differ."""
    item = about(read("lateral_centre_edge_angle", value), "Lateral centre-edge angle (bone edge)")
    assert item.stance is stance
    assert words in item.statement
    assert "planning:C3" in item.evidence


def test_alpha_conflict_is_shown():
    """C8: 58 degrees on radial MR is no cam by 60, but one by 55 and 57."""
    item = about(read("alpha_angle_max", 58, Modality.MR), "Largest alpha angle")
    assert "at least 60°" in item.statement
    assert "by 55° and 57° the answer would be another" in item.statement
    assert "planning:C8" in item.evidence


def test_dysplasia_asks_for_a_surgeon_who_does_osteotomies():
    """Low coverage brings the osteotomy of the pelvis into the discussion."""
    pelvis = road(read("lateral_centre_edge_angle", 15), "Osteotomy of the pelvis")
    assert pelvis.stance is Stance.OPEN
    assert "a surgeon who does osteotomies" in pelvis.statement


@pytest.mark.parametrize(
    ("key", "value", "modality"),
    [
        ("extrusion_index", 28.0, Modality.RADIOGRAPH),
        ("tonnis_angle", 12.0, Modality.RADIOGRAPH),
        ("anterior_centre_edge_angle", 20.0, Modality.RADIOGRAPH),
        ("anterior_sector_angle", 50.0, Modality.CT),
        ("posterior_sector_angle", 90.0, Modality.CT),
        ("acetabular_version_central", 7.0, Modality.CT),
        ("acetabular_version_central", 26.0, Modality.CT),
    ],
)
def test_undercoverage_and_version_bring_the_pelvis_into_discussion(key, value, modality):
    """Each cut-off on its own modality speaks of the pelvis and closes no road by itself."""
    known = read(key, value, modality)
    assert "by the limit in force" in road(known, "Osteotomy of the pelvis").statement
    assert road(known, "Arthroscopy").stance is Stance.OPEN
    on_mesh = read(key, value, Modality.MESH)
    assert "nothing that is known" in road(on_mesh, "Osteotomy of the pelvis").statement


def test_femoral_version_counts_only_by_its_method():
    """C7: a cut-off of the lesser-trochanter method is not held against another one."""
    known = read("femoral_version", 38, Modality.CT, method="lesser trochanter, posterior condyles")
    femur = road(known, "Osteotomy of the femur")
    assert "high by the limit in force" in femur.statement
    other = read("femoral_version", 38, Modality.CT, method="head centre to neck centre")
    assert "nothing that is known" in road(other, "Osteotomy of the femur").statement
    assert "lesser trochanter method only" in about(other, "Femoral version").statement


def test_cartilage_grade_needs_its_scale():
    """The risk was read for Outerbridge grades; a grade of another scale decides nothing."""
    outerbridge = Findings(femoral_cartilage_grade=3, femoral_cartilage_scale="Outerbridge")
    assert "2.2 to 3.0" in road(outerbridge, "Arthroplasty").statement
    other = Findings(femoral_cartilage_grade=3, femoral_cartilage_scale="ICRS")
    assert "nothing that is known" in road(other, "Arthroplasty").statement


def test_limits_from_memory_say_so():
    """Age and body mass index are cautions by custom, and marked where they act."""
    item = about(Findings(age_years=60), "Age")
    assert "above 50 years by default (from memory)" in item.statement
    assert item.stance is Stance.OPEN


def test_clinic_limit_is_named_as_the_clinics(tmp_path):
    """A limit the clinic set acts, and the statement says who chose it."""
    path = tmp_path / "clinic.toml"
    path.write_text("[candidacy]\njoint_space_limit_mm = 3.0\n", encoding="utf-8")
    statements = assess_candidacy(read("joint_space_min", 2.5), load_evidence(path))
    assert statements[1].stance is Stance.ADVISED_AGAINST
    assert any("at most 3 mm set by the clinic" in item.statement for item in statements)


def test_doubtful_reading_is_called_doubtful():
    """A caution of the measurement stays with the number."""
    known = read("joint_space_min", 3.0, status=Status.CAUTION)
    assert "(radiograph, doubtful)" in about(known, "Joint space").statement


@pytest.mark.property
@given(known=findings(), grade=st.sampled_from([2, 3]))
def test_arthritis_always_speaks_against(known, grade):
    """No other finding outweighs a grade that cohorts excluded."""
    arthroscopy = road(replace(known, tonnis_grade=grade), "Arthroscopy")
    assert arthroscopy.stance is Stance.ADVISED_AGAINST


def test_nothing_is_recommended():
    """A road is never called supported: no row compares an operation with none."""
    for item in assess_candidacy(YOUNG, TABLE):
        assert item.stance is not Stance.SUPPORTED
        assert "recommend" not in item.statement.lower()


def test_readings_of_a_measured_hip():
    """Every number of a hip becomes a reading of its modality; a refusal is no reading."""
    measurements = {key: Measurement.refused("deg", "no femur given") for key in MEASUREMENT_KEYS}
    measurements["lateral_centre_edge_angle"] = Measurement(
        value=31.0, unit="deg", status=Status.CAUTION, reason="image axes"
    )
    hip = HipGeometry(
        side=Side.LEFT,
        frame=pelvic_frame_of_image(Side.LEFT),
        axes_assumed=False,
        head=None,
        socket=None,
        opening_axis=None,
        rim=None,
        faces=None,
        femur=None,
        landmarks_mm={},
        measurements=measurements,
        by_hour=None,
        pelvis_bone=None,
        femur_bone=None,
    )
    assert readings_of_hip(hip) == (
        Reading(
            quantity="lateral_centre_edge_angle",
            value=31.0,
            modality=Modality.MESH,
            status=Status.CAUTION,
        ),
    )
