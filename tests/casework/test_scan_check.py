"""What a scan holds: its series, the CT taken without guessing, and what that is fit for."""

from __future__ import annotations

import json
from dataclasses import replace

import jsonschema
import pytest

import rimwright.imaging as imaging
from casework.scan_fixture import lay_in, write_series
from rimwright.anatomy import MEASUREMENT_KEYS, Modality
from rimwright.casework import ScanFiles, check_scan, document_schema, scan_document
from rimwright.casework.scan_check import good_for
from rimwright.errors import Refusal


@pytest.fixture(scope="module")
def series(tmp_path_factory):
    """One CT series."""
    return write_series(tmp_path_factory.mktemp("scan") / "series")


@pytest.fixture(scope="module")
def two_series(tmp_path_factory):
    """Two CT series in one folder."""
    folder = tmp_path_factory.mktemp("two")
    write_series(folder / "a", seed=3)
    write_series(folder / "b", seed=4)
    return folder


@pytest.fixture(autouse=True)
def laid(monkeypatch, stored):
    """The demo hip in the place of the search for bones."""
    return lay_in(monkeypatch, stored.hip)


def validated(check):
    """The document of a check, as printed, held against its schema."""
    document = json.loads(json.dumps(scan_document(check), allow_nan=False))
    jsonschema.Draft202012Validator(document_schema("scan")).validate(document)
    return document


def test_the_only_ct_is_looked_into(series):
    """Grid, hips, and for each measurement whether it may be tried and why not."""
    document = validated(check_scan(ScanFiles(image=series)))
    (found,) = document["series"]
    assert (found["modality"], found["n_slices"]) == ("CT", 12)
    assert found["spacing_mm"] == pytest.approx([0.7, 0.7, 1.0])
    assert document["taken"] == 1
    left, right = document["hips"]
    assert (left["side"], right["side"]) == ("left", "right")
    assert left["metal_mm3"] == 812.0
    assert set(left["measurements"]) == set(MEASUREMENT_KEYS)
    assert left["measurements"]["femoral_version"] == {
        "may_be_tried": False,
        "reason": "the condyles are outside the scan",
    }
    assert right["measurements"]["femoral_version"] == {"may_be_tried": True, "reason": ""}
    assert document["doubts"] == ["slices of 3 mm"]


def test_of_several_none_is_guessed(two_series):
    """Two CT series: both listed, none taken, as when measuring; the one named is."""
    check = check_scan(ScanFiles(image=two_series))
    assert len(check.series) == 2
    assert check.survey is None
    assert check.reason.startswith("2 series can be the volume: 1 [")
    assert validated(check)["taken"] is None
    for name in ("2", check.series[1].series_key, check.series[1].series_key.upper()):
        assert check_scan(ScanFiles(image=two_series, series=name)).taken == 2


@pytest.mark.fault
def test_a_series_that_is_not_there(series):
    """A number nobody listed is refused in one line."""
    with pytest.raises(Refusal, match=r'^series: no series "7" \(found 1, counted from 1\)'):
        check_scan(ScanFiles(image=series, series="7"))


def test_an_mr_is_listed_with_what_it_is_good_for(series, monkeypatch):
    """An MR is not looked into for bone, and the reason names its use here."""
    (facts,) = imaging.list_series(series)
    magnetic = replace(facts, modality=Modality.MR)
    monkeypatch.setattr(imaging, "list_series", lambda *_, **__: (magnetic,))
    check = check_scan(ScanFiles(image=series))
    assert check.reason == "no CT series that can be used"
    assert "radial reformats that a person reads" in validated(check)["series"][0]["good_for"]
    named = check_scan(ScanFiles(image=series, series="1"))
    assert "radial reformats" in named.reason


def test_a_series_that_cannot_be_used_says_why(series):
    """The reader's reason stands in the list."""
    (facts,) = imaging.list_series(series)
    assert good_for(replace(facts, usable=False, reason="one slice")) == "nothing here: one slice"


def test_the_only_ct_beside_an_mr_is_taken_by_name(series, monkeypatch):
    """Measuring would not choose between the two; the check says which number to give it."""
    (facts,) = imaging.list_series(series)
    magnetic = replace(facts, number=2, series_key="0" * 8, modality=Modality.MR)
    monkeypatch.setattr(imaging, "list_series", lambda *_, **__: (facts, magnetic))
    check = check_scan(ScanFiles(image=series))
    assert check.taken == 1
    assert "the only CT of several series: measure it with --series 1" in check.warnings


def test_what_a_reader_mends_is_said_of_its_file(series, monkeypatch):
    """A warning of the image names the image, as it does when measuring."""
    read = replace(imaging.read_volume(series), warnings=("its unit is not stated",))
    monkeypatch.setattr(imaging, "read_volume", lambda *_, **__: read)
    assert check_scan(ScanFiles(image=series)).warnings == ("series: its unit is not stated",)
