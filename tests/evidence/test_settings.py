"""Settings in force: each with a status and rows that exist; a clinic's file over them."""

from __future__ import annotations

import re

import pytest

from rimwright.errors import CaseRefusal, FileRefusal
from rimwright.evidence import EvidenceStatus, load_evidence

TABLE = load_evidence()


@pytest.mark.parametrize("setting", TABLE.settings.values(), ids=lambda setting: setting.name)
def test_setting_says_what_it_rests_on(setting):
    """A default has a unit, a source, a note, rows that exist, and lies in its own range."""
    assert setting.low <= setting.value <= setting.high
    assert setting.low < setting.high
    assert setting.unit
    assert setting.source
    assert setting.note
    rows = (*setting.evidence, *(row for other in setting.alternatives for row in other.evidence))
    assert all(TABLE.has_row(row) for row in rows)
    for other in setting.alternatives:
        assert other.value != setting.value


def test_read_status_needs_a_read_row():
    """A setting that claims to have been read rests on a row of which at least a part was."""
    for setting in TABLE.settings.values():
        if setting.status.was_read:
            rows = [TABLE.row(row) for row in setting.evidence]
            read = [row for row in rows if row.status.was_read or "read" in row.status_note]
            assert read, setting.name


def test_unit_is_in_the_name():
    """A name that carries a unit carries the unit of its value."""
    endings = {"_mm": "mm", "_deg": "deg", "_years": "years", "_fraction": "fraction"}
    for setting in TABLE.settings.values():
        for ending, unit in endings.items():
            if setting.name.endswith(ending):
                assert setting.unit == unit, setting.name


@pytest.mark.oracle
def test_margin_follows_from_its_arithmetic():
    """5 degrees at 20 mm is 1.75 mm by plain geometry; the default is the next half millimetre."""
    tip_mm = 20 * 0.0874887  # tan 5 degrees from a printed table
    assert tip_mm == pytest.approx(1.75, abs=0.005)
    assert TABLE.number("fixation.margin_joint_mm") == 2.0


@pytest.mark.oracle
@pytest.mark.parametrize(
    ("name", "row", "number"),
    [
        ("fixation.drill_caution_mm", "planning:5.13", "diameter_above"),
        ("candidacy.joint_space_limit_mm", "planning:4.23", "at_most_mm"),
        ("candidacy.tonnis_grade_limit", "planning:4.24", "grade_from"),
        ("coverage.lcea_dysplasia_deg", "planning:2.01", "dysplasia_below"),
        ("coverage.lcea_borderline_deg", "planning:2.01", "borderline_below"),
        ("coverage.lcea_overcoverage_deg", "planning:2.01", "overcoverage_from"),
        ("coverage.tonnis_angle_high_deg", "planning:2.14", "tonnis_angle_from"),
        ("coverage.acea_low_deg", "planning:2.14", "acea_at_most"),
        ("coverage.extrusion_index_high_percent", "planning:2.16", "high"),
        ("coverage.version_high_deg", "planning:2.31", "high_above"),
        ("coverage.aasa_low_deg", "planning:2.24", "aasa_deficient_at_most"),
        ("coverage.pasa_low_deg", "planning:2.24", "pasa_deficient_at_most"),
        ("graft.wide_mm", "planning:6.02", "wide_above"),
        ("fixation.bone_depth_caution_mm", "planning:5.10", "first_perforation_from"),
        ("labrum.width_small_mm", "planning:4.09", "small_below_survey"),
    ],
)
def test_setting_is_the_number_of_its_row(name, row, number):
    """A default taken from a row is that row's number, and names the row."""
    setting = TABLE.setting(name)
    assert setting.value == TABLE.row(row).numbers[number]
    assert row in setting.evidence


def test_conflicts_of_coverage_and_alpha_stand_beside():
    """C3 and C8: the other limits in print stand beside the one in force."""
    lcea = TABLE.setting("coverage.lcea_dysplasia_deg")
    assert {other.value for other in lcea.alternatives} == {18.0, 22.0, 23.0}
    assert "planning:C3" in lcea.evidence
    alpha = TABLE.setting("femur.alpha_cam_deg")
    assert 55.0 in {other.value for other in alpha.alternatives}
    assert "planning:C8" in alpha.evidence


def written(tmp_path, text):
    path = tmp_path / "clinic.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_clinic_file_overrides_and_is_listed(tmp_path):
    """A clinic's value acts, is listed with what it replaced, and is called the clinic's."""
    path = written(
        tmp_path,
        'schema = "rimwright.settings/1"\n[fixation]\nmargin_joint_mm = 2.5\n'
        'spacing_mm = { value = 9, unit = "mm", note = "agreed here" }\n',
    )
    table = load_evidence(path)
    assert table.number("fixation.margin_joint_mm") == 2.5
    assert table.number("fixation.spacing_mm") == 9.0
    assert [(item.name, item.default, item.value) for item in table.overrides] == [
        ("fixation.margin_joint_mm", 2.0, 2.5),
        ("fixation.spacing_mm", 8.0, 9.0),
    ]
    setting = table.setting("fixation.spacing_mm")
    assert setting.status is EvidenceStatus.CLINIC
    assert setting.source == "set by the clinic in clinic.toml (shipped: 8)"
    assert setting.note == "agreed here"
    assert table.number("fixation.spacing_max_mm") == TABLE.number("fixation.spacing_max_mm")
    assert load_evidence().number("fixation.margin_joint_mm") == 2.0  # the shipped one is untouched


def test_changed_clinic_file_is_read_again(tmp_path):
    """An override file is not cached: what is written now acts now."""
    path = written(tmp_path, "[fixation]\nspacing_mm = 9.0\n")
    assert load_evidence(path).number("fixation.spacing_mm") == 9.0
    path.write_text("[fixation]\nspacing_mm = 7.0\n", encoding="utf-8")
    assert load_evidence(path).number("fixation.spacing_mm") == 7.0


@pytest.mark.fault
@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        (
            "[fixation]\nmargin_jiont_mm = 2.0\n",
            "clinic.toml, fixation.margin_jiont_mm: unknown setting 'fixation.margin_jiont_mm'. "
            "The nearest known name is 'fixation.margin_joint_mm'.",
        ),
        (
            "margin_joint_mm = 2.0\n",
            "clinic.toml, margin_joint_mm: unknown setting 'margin_joint_mm'. "
            "The nearest known name is 'fixation.margin_joint_mm'.",
        ),
        (
            '[fixation]\nspacing_mm = { value = 0.9, unit = "cm" }\n',
            "clinic.toml, fixation.spacing_mm: wrong unit (got 'cm', need 'mm'). "
            "Give the number in mm.",
        ),
        (
            "[fixation]\nspacing_mm = 80\n",
            "clinic.toml, fixation.spacing_mm: out of its plausible range "
            "(got 80, need 4 to 12 mm). Check the unit and the number.",
        ),
        (
            "[fixation]\nspacing_mm = nan\n",
            "clinic.toml, fixation.spacing_mm: out of its plausible range "
            "(got nan, need 4 to 12 mm). Check the unit and the number.",
        ),
        (
            '[fixation]\nspacing_mm = "8"\n',
            "clinic.toml, fixation.spacing_mm: not a number (got '8', need 4 to 12 mm). "
            "Write a plain number.",
        ),
        (
            "[fixation]\nspacing_mm = true\n",
            "clinic.toml, fixation.spacing_mm: not a number (got True, need 4 to 12 mm). "
            "Write a plain number.",
        ),
        (
            "[plan]\nspare_anchor_min = 1.5\n",
            "clinic.toml, plan.spare_anchor_min: not a whole number "
            "(got 1.5, need one of 0 to 10). Write a whole number.",
        ),
        (
            "[fixation.spacing_mm]\nvalu = 8.0\n",
            "clinic.toml, fixation.spacing_mm: unknown key 'valu' (need value, unit, note). "
            "The nearest known name is 'value'.",
        ),
        (
            '[fixation.spacing_mm]\nunit = "mm"\n',
            "clinic.toml, fixation.spacing_mm: has no value. Write value = a number.",
        ),
        (
            'schema = "rimwright.settings/9"\n',
            "clinic.toml, schema: not a version this program reads (got 'rimwright.settings/9', "
            "need 'rimwright.settings/1'). Write schema = 'rimwright.settings/1'.",
        ),
    ],
)
def test_clinic_file_is_refused_in_one_line(tmp_path, text, sentence):
    """A mistake in a clinic's file names the file, the key and the way out."""
    with pytest.raises(CaseRefusal) as refused:
        load_evidence(written(tmp_path, text))
    assert str(refused.value) == sentence


@pytest.mark.fault
def test_unreadable_clinic_files(tmp_path):
    """A file that is absent, broken or no text is refused, never a traceback."""
    with pytest.raises(FileRefusal, match=r"no\.toml: cannot be read"):
        load_evidence(tmp_path / "no.toml")
    with pytest.raises(FileRefusal, match="not TOML"):
        load_evidence(written(tmp_path, "[fixation\n"))
    binary = tmp_path / "bone.toml"
    binary.write_bytes(b"\xff\xfe\x00\x80")
    with pytest.raises(FileRefusal, match="not a text file in UTF-8"):
        load_evidence(binary)


@pytest.mark.fault
def test_unknown_setting_names_the_nearest():
    """Code that asks for a setting that does not exist is told the nearest one."""
    with pytest.raises(CaseRefusal, match=re.escape("'fixation.spacing_mm'")):
        TABLE.number("fixation.spacing")


def test_notes_never_promise():
    """Nothing of a setting is called safe or recommended in our own words."""
    for setting in TABLE.settings.values():
        assert not re.search(r"\bsafe|recommend", setting.note, re.IGNORECASE), setting.name
