"""The command: exit codes, one line on stderr, nothing but JSON on stdout."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest
from typer.testing import CliRunner

import rimwright
from rimwright.anatomy import Side
from rimwright.casework import document_schema
from rimwright.casework.demo_case import binary_stl
from rimwright.cli.app import app, main
from rimwright.phantom import demo_shape, make_hip
from rimwright.treatment import shipped_rules

CASE = Path(__file__).parents[1] / "casework" / "frozen" / "case-1.toml"
LABRUM_ONLY = """
schema = "rimwright.case/1"
id = "labrum-only"
side = "left"
[[labrum]]
from_hour = 11
to_hour = 2
tissue = "poor"
"""


@pytest.fixture(scope="session")
def bones(tmp_path_factory):
    """Pelvis and femur of the demo hip as STL."""
    folder = tmp_path_factory.mktemp("bones")
    hip = make_hip(demo_shape())
    (folder / "pelvis.stl").write_bytes(binary_stl([hip.hip_bone, hip.other_hip_bone]))
    (folder / "femur.stl").write_bytes(binary_stl([hip.femur]))
    return folder


def run(capfd, monkeypatch, *arguments):
    """Exit code, stdout and stderr of the command, run in this process through its entry."""
    monkeypatch.setattr(sys, "argv", ["rimwright", *map(str, arguments)])
    with pytest.raises(SystemExit) as stop:
        main()
    said = capfd.readouterr()
    return (stop.value.code or 0), said.out, said.err


@pytest.fixture
def command(capfd, monkeypatch):
    """Run the command in this process."""
    return lambda *arguments: run(capfd, monkeypatch, *arguments)


def only_line(text: str) -> str:
    """The one line a refusal prints."""
    lines = text.splitlines()
    assert len(lines) == 1, text
    return lines[0]


def test_help_lists_only_what_works(command):
    """Every job listed can be called for help; jobs of later versions are not listed."""
    code, out, _ = command("--help")
    assert code == 0
    for job in ("demo", "measure", "plan", "check", "schema"):
        assert job in out
        assert command(job, "--help")[0] == 0
    for later in ("serve", "backup", "restore", "study", "score"):
        assert f" {later} " not in out


def test_version(command):
    """The version is that of the package."""
    assert command("--version")[:2] == (0, f"rimwright {rimwright.__version__}\n")


@pytest.mark.parametrize("kind", ["case", "hip", "plan", "scan"])
def test_schema_prints_one_document(command, kind):
    """`schema` prints the JSON Schema and nothing else."""
    code, out, err = command("schema", kind)
    assert (code, err) == (0, "")
    assert json.loads(out) == document_schema(kind)


@pytest.mark.parametrize(
    "arguments",
    [
        ("fly",),
        ("measure", "--pelvis", "x.stl"),
        ("measure", "--side", "left"),
        ("measure", "--side", "middle", "--pelvis", "x.stl"),
        ("measure", "--side", "left", "--pelvis", "x.stl", "--units", "inch"),
        ("measure", "--side", "left", "--pelvis", "x.stl", "--axes", "XYZ"),
        ("measure", "--side", "left", "--pelvis", "x.stl", "--part", "0"),
        ("measure", "--side", "left", "--femur", "x.stl", "--part", "1"),
        ("measure", "--side", "both", "--pelvis", "x.stl", "--part", "1"),
        ("plan", "case.toml"),
        ("plan", "case.toml", "--out", "x", "--issued-on", "yesterday"),
        ("plan", "a.toml", "b.toml", "c.toml", "--out", "x"),
        ("plan", "a.toml", "b.toml", "--out", "x", "--hip", "hip.npz"),
        ("check", "bone", "x.stl"),
        ("check", "case", "x.toml", "--units", "mm"),
        ("schema",),
    ],
)
def test_wrong_usage_is_exit_2(command, arguments):
    """Wrong usage ends with 2, an explanation on stderr and nothing on stdout."""
    code, out, err = command(*arguments)
    assert code == 2
    if arguments != ("schema",):
        assert out == ""
        assert err


@pytest.mark.fault
@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (("measure", "--side", "left", "--pelvis", "none.stl"), "none.stl: no such file."),
        (("plan", "none.toml", "--out", "x"), "none.toml: no such file. Check the path."),
        (("plan", str(CASE), "--out", "x"), "case-1.toml, [sources], pelvis: no such file"),
        (("check", "case", str(CASE)), "case-1.toml, [sources], pelvis: no such file"),
        (("check", "hip", str(CASE)), "case-1.toml: not a whole hip file of this program"),
    ],
)
def test_refusal_is_exit_1_and_one_line(command, tmp_path, monkeypatch, arguments, expected):
    """A refusal is one line on stderr, nothing on stdout, exit 1, and nothing is written."""
    monkeypatch.chdir(tmp_path)
    code, out, err = command(*arguments)
    assert (code, out) == (1, "")
    assert only_line(err).startswith(expected)
    assert list(tmp_path.iterdir()) == []


def test_measure_json_is_the_hip_document(command, bones):
    """`measure --json` prints one valid hip document and nothing else on stdout."""
    code, out, err = command(
        "measure",
        "--pelvis",
        bones / "pelvis.stl",
        "--femur",
        bones / "femur.stl",
        "--side",
        "left",
        "--axes",
        "LPS",
        "--json",
    )
    assert code == 0
    document = json.loads(out)
    jsonschema.validate(document, document_schema("hip"))
    assert document["side"] == "left"
    assert document["frame"]["axes_assumed"] is False
    assert "Traceback" not in err


def test_measure_both_prints_a_list_of_two(command, bones):
    """Both sides are a list of two; a lone femur goes to its own side only."""
    code, out, _ = command(
        "measure",
        "--pelvis",
        bones / "pelvis.stl",
        "--femur",
        bones / "femur.stl",
        "--side",
        "both",
        "--json",
    )
    assert code == 0
    left, right = json.loads(out)
    assert (left["side"], right["side"]) == ("left", "right")
    assert left["head"] is not None
    assert right["head"] is None


def test_measure_for_reading_names_units_status_and_reasons(command, bones):
    """Without --json the table has units, status words and the reason of a refusal."""
    code, out, _ = command("measure", "--femur", bones / "femur.stl", "--side", "left")
    assert code == 0
    for word in ("neck shaft angle", "deg", "mm", "ok", "refused", "no hip bone given"):
        assert word in out


@pytest.mark.fault
def test_wrong_side_is_refused(command, bones):
    """A left femur called right is refused with the file's name."""
    code, out, err = command("measure", "--femur", bones / "femur.stl", "--side", "right")
    assert (code, out) == (1, "")
    assert only_line(err).startswith("femur.stl: ")


@pytest.mark.fault
def test_units_are_never_guessed(command, bones):
    """Millimetres read as metres are refused, with the option that would read them."""
    code, _, err = command(
        "measure", "--pelvis", bones / "pelvis.stl", "--side", "left", "--units", "m"
    )
    assert code == 1
    assert "--units mm" in only_line(err)


def test_check_bones_lists_the_bodies(command, bones):
    """`check bones` says what a file holds."""
    code, out, _ = command("check", "bones", bones / "pelvis.stl")
    assert code == 0
    assert "part 1" in out
    assert "part 2" in out


def test_check_case_says_what_is_unknown(command, tmp_path):
    """`check case` names what the case leaves open."""
    path = tmp_path / "case.toml"
    path.write_text(LABRUM_ONLY, encoding="utf-8")
    code, out, _ = command("check", "case", path)
    assert code == 0
    assert "bones: none named" in out
    assert "labrum unknown: 2:00 to 11:00" in out
    assert "age" in out


def two_cases(folder, *, second_person="P-17"):
    """Case files of both hips, without bones."""
    paths = []
    for side, person in (("left", "P-17"), ("right", second_person)):
        path = folder / f"{side}.toml"
        text = LABRUM_ONLY.replace('side = "left"', f'side = "{side}"\nperson = "{person}"')
        path.write_text(text, encoding="utf-8")
        paths.append(path)
    return paths


def test_two_cases_are_planned_and_set_side_by_side(command, tmp_path):
    """Each hip has its folder, both have a page; the date given is printed on it."""
    left, right = two_cases(tmp_path)
    out_dir = tmp_path / "out"
    arguments = ("plan", right, left, "--out", out_dir, "--issued-on", "2026-03-02", "--json")
    code, out, _ = command(*arguments)
    assert code == 0
    assert [item["side"] for item in json.loads(out)] == ["left", "right"]
    for name in ("left/plan.json", "right/patient.pdf", "right/colleague.html", "two-hips.pdf"):
        assert (out_dir / name).is_file()
    assert "2026-03-02" in (out_dir / "two-hips.html").read_text(encoding="utf-8")
    assert "2026-03-02" in (out_dir / "left" / "patient.html").read_text(encoding="utf-8")


@pytest.mark.fault
def test_two_cases_of_two_persons_are_refused(command, tmp_path):
    """Nothing is planned before it is sure that both hips are of one person."""
    left, right = two_cases(tmp_path, second_person="P-18")
    code, out, err = command("plan", left, right, "--out", tmp_path / "out")
    assert (code, out) == (1, "")
    assert only_line(err).startswith("right.toml, person: not the word that stands in left.toml")
    assert not (tmp_path / "out").exists()


@pytest.mark.fault
@pytest.mark.parametrize("job", [("check", "case"), ("plan", "--out", "x")])
def test_a_letter_that_cannot_be_filled_is_refused_first(command, tmp_path, monkeypatch, job):
    """A placeholder nobody knows is named with its line before anything is planned."""
    monkeypatch.chdir(tmp_path)
    Path("letter.txt").write_text("Dear colleague,\n{surgeon}\n", encoding="utf-8")
    case = LABRUM_ONLY + '[settings]\nreferral_letter = "letter.txt"\n'
    Path("case.toml").write_text(case, encoding="utf-8")
    code, out, err = command(*job, "case.toml")
    assert (code, out) == (1, "")
    assert only_line(err).startswith("letter.txt, line 2: ")
    assert not Path("x").exists()


def test_check_rules_lists_what_a_clinic_changed(command, tmp_path):
    """`check rules` names each rule with the clinic's reason."""
    path = tmp_path / "ours.toml"
    rule = shipped_rules().facts[0].id
    path.write_text(
        f'schema = "rimwright.clinic-rules/1"\n[[off]]\nid = "{rule}"\nnote = "not here"\n',
        encoding="utf-8",
    )
    code, out, _ = command("check", "rules", path)
    assert code == 0
    assert f"{rule}: switched off (not here)" in out


def test_text_from_a_file_is_never_markup(command, tmp_path):
    """Square brackets in a name are printed, not obeyed."""
    path = tmp_path / "technique.toml"
    path.write_text(
        'schema = "rimwright.technique/1"\nname = "[bold red]x[/]"\nsource = "us"\n'
        '[[step]]\ntext = "One."\n',
        encoding="utf-8",
    )
    code, out, _ = command("check", "technique", path)
    assert code == 0
    assert "[bold red]x[/]" in out


@pytest.mark.fault
def test_a_fault_of_the_program_is_one_line_too(command, monkeypatch, bones):
    """Even an error nobody foresaw ends in one line that says whose fault it is."""
    import rimwright.imaging

    def broken(*_args, **_more):
        raise RuntimeError("unforeseen")

    monkeypatch.setattr(rimwright.imaging, "read_bodies", broken)
    code, out, err = command("check", "bones", bones / "femur.stl")
    assert (code, out) == (1, "")
    assert "a fault of this program, not of your file (RuntimeError: unforeseen)" in only_line(err)


def test_runner_sees_the_same_app():
    """The app itself answers help for each job without loading a bone reader."""
    result = CliRunner().invoke(app, ["measure", "--help"])
    assert result.exit_code == 0
    assert "--side" in result.output
    assert str(Side.LEFT) in result.output


def test_help_loads_no_computing_library():
    """Help of every job answers without numpy and all that stands on it."""
    heavy = ("numpy", "scipy", "numba", "trimesh", "matplotlib", "typst", "manifold3d")
    for job in ([], ["measure"], ["plan"], ["demo"], ["check"], ["schema"]):
        code = (
            "import sys\nfrom rimwright.cli import main\n"
            f"sys.argv = ['rimwright', *{job!r}, '--help']\n"
            "try:\n    main()\nexcept SystemExit as stop:\n    assert not stop.code\n"
            f"print('LOADED', [m for m in {heavy!r} if m in sys.modules])"
        )
        done = subprocess.run(
            [sys.executable, "-c", code], capture_output=True, text=True, check=False
        )
        assert done.stdout.strip().endswith("LOADED []"), done.stdout[-300:] + done.stderr
