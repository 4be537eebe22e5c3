"""Low coverage ends in a summary; cut-offs in dispute stand side by side, with who chose."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimwright.anatomy import Stance
from rimwright.evidence import EvidenceStatus, load_evidence
from rimwright.treatment import (
    Findings,
    Modality,
    Reading,
    Road,
    assess_candidacy,
    compare_cut_offs,
    list_options,
    referral_summary,
    shipped_rules,
)
from rimwright.treatment.judged import MeasureState
from rimwright.treatment.measure_verdicts import judge_measures
from treatment.labrum_cases import STANCE_ORDER, YOUNG, findings, labrum, labrum_sectors

TABLE = load_evidence()
XRAY = Modality.RADIOGRAPH


def reading(quantity, value, modality=XRAY, **more):
    """One reading."""
    return Reading(quantity=quantity, value=value, modality=modality, **more)


LOW = reading("lateral_centre_edge_angle", 16.0)
SITES = {
    "joint_space_lateral": "lateral sourcil",
    "joint_space_apex": "apex",
    "joint_space_medial": "medial sourcil",
}


def known(*readings, **more):
    """Findings of some readings."""
    return Findings(readings=readings, **more)


def about(found, words):
    """The one statement, roads apart, that begins with some words."""
    (item,) = [s for s in assess_candidacy(found, TABLE)[5:] if s.statement.startswith(words)]
    return item


# ------------------------------------------------------------------------------------ referral


def test_dysplasia_ends_in_a_referral():
    """Reasons with rows, the one that calls for it first, measurements, what is unknown."""
    found = known(
        reading("tonnis_angle", 14.0),
        LOW,
        reading("extrusion_index", 24.0),
        reading("anterior_sector_angle", 40.0, Modality.MESH),
        age_years=27,
    )
    summary = referral_summary(found, TABLE)
    assert "does osteotomies" in summary.addressed_to
    assert summary.reasons[0].text.startswith("Lateral centre-edge angle (bone edge) 16°")
    assert "planning:C3" in summary.reasons[0].evidence
    assert [item.text.split(":")[0] for item in summary.reasons[1:]] == [
        "Tönnis angle 14° (radiograph)"
    ]
    lines = {item.label: item for item in summary.measurements}
    assert lines["extrusion index"].seen == "Extrusion index 24 % (radiograph)"
    assert "below 20° (default)" in lines["lateral centre-edge angle (bone edge)"].against
    assert lines["anterior sector angle"].against.startswith("no cut-off is applied to it")
    assert "age" in lines
    assert any(
        item.startswith("femoral version (measure it on CT or MR") for item in summary.unknown
    )
    text = "\n".join(summary.paragraphs())
    assert "[planning:4.25" in text
    assert "recommend" not in text.lower()


@pytest.mark.parametrize(
    "found",
    [
        Findings(),
        YOUNG,
        known(reading("lateral_centre_edge_angle", 20.0)),
        known(reading("lateral_centre_edge_angle", 12.0, Modality.MESH)),
        known(reading("lateral_centre_edge_angle", 12.0, None)),
        known(reading("tonnis_angle", 20.0)),
    ],
)
def test_no_summary_without_the_cut_off_in_force(found):
    """Unknown, inside the limits, on another modality, or low by another measure alone: none."""
    assert referral_summary(found, TABLE) is None


def test_sourcil_edge_calls_for_it_too():
    """The lower of bone edge and sourcil is enough."""
    found = known(
        reading("lateral_centre_edge_angle", 24.0),
        reading("lateral_centre_edge_angle_sourcil", 18.0),
    )
    assert "(sourcil) 18°" in referral_summary(found, TABLE).reasons[0].text


def test_clinic_cut_off_decides_and_is_named(tmp_path):
    """With 25 in force 22 is low, and the shipped 20 stands beside it."""
    path = tmp_path / "clinic.toml"
    path.write_text("[coverage]\nlcea_dysplasia_deg = 25\n", encoding="utf-8")
    table = load_evidence(path)
    found = known(reading("lateral_centre_edge_angle", 22.0))
    assert referral_summary(found, TABLE) is None
    summary = referral_summary(found, table)
    assert "cut-off set by the clinic" in summary.reasons[0].text
    assert any("below 25° (clinic)" in item.against for item in summary.measurements)
    text = "\n".join(item.statement for item in assess_candidacy(found, table))
    assert "below 25° set by the clinic, default 20°, in print also 18°, 22°, 23°" in text


# --------------------------------------------------------------------------------- side by side


@pytest.mark.parametrize(
    ("item", "conflict", "dispute"),
    [
        (reading("lateral_centre_edge_angle", 19.0), "planning:C3", True),  # 18 says otherwise
        (reading("lateral_centre_edge_angle", 16.0), "planning:C3", False),
        (reading("lateral_centre_edge_angle", 35.0), "planning:C4", True),  # 33 says otherwise
        (reading("alpha_angle_max", 58.0, Modality.MR), "planning:C8", True),
        (reading("alpha_angle_max", 45.0, Modality.MR), "planning:C8", False),
        (reading("anterior_sector_angle", 53.0, Modality.CT), "planning:C5", True),
    ],
)
def test_conflicts_stand_side_by_side(item, conflict, dispute):
    """The cut-off in force first, who chose it, the others in print, and whether they agree."""
    (found,) = compare_cut_offs(known(item), TABLE)
    assert conflict in found.conflicts
    assert found.is_in_dispute is dispute
    assert found.is_applied
    in_force = [one for one in found.cut_offs if one.in_force]
    assert found.cut_offs[0].in_force
    assert {one.chosen_by for one in in_force} == {"default"}
    for one in found.cut_offs:
        assert one.is_met is one.test.holds(item.value, limit=one.value)
        assert one.in_force or one.note


def test_not_applied_is_in_no_dispute():
    """On a mesh nothing is answered, and the numbers are shown all the same."""
    item = reading("lateral_centre_edge_angle", 19.0, Modality.MESH)
    (found,) = compare_cut_offs(known(item), TABLE)
    assert not found.is_applied
    assert not found.is_in_dispute
    assert all(one.is_met is None for one in found.cut_offs)


def test_femoral_version_shows_both_conflicts():
    """Retrotorsion: the method gap (C7) and the two answers on its effect (C19) are named."""
    item = reading("femoral_version", -3.0, Modality.CT, method="lesser trochanter")
    assert {"planning:C7", "planning:C19"} <= set(about(known(item), "Femoral version").evidence)


# --------------------------------------------------------------------------- joint space, sites


@pytest.mark.parametrize("narrow", SITES)
def test_any_site_counts(narrow):
    """One narrow site is enough, and it is named with the others beside it."""
    found = known(*(reading(key, 1.9 if key == narrow else 4.0) for key in SITES))
    item = about(found, "Joint space 1.9 mm")
    assert item.stance is Stance.ADVISED_AGAINST
    assert f"1.9 mm at the {SITES[narrow]} (radiograph)" in item.statement
    assert item.statement.count("4 mm at the") == 2


def test_a_site_not_read_is_said():
    """Two wide sites do not clear the third."""
    found = known(reading("joint_space_lateral", 4.0), reading("joint_space_apex", 4.2))
    assert "not read: medial sourcil, and any site counts" in about(found, "Joint space").statement
    whole = known(reading("joint_space_min", 4.0))
    assert "not read" not in about(whole, "Joint space").statement


def test_a_mesh_site_does_not_count():
    """A narrow site on a mesh is not held against the radiographic cut-off."""
    found = known(reading("joint_space_apex", 1.0, Modality.MESH))
    item = about(found, "Joint space")
    assert item.stance is Stance.OPEN
    assert "the same number on radiographs would be at most 2 mm" in item.statement


# ----------------------------------------------------------------------------------- properties

CONTRAINDICATIONS = (
    reading("lateral_centre_edge_angle", 12.0),
    reading("lateral_centre_edge_angle_sourcil", 12.0),
    reading("joint_space_min", 1.0),
    reading("joint_space_medial", 1.0),
)


@pytest.mark.property
@given(
    sectors=labrum_sectors(),
    found=findings(),
    more=st.sampled_from(CONTRAINDICATIONS),
    where=st.integers(0, 4),
)
def test_a_bad_reading_never_helps_wherever_it_is_written(sectors, found, more, where):
    """Among other readings of the same quantity, first or last, it is the one that speaks."""
    readings = list(found.readings)
    readings.insert(where, more)
    worse = replace(found, readings=tuple(readings))
    before = list_options(labrum(*sectors), found, TABLE)
    after = list_options(labrum(*sectors), worse, TABLE)
    for first, second in zip(before, after, strict=True):
        assert STANCE_ORDER.index(second.stance) >= STANCE_ORDER.index(first.stance)
        assert second.stance in (Stance.ADVISED_AGAINST, Stance.NOT_POSSIBLE)
    assert assess_candidacy(worse, TABLE)[1].stance is Stance.ADVISED_AGAINST


@pytest.mark.property
@given(
    found=findings(),
    more=st.sampled_from(
        [
            {"ligamentum_teres_grade": 3},
            {"laxity_score": 9},
            {"instability_sign": True},
            {"tonnis_grade": 3},
            {"age_years": 70},
            {"bmi_kg_m2": 45},
            {"femoral_cartilage_grade": 4, "femoral_cartilage_scale": "Outerbridge"},
            {"previous_hip_arthroscopy": 2},
        ]
    ),
)
def test_a_caution_never_makes_arthroscopy_more_favourable(found, more):
    """Each caution leaves the road where it is or worse, and is named on it."""
    before = assess_candidacy(found, TABLE)[1]
    after = assess_candidacy(replace(found, **more), TABLE)[1]
    assert STANCE_ORDER.index(after.stance) >= STANCE_ORDER.index(before.stance)
    assert "nothing that is known speaks against it" not in after.statement


@pytest.mark.property
@given(found=findings(), data=st.data())
def test_order_of_readings_decides_nothing(found, data):
    """Shuffled readings give the same roads."""
    shuffled = replace(found, readings=tuple(data.draw(st.permutations(found.readings))))
    roads = [item.stance for item in assess_candidacy(found, TABLE)[: len(Road)]]
    assert [item.stance for item in assess_candidacy(shuffled, TABLE)[: len(Road)]] == roads


@pytest.mark.property
@given(found=findings())
def test_memory_is_marked_wherever_it_acts(found):
    """A cut-off in force that nobody read says so in the sentence of the road it moves."""
    roads = assess_candidacy(found, TABLE)[: len(Road)]
    for item in judge_measures(found, TABLE, rules=shipped_rules()):
        if item.state is not MeasureState.MET or not item.cut_offs:
            continue
        acting = next(one.status for one in item.cut_offs if one.in_force and one.is_met)
        if acting in (EvidenceStatus.MEMORY, EvidenceStatus.COMMON_PRACTICE):
            assert str(acting) in item.text
            for road in item.roads:
                text = roads[list(Road).index(road)].statement
                assert f"{item.seen}: " in text
                assert str(acting) in item.short
                assert item.short in text
