"""Writing a plan: whole or not at all, and an older plan replaced only at the end."""

from __future__ import annotations

import json

import pytest

import rimwright.casework.plan_files as files_module
import rimwright.report as report
from report.plan_fixture import full_plan
from rimwright.anatomy import Cancelled
from rimwright.casework import LetterTemplate, load_hip, plan_document, plan_folder, write_plan
from rimwright.errors import FileRefusal

EXPECTED = {
    "plan.json",
    "report.html",
    "report.pdf",
    "patient.html",
    "patient.pdf",
    "colleague.html",
    "colleague.pdf",
    "scene.glb",
    "hip.npz",
}


def listing(folder):
    """Every file under a folder, relative, with its bytes."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file()
    }


def test_every_file_of_the_contract_is_written(tmp_path):
    """All files of a plan stand in the folder, nothing else beside it."""
    written = write_plan(full_plan(), tmp_path / "deep" / "plan")
    names = set(written.names)
    assert names >= EXPECTED
    assert any(name.startswith("figures/") and name.endswith(".svg") for name in names)
    assert set(listing(tmp_path / "deep" / "plan")) == names
    assert [path.name for path in (tmp_path / "deep").iterdir()] == ["plan"]
    document = json.loads((written.folder / "plan.json").read_text(encoding="utf-8"))
    assert document == plan_document(full_plan())
    assert load_hip(written.folder / "hip.npz").hip.side == "left"


def test_a_newer_plan_replaces_the_older_one(tmp_path):
    """Figures of the older plan go with it; a file of the user's own stays."""
    out = tmp_path / "plan"
    write_plan(full_plan(), out)
    (out / "figures" / "old.svg").write_text("<svg/>", encoding="utf-8")
    (out / "notes.txt").write_text("mine", encoding="utf-8")
    bare = full_plan(hip=None, corridors=(), portals=(), corridor_kind=None)
    write_plan(bare, out)
    names = set(listing(out))
    assert "notes.txt" in names
    assert not names & {"figures/old.svg", "hip.npz", "scene.glb"}


def test_a_letter_of_an_older_plan_does_not_stay(tmp_path):
    """A letter is written where its template is given, and gone where the next plan has none."""
    out = tmp_path / "plan"
    letter = LetterTemplate(kind="referral", text="Case {case_id}.\n", where="mine.txt")
    bare = full_plan(hip=None, corridors=(), portals=(), corridor_kind=None)
    write_plan(bare, out, letters=(letter,))
    assert f"Case {bare.case_id}." in (out / "letter-referral.html").read_text(encoding="utf-8")
    write_plan(bare, out)
    assert not [name for name in listing(out) if name.startswith("letter")]


@pytest.mark.fault
@pytest.mark.parametrize("failure", [OSError(28, "No space left on device"), KeyboardInterrupt()])
def test_broken_off_midway_leaves_the_older_plan(tmp_path, monkeypatch, failure):
    """A full disk or Ctrl-C while writing leaves the older plan as it was, and no trace."""
    out = tmp_path / "plan"
    write_plan(full_plan(), out)
    before = listing(out)

    def fails(plan, path):
        path.write_bytes(b"half")
        raise failure

    monkeypatch.setattr(report, "write_scene", fails)
    expected = FileRefusal if isinstance(failure, OSError) else KeyboardInterrupt
    with pytest.raises(expected):
        write_plan(full_plan(planned="repair"), out)
    assert listing(out) == before
    assert [path.name for path in tmp_path.iterdir()] == ["plan"]


@pytest.mark.fault
def test_cancelled_leaves_nothing(tmp_path):
    """Cancelled from the progress callback, no folder is made."""

    def stop(fraction, stage):
        if fraction >= 0.5:
            raise Cancelled

    with pytest.raises(Cancelled):
        write_plan(full_plan(), tmp_path / "plan", progress=stop)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.fault
def test_places_that_cannot_be_written(tmp_path, monkeypatch):
    """A file in the way and a folder that refuses are named in one line."""
    (tmp_path / "plan").write_text("x", encoding="utf-8")
    for place in (tmp_path / "plan", tmp_path / "plan" / "deep" / "er"):
        with pytest.raises(FileRefusal, match="plan: not a folder"):
            plan_folder(place)
    with pytest.raises(FileRefusal, match="not a folder"):
        write_plan(full_plan(), tmp_path / "plan")

    def denied(**_):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(files_module.tempfile, "mkdtemp", denied)
    with pytest.raises(FileRefusal, match=r"cannot be written \(Permission denied\)"):
        write_plan(full_plan(), tmp_path / "other")
