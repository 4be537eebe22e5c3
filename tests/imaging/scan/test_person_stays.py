"""Nothing of the person, the place or the day leaves the readers, whatever happens to the file."""

from __future__ import annotations

import logging
from pathlib import Path

import pytest
from pydicom.uid import MRImageStorage

from imaging.scan.scan_files import bits
from imaging.scan.scan_slices import ROOT, SECRET, block, enhanced, save, slices, write_series
from imaging.scan.test_stack_refusals import CASES, N
from rimwright.errors import Refusal
from rimwright.imaging import list_series, read_labels, read_volume

MARKS = (SECRET.lower(), ROOT, "19010203", "19020304", "19030405", "010203")
"""Words of the tags and of the names of files, identifiers, dates."""


def check(text: str) -> None:
    """No mark stands in a text."""
    found = [mark for mark in MARKS if mark in text.lower()]
    assert not found, (found, text)


def everything_said(path: Path, caught: pytest.LogCaptureFixture, output: object) -> list[str]:
    """All that the readers return, refuse, print or log for a path."""
    said: list[str] = []
    for read in (list_series, read_volume, read_labels):
        try:
            given = read(path)
        except Refusal as refusal:
            said += [str(refusal), repr(refusal), repr(refusal.args)]
            continue
        said.append(repr(given))
        if read is list_series:
            said += [str(fact) for fact in given]
        elif read is read_volume:
            said += [given.volume.frame_id, *given.warnings, given.digest, str(given.facts)]
        else:
            said += [given.labels.frame_id, *given.labels.names.values(), *given.warnings]
    said += [record.getMessage() for record in caught.records]
    said += list(output.readouterr())  # type: ignore[attr-defined]
    return said


@pytest.mark.parametrize("case", [*CASES, "sound", "MR", "enhanced", "segmentation", "mixed"])
def test_no_word_of_the_person_is_said(
    case: str,
    tmp_path: Path,
    caplog: pytest.LogCaptureFixture,
    capfd: pytest.CaptureFixture[str],
) -> None:
    """Facts, warnings, names, refusals, logs and streams hold no mark of any tag."""
    caplog.set_level(logging.DEBUG)
    path = tmp_path / "s"
    if case == "enhanced":
        path = save(enhanced(block()), tmp_path / "one.dcm")
    elif case == "segmentation":
        path = save(bits(), tmp_path / "seg.dcm")
    else:
        storage = {"storage": MRImageStorage} if case == "MR" else {}
        datasets = slices(block(n=N), **storage)
        datasets = CASES[case][0](datasets) if case in CASES else datasets
        write_series(datasets, path, name=lambda k: f"image {SECRET} {k}.dcm")
    if case == "mixed":
        write_series(slices(block(n=9), series=8), path / SECRET)
        (path / f"{SECRET}.dcm").write_bytes(bytes(128) + b"DICM" + SECRET.encode())
        (path / f"{SECRET}.txt").write_text(SECRET)
    said = everything_said(path, caplog, capfd)
    assert len(said) > 5
    for text in said:
        check(text)


def test_a_description_that_took_in_other_tags_is_dropped(tmp_path: Path) -> None:
    """A wrong length makes the next tags, of the person too, part of the description."""
    folder = write_series(slices(block()), tmp_path / "s")
    tag = b"\x08\x00\x3e\x10LO"
    for path in folder.iterdir():
        data = path.read_bytes()
        at = data.index(tag) + len(tag)
        length = data.index(b"PN", at) + 20 - at - 2  # into the name of a physician
        path.write_bytes(data[:at] + length.to_bytes(2, "little") + data[at + 2 :])
    facts = list_series(folder)
    assert {fact.description for fact in facts} == {""}
    check(repr(facts))
