"""The case file: what it accepts, what it stores, and the one line it refuses with."""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given

from casework.case_strategies import anything, hostile_cases
from rimwright.anatomy import Attachment, Fibres, SeenBy, Side, Tear, Tissue
from rimwright.casework.case_file import MAX_CASE_BYTES, case_from_document, read_case
from rimwright.errors import CaseRefusal, FileRefusal, Refusal

FROZEN = Path(__file__).parent / "frozen" / "case-1.toml"
HEAD = {"schema": "rimwright.case/1", "id": "x", "side": "left"}


def frozen_document() -> dict[str, Any]:
    return tomllib.loads(FROZEN.read_text(encoding="utf-8"))


def refusal_after(change: Callable[[dict[str, Any]], object]) -> str:
    """The refusal of the frozen case after one change to it."""
    document = frozen_document()
    change(document)
    with pytest.raises(Refusal) as caught:
        case_from_document(document, folder=Path("/cases"), where="case.toml")
    return str(caught.value)


def refusal_of(document: dict[str, Any]) -> str | None:
    """What a document is refused with; None where it is read."""
    try:
        case_from_document(document, folder=Path("/cases"), where="case.toml")
    except CaseRefusal as refusal:
        return str(refusal)
    return None


def test_every_field_of_the_contract_is_read():
    """The case of the contract reads to the values it holds."""
    case = read_case(FROZEN)
    assert (case.id, case.side) == ("demo-01", Side.LEFT)
    assert (case.patient.age_years, case.patient.sex, case.patient.bmi) == (34.0, "female", 23.5)
    assert case.history.previous_hip_arthroscopy == 1
    assert case.sources.pelvis == FROZEN.parent / "coxae.stl"
    assert (case.sources.unit, case.sources.axes) == ("mm", "LPS")
    assert (case.grades.tonnis_grade, case.grades.joint_space_mm) == (0, 3.8)
    (sector,) = case.labrum.sectors
    assert (sector.sector.from_hour, sector.sector.to_hour) == (11.0, 2.5)
    assert (sector.width_mm, sector.seen_by) == (2.5, SeenBy.PROBE)
    assert (sector.tissue, sector.attachment) == (Tissue.POOR, Attachment.DETACHED)
    assert (sector.fibres, sector.tear) == (Fibres.CONTINUOUS, Tear.UNSTABLE)
    assert (sector.seals, sector.calcified, sector.prior_suture) == (False, False, None)
    (old,) = case.old_anchors
    assert (old.hour, old.drill_mm, old.depth_mm) == (1.5, 2.9, 15.0)
    assert [(kind.drill_mm, kind.depth_mm) for kind in case.equipment.anchors] == [
        (1.8, 20.0),
        (2.9, 15.0),
    ]
    assert case.equipment.grafts[0].kind == "tibialis tendon allograft"
    assert case.settings.option == "augmentation"
    assert (case.settings.margin_joint_mm, case.settings.margin_cortex_mm) == (2.0, 1.5)


def test_only_three_keys_are_required():
    """With schema, id and side alone everything else is unknown, not healthy and not zero."""
    case = case_from_document(HEAD, folder=Path())
    assert case.labrum.sectors == ()
    assert case.equipment.anchors is None
    assert case.patient.age_years is None
    assert not case.sources.has_bones


def test_full_labrum_vocabulary():
    """Every word of the labrum vocabulary can be written in a case file."""
    for key, words in {
        "tissue": Tissue,
        "attachment": Attachment,
        "fibres": Fibres,
        "tear": Tear,
        "seen_by": SeenBy,
    }.items():
        for word in words:
            sector = {"from_hour": 1, "to_hour": 2, key: str(word)}
            case = case_from_document({**HEAD, "labrum": [sector]}, folder=Path())
            assert getattr(case.labrum.sectors[0], key) is word


def test_json_reads_to_the_same_case(tmp_path):
    """A case says the same in JSON as in TOML."""
    path = tmp_path / "case.json"
    path.write_text(json.dumps(frozen_document()), encoding="utf-8")
    assert read_case(path).digest == read_case(FROZEN).digest


def test_hour_twelve_is_stored_as_zero():
    """Hour 12 of the input is hour 0 inside."""
    sector = {"from_hour": 12, "to_hour": 3}
    case = case_from_document(
        {**HEAD, "labrum": [sector], "old_anchor": [{"hour": 12, "drill_mm": 2, "depth_mm": 9}]},
        folder=Path(),
    )
    assert case.labrum.sectors[0].sector.from_hour == 0.0
    assert case.old_anchors[0].hour == 0.0


def test_equal_ends_mean_the_whole_ring():
    """A sector that ends where it begins is the whole ring, hour 12 included."""
    for hour in (12, 0, 4.5):
        case = case_from_document(
            {**HEAD, "labrum": [{"from_hour": hour, "to_hour": hour}]}, folder=Path()
        )
        assert case.labrum.sectors[0].sector.span_hours == 12.0
        assert case.labrum.unknown_sectors() == ()


def test_touching_sectors_are_no_overlap():
    """Sectors may share an end, across 12 too."""
    ring = [(9, 12), (12, 3), (3, 5)]
    sectors = [{"from_hour": a, "to_hour": b} for a, b in ring]
    case = case_from_document({**HEAD, "labrum": sectors}, folder=Path())
    assert len(case.labrum.sectors) == 3


def test_relative_paths_are_relative_to_the_case_file(tmp_path, monkeypatch):
    """Where the program was started from does not matter."""
    (tmp_path / "deep").mkdir()
    path = tmp_path / "deep" / "case.toml"
    path.write_text(FROZEN.read_text(encoding="utf-8"), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    case = read_case(Path("deep/case.toml"))
    assert case.sources.femur == tmp_path / "deep" / "femur.stl"


REFUSALS = {
    "hour": (
        lambda d: d["labrum"][0].update(to_hour=13.5),
        "case.toml, first [[labrum]], to_hour: not an hour of the clock (got 13.5, need "
        "0 <= hour < 12). Write 1.5 for half past one.",
    ),
    "unknown key": (
        lambda d: d["labrum"][0].update(widht_mm=2.0),
        "case.toml, first [[labrum]], widht_mm: unknown key (nearest known: width_mm). "
        "Correct the name, or leave the line out.",
    ),
    "unknown table": (
        lambda d: d.update(patients={}),
        "case.toml, patients: unknown key (nearest known: patient). "
        "Correct the name, or leave the line out.",
    ),
    "key of another table": (
        lambda d: d.update(margin_joint_mm=2.0),
        "case.toml, margin_joint_mm: unknown key here (nearest known: margin_joint_mm in "
        "[settings]). Move it to [settings].",
    ),
    "no side": (
        lambda d: d.pop("side"),
        "case.toml, side: missing (need left or right). Add it; it is required.",
    ),
    "no id": (
        lambda d: d.pop("id"),
        "case.toml, id: missing (need it here). Add it; it is required.",
    ),
    "wrong side": (
        lambda d: d.update(side="L"),
        'case.toml, side: not a word known here (got "L", need left or right). Write one of these.',
    ),
    "slip of the pen": (
        lambda d: d["labrum"][0].update(tissue="gud"),
        'case.toml, first [[labrum]], tissue: not a word known here (got "gud", need good or '
        "poor or absent). Write one of these, or leave it out if it is unknown.",
    ),
    "clear slip": (
        lambda d: d["labrum"][0].update(fibres="Interrupted"),
        'case.toml, first [[labrum]], fibres: not a word known here (got "Interrupted", need '
        'continuous or interrupted). Write "interrupted", or leave it out if it is unknown.',
    ),
    "NaN": (
        lambda d: d["patient"].update(bmi=float("nan")),
        "case.toml, [patient], bmi: not a finite number (got nan, need 8 <= bmi <= 100). "
        "Give the body mass index in kg/m².",
    ),
    "truth for a number": (
        lambda d: d["patient"].update(age=True),
        "case.toml, [patient], age: not a number (got true, need 0 <= age <= 120). "
        "Give the age in years.",
    ),
    "text for a number": (
        lambda d: d["old_anchor"][0].update(drill_mm="2.9 mm"),
        'case.toml, first [[old_anchor]], drill_mm: not a number (got "2.9 mm", need '
        "0 < drill_mm <= 15). Lengths are in mm.",
    ),
    "overlap": (
        lambda d: d["labrum"].append({"from_hour": 2, "to_hour": 3}),
        "case.toml, second [[labrum]], from_hour: overlaps the first [[labrum]] (got 2:00 to "
        "3:00 against 11:00 to 2:30). Let each sector end where the next begins.",
    ),
    "whole ring beside a sector": (
        lambda d: d["labrum"].append({"from_hour": 4, "to_hour": 4}),
        "case.toml, second [[labrum]], from_hour: overlaps the first [[labrum]] (got whole ring "
        "against 11:00 to 2:30). Let each sector end where the next begins.",
    ),
    "newer": (
        lambda d: d.update(schema="rimwright.case/2"),
        'case.toml, schema: a newer version than this program knows (got "rimwright.case/2", '
        'need "rimwright.case/1" or older). Open it with a newer rimwright.',
    ),
    "old anchor nowhere": (
        lambda d: d["old_anchor"][0].pop("hour"),
        "case.toml, first [[old_anchor]], hour: not placed (need hour, or entry_mm and "
        "direction). Write the hour it sits at.",
    ),
    "old anchor half placed": (
        lambda d: d.update(old_anchor=[{"entry_mm": [1, 2, 3], "drill_mm": 2.0, "depth_mm": 10.0}]),
        "case.toml, first [[old_anchor]], direction: missing (need entry_mm and direction "
        "together). Add it, or give the hour instead of both.",
    ),
    "bones and image": (
        lambda d: d["sources"].update(image="series"),
        "case.toml, [sources]: bones and an image together (need one or the other). "
        "Keep pelvis and femur, or keep image and labels.",
    ),
    "axes": (
        lambda d: d["sources"].update(axes="left"),
        "case.toml, [sources], axes: not an axis convention (got 'left', need one letter each of "
        "L/R, P/A and S/I, or y-up). Write LPS, RAS or the three directions in which x, y and z "
        "grow.",
    ),
    "inner list": (
        lambda d: d["equipment"]["anchors"][1].update(depth_mm=0),
        "case.toml, [equipment], second of anchors, depth_mm: outside its range (got 0, need "
        "0 < depth_mm <= 60). Lengths are in mm.",
    ),
    "portal setting": (
        lambda d: d.update(portals={"head_distraction_mm": 60}),
        "case.toml, [portals], head_distraction_mm: outside its range (got 60, need "
        "0 <= head_distraction_mm <= 20). It is in mm.",
    ),
    "two faults": (
        lambda d: (d["patient"].update(age=-1), d["patient"].update(sex="f")),
        "case.toml, [patient], age: outside its range (got -1, need 0 <= age <= 120). "
        "Give the age in years. 1 more after this one.",
    ),
}


@pytest.mark.fault
@pytest.mark.parametrize("name", REFUSALS)
def test_refusal_text(name):
    """A wrong case is refused in one line: where, what was got, what is needed, what to do."""
    change, expected = REFUSALS[name]
    assert refusal_after(change) == expected


@pytest.mark.fault
@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"side = ", r"case.toml: not TOML \(Invalid value \(at end of document\)\)"),
        (b"\xff\xfe", r"case.toml: not text in UTF-8\. Save it as UTF-8\."),
        (b"", r"case.toml, schema: missing \(need \"rimwright.case/1\"\)"),
        (b"x = " + b"[" * 4000 + b"]" * 4000, r"case.toml: nested too deeply"),
        (b"x = " + b"9" * 9000, r"case.toml: holds a value that cannot be read"),
    ],
)
def test_broken_toml(tmp_path, content, expected):
    """A damaged file is refused in one line that names it."""
    path = tmp_path / "case.toml"
    path.write_bytes(content)
    with pytest.raises(Refusal, match=expected):
        read_case(path)


@pytest.mark.fault
@pytest.mark.parametrize(
    ("content", "expected"),
    [
        ('{"side": "left", "side": "right"}', r'case.json: the key "side" stands twice'),
        ("[1, 2]", r"case.json: not a case \(got a list of 2 on top, need a table\)"),
        ("[" * 100_000, r"case.json: nested too deeply"),
        ('{"schema": "rimwright.case/1"', r"case.json: not JSON"),
    ],
)
def test_broken_json(tmp_path, content, expected):
    """Damaged JSON is refused in one line; a key given twice is not settled in silence."""
    path = tmp_path / "case.json"
    path.write_text(content, encoding="utf-8")
    with pytest.raises(Refusal, match=expected):
        read_case(path)


@pytest.mark.fault
def test_files_that_are_no_case(tmp_path):
    """A folder, a missing file, another kind and a huge file are each named for what they are."""
    with pytest.raises(FileRefusal, match="no such file"):
        read_case(tmp_path / "none.toml")
    (tmp_path / "folder.toml").mkdir()
    with pytest.raises(FileRefusal, match="a folder"):
        read_case(tmp_path / "folder.toml")
    with pytest.raises(FileRefusal, match="a folder, not a file"):
        read_case(tmp_path)
    with pytest.raises(FileRefusal, match="cannot be read"):
        read_case(tmp_path / ("x" * 5000 + ".toml"))
    (tmp_path / "bone.stl").write_bytes(b"solid")
    with pytest.raises(FileRefusal, match=r"an ending this reader does not know \(got \"\.stl\""):
        read_case(tmp_path / "bone.stl")
    (tmp_path / "big.toml").write_bytes(b"#" * (MAX_CASE_BYTES + 1))
    with pytest.raises(FileRefusal, match="too large for a case"):
        read_case(tmp_path / "big.toml")


@pytest.mark.fault
def test_no_foreign_control_characters_in_a_message():
    """A name from the file cannot move the cursor or break the line of a refusal."""
    text = refusal_after(lambda d: d.update({"a\x1b[2J\nb": 1}))
    assert text.isprintable()
    text = refusal_after(lambda d: d.update(id="a\x1b[2J"))
    assert text.isprintable()


@pytest.mark.property
@given(hostile_cases)
def test_hostile_cases_never_break_the_reader(document):
    """Whatever a parser hands over is read or refused in one printable line."""
    before = str(document)  # text, because NaN is not equal to itself
    said = refusal_of(document)
    assert said is None or (said.isprintable() and re.match(r"case\.toml[,:]", said))
    assert str(document) == before


@pytest.mark.property
@given(anything)
def test_anything_on_top(document):
    """A document that is no case at all is refused, never a traceback."""
    if isinstance(document, dict):
        with pytest.raises(CaseRefusal, match="schema"):
            case_from_document(document, folder=Path("/cases"))
