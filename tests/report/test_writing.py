"""Writing: all files or none, nothing left behind, one clear line where it cannot be done."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import plan_fixture
import pytest

from rimwright.anatomy import Plan
from rimwright.errors import FileRefusal
from rimwright.report import write_report, write_scene, writing


def test_every_plan_is_written_whole(any_plan: Plan, tmp_path: Path) -> None:
    """Page, print and drawings stand in the folder, and nothing else."""
    files = write_report(any_plan, tmp_path / "new" / "folder")
    found = {path for path in (tmp_path / "new" / "folder").rglob("*") if path.is_file()}
    assert found == {files.html, files.pdf, *files.figures}
    assert {path.stem for path in files.figures} <= set(writing.FIGURE_NAMES)
    assert files.html.read_text(encoding="utf-8").rstrip().endswith("</html>")


@pytest.mark.fault
def test_a_step_that_fails_leaves_the_old_report(
    plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The PDF fails: page, print and drawings of before stay untouched."""
    before = write_report(plan, tmp_path).html.read_bytes()

    def broken(document: object) -> bytes:
        raise RuntimeError("typesetter gone")

    monkeypatch.setattr(writing, "render_pdf", broken)
    with pytest.raises(RuntimeError):
        write_report(plan_fixture.map_only_plan(), tmp_path)
    assert (tmp_path / "report.html").read_bytes() == before
    assert not list(tmp_path.rglob(".*"))


@pytest.mark.fault
def test_a_full_disk_leaves_nothing_half_written(
    plan: Plan, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The third file cannot be brought to the disk: none appears, no temporary stays."""
    calls = []

    def full(handle: int) -> None:
        calls.append(handle)
        if len(calls) == 3:
            raise OSError(28, "No space left on device")

    monkeypatch.setattr(writing.os, "fsync", full)
    with pytest.raises(FileRefusal, match=r"cannot be written \(No space left on device\)"):
        write_report(plan, tmp_path)
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]


@pytest.mark.fault
def test_a_place_that_is_a_file_is_refused_in_one_line(plan: Plan, tmp_path: Path) -> None:
    """The line names the place, what is wrong and what to do."""
    (tmp_path / "taken").write_text("x")
    with pytest.raises(FileRefusal) as caught:
        write_report(plan, tmp_path / "taken")
    assert str(caught.value) == (
        f"{tmp_path / 'taken'}: cannot be written (File exists). "
        "Choose a folder that exists, has room and may be written to."
    )


@pytest.mark.fault
def test_who_reads_the_old_report_keeps_all_of_it(plan: Plan, tmp_path: Path) -> None:
    """A file is put in the place of the old one, never written over it."""
    html = write_report(plan, tmp_path).html
    with html.open("rb") as reader:
        begun = reader.read(100)
        write_report(plan_fixture.unknown_plan(), tmp_path)
        whole = begun + reader.read()
    assert whole.rstrip().endswith(b"</html>")
    assert b"demo-01" in whole
    assert whole != html.read_bytes()


def test_drawings_of_an_earlier_plan_do_not_stay(plan: Plan, tmp_path: Path) -> None:
    """A corridor chart beside a plan without bone would be another plan's."""
    write_report(plan, tmp_path)
    (tmp_path / "figures" / "own.svg").write_text("kept")
    write_report(plan_fixture.map_only_plan(), tmp_path)
    left = {path.name for path in (tmp_path / "figures").iterdir()}
    assert left == {"rim-strip.svg", "rim-ring.svg", "options.svg", "own.svg"}


def test_the_same_plan_gives_the_same_files(plan: Plan, tmp_path: Path) -> None:
    """Byte for byte, scene included."""
    for name in ("one", "two"):
        write_report(plan, tmp_path / name)
        write_scene(plan, tmp_path / name / "scene.glb")
    one, two = (
        {
            p.relative_to(tmp_path / n): p.read_bytes()
            for p in (tmp_path / n).rglob("*")
            if p.is_file()
        }
        for n in ("one", "two")
    )
    assert one == two


def test_import_and_page_need_no_drawing_library() -> None:
    """Neither the typesetter nor the plotting or mesh libraries are loaded by the import."""
    code = (
        "import sys, rimwright.report; "
        "print(sorted({'matplotlib', 'typst', 'trimesh', 'scipy', 'numba'} & set(sys.modules)))"
    )
    made = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert made.stdout.strip() == "[]"
