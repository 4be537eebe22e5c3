"""The command on a scan: the same document as from bones, what a scan holds, wrong usage."""

from __future__ import annotations

import json
from dataclasses import replace

import jsonschema
import pytest

from casework.scan_fixture import lay_in, write_series
from cli.test_command import only_line, run
from rimwright.casework import document_schema, prepare_hip, read_case, write_demo_case

CASE = """
schema = "rimwright.case/1"
id = "scan-{side}"
side = "{side}"
person = "P-17"
[sources]
image = "series"
[[labrum]]
from_hour = 11
to_hour = 2
tissue = "poor"
width_mm = 2.5
"""


@pytest.fixture
def command(capfd, monkeypatch):
    """Run the command in this process."""
    return lambda *arguments: run(capfd, monkeypatch, *arguments)


@pytest.fixture(scope="module")
def hip(tmp_path_factory):
    """The demo hip, measured."""
    return prepare_hip(read_case(write_demo_case(tmp_path_factory.mktemp("demo")))).hip


@pytest.fixture
def series(tmp_path, monkeypatch, hip):
    """A small series on disk, and the demo hip in the place of the search for bones."""
    lay_in(monkeypatch, hip)
    return write_series(tmp_path / "series")


@pytest.mark.parametrize(
    "arguments",
    [
        ("measure", "--side", "left", "--image", "x", "--pelvis", "y.stl"),
        ("measure", "--side", "left", "--image", "x", "--femur", "y.stl"),
        ("measure", "--side", "left", "--image", "x", "--units", "mm"),
        ("measure", "--side", "left", "--image", "x", "--part", "1"),
        ("measure", "--side", "left", "--labels", "x"),
        ("measure", "--side", "left", "--pelvis", "y.stl", "--labels", "x"),
        ("measure", "--side", "left", "--pelvis", "y.stl", "--series", "1"),
        ("measure", "--side", "left", "--pelvis", "y.stl", "--radial", "z"),
        ("measure", "--side", "left", "--image", "x", "--slab", "3"),
        ("measure", "--side", "left", "--image", "x", "--point", "head=1,2,3"),
        ("measure", "--side", "left", "--image", "x", "--radial", "z", "--window", "bright"),
        (
            *("measure", "--side", "both", "--image", "x", "--radial", "z"),
            *("--point", "head=1,2,3"),
        ),
        (
            *("measure", "--side", "left", "--image", "x", "--radial", "z", "--json"),
            *("--point", "head=1,2,3"),
        ),
        ("check", "bones", "x.stl", "--labels", "y"),
        ("check", "case", "x.toml", "--json"),
        ("check", "image", "x", "--units", "mm"),
    ],
)
def test_wrong_usage_is_exit_2(command, arguments):
    """What does not go together ends with 2, before anything is read."""
    code, out, err = command(*arguments)
    assert (code, out) == (2, "")
    assert err


def test_measure_prints_the_hip_document(command, series):
    """The same document as from bones; warnings on stderr, nothing else on stdout."""
    code, out, err = command("measure", "--image", series, "--side", "left", "--json")
    assert code == 0
    document = json.loads(out)
    jsonschema.validate(document, document_schema("hip"))
    assert document["frame"]["axes_assumed"] is False
    assert "caution: slices of 3 mm" in err


def test_both_sides_are_a_list_of_two(command, series):
    """Left, then right, out of one scan."""
    code, out, _ = command("measure", "--image", series, "--side", "both", "--json")
    assert code == 0
    assert [item["side"] for item in json.loads(out)] == ["left", "right"]


def test_measure_for_reading(command, series):
    """Without --json the table of every hip."""
    code, out, _ = command("measure", "--image", series, "--side", "right")
    assert code == 0
    assert "Right hip" in out
    assert "neck shaft angle" in out


@pytest.mark.fault
@pytest.mark.parametrize(
    "arguments",
    [
        ("measure", "--side", "left", "--image", "nothing"),
        ("check", "image", "nothing"),
        ("check", "image", "case.toml"),
        ("measure", "--side", "left", "--image", "series", "--labels", "nothing.nrrd"),
        ("measure", "--side", "left", "--image", "series", "--series", "7"),
    ],
)
def test_what_cannot_be_read_is_exit_1_and_one_line(
    command, series, tmp_path, monkeypatch, arguments
):
    """No such file, no scan, no such series: one line, nothing on stdout, nothing written."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "case.toml").write_text(CASE.format(side="left"), encoding="utf-8")
    before = sorted(path.name for path in tmp_path.iterdir())
    code, out, err = command(*arguments)
    assert (code, out) == (1, "")
    assert only_line(err)
    assert sorted(path.name for path in tmp_path.iterdir()) == before


def test_check_image_in_words(command, series):
    """Series with their grid, hips with what may be tried, doubts."""
    code, out, _ = command("check", "image", series)
    assert code == 0
    text = " ".join(out.split())
    for words in (
        "series: 1 series",
        "CT, ",
        "16 × 16 × 12, 0.70 × 0.70 × 1.00 mm",
        "good for measuring the hip",
        "Left hip: head about 23.4 mm in radius",
        "metal near it 812 mm³",
        "may be tried: lateral centre edge angle, ",
        "cannot be given: femoral version (the condyles are outside the scan)",
        "Right hip",
        "Doubt on the scan: slices of 3 mm",
    ):
        assert words in text, words


def test_check_image_as_a_document(command, series):
    """With --json one document on stdout and nothing else."""
    code, out, _ = command("check", "image", series, "--json")
    assert code == 0
    jsonschema.validate(json.loads(out), document_schema("scan"))


def test_check_case_names_its_image(command, series, tmp_path):
    """A case of a scan is checked without reading the scan."""
    path = tmp_path / "case.toml"
    path.write_text(CASE.format(side="left"), encoding="utf-8")
    code, out, _ = command("check", "case", path)
    assert code == 0
    assert "image: series" in out


def test_plan_from_a_scan_and_again(command, series, tmp_path):
    """Every file of a plan; the second time the scan is known and not measured again."""
    (tmp_path / "case.toml").write_text(CASE.format(side="left"), encoding="utf-8")
    out_dir = tmp_path / "plan"
    code, out, err = command("plan", tmp_path / "case.toml", "--out", out_dir, "--json")
    assert code == 0, err
    document = json.loads(out)
    assert document["source"]["n_slices"] == 12
    assert "Scan unchanged" not in err
    for name in ("plan.json", "report.html", "report.pdf", "scene.glb", "hip.npz"):
        assert (out_dir / name).is_file()
    code, out, err = command("plan", tmp_path / "case.toml", "--out", out_dir, "--json")
    assert (code, json.loads(out)) == (0, document)
    assert "Scan unchanged: planned on the hip measured before" in err


def test_both_hips_of_one_scan(command, series, tmp_path, monkeypatch):
    """Two cases, one reading, two plans and the page of both with the scan on it."""
    import rimwright.imaging as imaging

    calls = []
    read = imaging.read_volume
    monkeypatch.setattr(imaging, "read_volume", lambda *a, **k: calls.append(a) or read(*a, **k))
    for side in ("left", "right"):
        path = tmp_path / f"{side}.toml"
        path.write_text(CASE.format(side=side), encoding="utf-8")
    out_dir = tmp_path / "out"
    code, _, err = command(
        "plan", tmp_path / "right.toml", tmp_path / "left.toml", "--out", out_dir
    )
    assert code == 0, err
    assert len(calls) == 1
    for name in ("left/plan.json", "right/hip.npz", "two-hips.pdf"):
        assert (out_dir / name).is_file()
    page = (out_dir / "two-hips.html").read_text(encoding="utf-8")
    assert "CT, 0.7 × 0.7 × 1.0 mm, 12 slices" in page


@pytest.mark.fault
def test_what_can_be_refused_at_once_is_refused_before_measuring(command, series, tmp_path):
    """A setting that is impossible in the second case stops both, before the scan is read."""
    (tmp_path / "left.toml").write_text(CASE.format(side="left"), encoding="utf-8")
    wrong = CASE.format(side="right") + '[settings]\nevidence = "nowhere.toml"\n'
    (tmp_path / "right.toml").write_text(wrong, encoding="utf-8")
    arguments = ("plan", tmp_path / "left.toml", tmp_path / "right.toml")
    code, out, err = command(*arguments, "--out", tmp_path / "out")
    assert (code, out) == (1, "")
    assert "nowhere.toml" in only_line(err)
    assert not (tmp_path / "out").exists()


def test_radial_pictures_beside_measuring(command, series, tmp_path):
    """The document stands on stdout alone; the pictures are in the folder asked for."""
    out_dir = tmp_path / "pictures"
    arguments = ("--image", series, "--side", "left", "--radial", out_dir, "--json")
    code, out, err = command("measure", *arguments)
    assert code == 0, err
    jsonschema.validate(json.loads(out), document_schema("hip"))
    assert "radial pictures: " in err
    assert any(out_dir.iterdir())


@pytest.mark.fault
def test_pictures_are_never_written_over_others(command, series, tmp_path, monkeypatch):
    """A folder that holds something is refused before anything is measured."""
    import rimwright.morphology.scan as scan

    def measured(*_, **__):
        raise AssertionError("it was measured first")

    monkeypatch.setattr(scan, "measure_scan", measured)
    arguments = ("--image", series, "--side", "left", "--radial", tmp_path)
    code, out, err = command("measure", *arguments)
    assert (code, out) == (1, "")
    assert "something stands there already" in only_line(err)


def test_a_warning_of_one_of_two_hips_names_its_side(command, series, monkeypatch, hip):
    """What is said of both hips stands once and bare; what is said of one begins with its side."""
    import rimwright.morphology.scan as scan

    laid = scan.measure_scan

    def measured(volume, *, side, **given):
        found = laid(volume, side=side, **given)
        of_one = {"left": ("metal of 3 mm³", "cut"), "right": ("metal of 5 mm³",)}
        doubts = ("thick slices", *of_one[str(side)])
        return replace(found, hip=replace(found.hip, warnings=doubts))

    monkeypatch.setattr(scan, "measure_scan", measured)
    code, _, err = command("measure", "--image", series, "--side", "both", "--json")
    assert code == 0, err
    assert [line.removeprefix("caution: ") for line in err.splitlines()] == [
        "thick slices",
        "left: metal of 3 mm³",
        "left: cut",
        "right: metal of 5 mm³",
    ]
