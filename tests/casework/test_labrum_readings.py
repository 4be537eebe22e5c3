"""Caliper readings of the labrum: what enters the map, with its modality, and what stays beside."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from rimwright.anatomy import (
    Attachment,
    ClockReference,
    LabrumMap,
    LabrumSector,
    Sector,
    SeenBy,
    Side,
)
from rimwright.casework import read_case
from rimwright.casework.labrum_readings import parse_labrum_readings
from rimwright.casework.labrum_readings_map import map_readings
from rimwright.errors import CaseRefusal


def document(*readings: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {"schema": "rimwright.readings/1", "side": "left", "reading": list(readings), **more}


def mr(hour: float, width: float | None = 6.0, **more: Any) -> dict[str, Any]:
    base = {"hour": hour, "seen_by": "MR"}
    if width is not None:
        base["width_mm"] = width
    return base | more


def mapped(labrum: LabrumMap, *readings: dict[str, Any], **more: Any):
    return map_readings(labrum, parse_labrum_readings(document(*readings, **more), side=Side.LEFT))


def probe(from_hour: float, to_hour: float, **more: Any) -> LabrumSector:
    fields = {"width_mm": 2.5, "seen_by": SeenBy.PROBE} | more
    return LabrumSector(sector=Sector(from_hour=from_hour, to_hour=to_hour), **fields)


def test_a_reading_is_the_half_hour_about_it() -> None:
    """1:30 speaks of 1:15 to 1:45, 12:00 of 11:45 to 12:15; nothing else becomes known."""
    result = mapped(LabrumMap(), mr(1.5, 6.2, thickness_mm=3.0), mr(12.0, 5.0), reference="notch")
    assert result.beside == ()
    late, early = result.labrum.at(0.1), result.labrum.at(1.5)
    assert (late.sector.from_hour, late.sector.to_hour) == (11.75, 0.25)
    assert (early.sector.from_hour, early.sector.to_hour) == (1.25, 1.75)
    assert early == LabrumSector(
        sector=early.sector,
        width_mm=6.2,
        thickness_mm=3.0,
        seen_by=SeenBy.MR,
        reference=ClockReference.NOTCH,
    )
    assert result.labrum.at(3.0) is None


@pytest.mark.property
@pytest.mark.parametrize("hour", [0.0, 0.24, 0.26, 5.99, 11.74, 11.76, 11.99, 12.0])
def test_the_nearest_half_hour(hour: float) -> None:
    """Every hour lies in the sector its reading becomes."""
    sectors = mapped(LabrumMap(), mr(hour)).labrum.sectors
    assert len(sectors) == 1
    assert sectors[0].sector.contains(hour)
    assert sectors[0].sector.span_hours == pytest.approx(0.5)


def test_readers_of_one_modality_are_averaged_and_their_range_said() -> None:
    """Two readers on MR make one value; the case beside it hears of both."""
    readings = (mr(1.5, 5.0, reader="A"), mr(1.4, 6.0, reader="B"))
    assert mapped(LabrumMap(), *readings).labrum.at(1.5).width_mm == pytest.approx(5.5)
    (sentence,) = mapped(LabrumMap(sectors=(probe(1.0, 2.0),)), *readings).beside
    assert "5.5 mm wide (mean of 2, 5.0 to 6.0 mm) on MR (read by A, B)" in sentence


def test_modalities_are_never_averaged() -> None:
    """MR and CT arthrogram at one hour: refused, or the named one taken and the other kept."""
    arthrogram = {"hour": 1.5, "width_mm": 8.7, "seen_by": "CT arthrogram"}
    with pytest.raises(CaseRefusal) as caught:
        mapped(LabrumMap(), mr(1.5), arthrogram)
    assert str(caught.value) == (
        "readings, map: two modalities read 1:15 to 1:45 and nothing says which the map takes "
        "(8.7 mm wide on CT arthrogram and 6.0 mm wide on MR). "
        'Write map = "CT arthrogram" or another; the others are kept beside it.'
    )
    result = mapped(LabrumMap(), mr(1.5), arthrogram, map="MR")
    assert result.labrum.at(1.5).width_mm == 6.0
    assert result.labrum.at(1.5).seen_by is SeenBy.MR
    assert result.beside == (
        "Labrum at 1:30: 8.7 mm wide on CT arthrogram is kept beside 6.0 mm wide on MR, which "
        "the map takes as the readings file says",
    )


def test_the_probe_of_the_case_stays_and_the_picture_is_kept_beside() -> None:
    """A sector of the case is not changed by another modality, with or without a width."""
    measured, bare = probe(1.0, 2.0), probe(4.0, 5.0, width_mm=None)
    result = mapped(LabrumMap(sectors=(measured, bare)), mr(1.5), mr(4.5, 4.0))
    assert result.labrum.sectors == (measured, bare)
    assert result.beside == (
        "Labrum from 1:15 to 1:45: the case says 2.5 mm wide (seen by probe); 6.0 mm wide on MR "
        "is kept beside it and not planned on",
        "Labrum from 4:15 to 4:45: the case says nothing of its width or thickness (seen by "
        "probe); 4.0 mm wide on MR is kept beside it and not planned on",
    )


def test_a_half_hour_partly_in_a_sector_is_cut_at_its_end() -> None:
    """What the case leaves open is taken; the rest stays beside."""
    result = mapped(LabrumMap(sectors=(probe(0.0, 1.5),)), mr(1.5))
    assert len(result.beside) == 1
    assert "from 1:15 to 1:30" in result.beside[0]
    taken = result.labrum.sectors[1]
    assert (taken.sector.from_hour, taken.sector.to_hour) == (1.5, 1.75)
    assert taken.seen_by is SeenBy.MR


@pytest.mark.parametrize(("from_hour", "to_hour"), [(11.0, 2.0), (6.0, 6.0), (1.25, 1.75)])
def test_a_sector_of_the_same_modality_without_width_takes_it(
    from_hour: float, to_hour: float
) -> None:
    """Seen on MR without a width: the reading fills its half hour, the findings stay all along."""
    seen = LabrumSector(
        sector=Sector(from_hour=from_hour, to_hour=to_hour),
        attachment=Attachment.DETACHED,
        seen_by=SeenBy.MR,
    )
    result = mapped(LabrumMap(sectors=(seen,)), mr(1.5))
    assert result.beside == ()
    assert result.labrum.at(1.5).width_mm == 6.0
    assert all(item.attachment is Attachment.DETACHED for item in result.labrum.sectors)
    spans = sum(item.sector.span_hours for item in result.labrum.sectors)
    assert spans == pytest.approx(seen.sector.span_hours)
    with_width = [item for item in result.labrum.sectors if item.width_mm is not None]
    assert sum(item.sector.span_hours for item in with_width) == pytest.approx(0.5)


@pytest.mark.fault
@pytest.mark.parametrize(
    ("changed", "sentence"),
    [
        (
            document(mr(1.5), side="right"),
            "readings, side: readings of the other hip (got right, need left). "
            "Name the readings of this hip.",
        ),
        (
            document(mr(1.5, None)),
            "readings, first [[reading]]: nothing was read (need width_mm, thickness_mm or both). "
            "Add it, or leave it out.",
        ),
        (
            document(mr(1.5) | {"seen_by": "probe"}),
            'readings, first [[reading]], seen_by: not read on a picture (got "probe", need MR or '
            "CT arthrogram). Write what the probe found as [[labrum]] in the case file.",
        ),
        (
            document(mr(12.0), mr(0.0, 5.0)),
            "readings, second [[reading]], hour: read twice by one reader on MR at this hour. "
            "Keep one, or name the readers.",
        ),
    ],
)
def test_readings_that_cannot_be_used(changed: dict[str, Any], sentence: str) -> None:
    """The other side, nothing read, the probe, one reader twice: one line each."""
    with pytest.raises(CaseRefusal) as caught:
        parse_labrum_readings(changed, side=Side.LEFT)
    assert str(caught.value) == sentence


@pytest.mark.fault
@pytest.mark.parametrize(
    ("changed", "part"),
    [
        (document(mr(13.0)), "not an hour of the clock"),
        (document(mr(1.0, 31.0)), "width_mm"),
        (document(mr(1.0, widht_mm=3.0)), "widht_mm"),
        (document(), "reading"),
        ({"side": "left", "reading": [mr(1.0)]}, "schema"),
        (document(mr(1.0), schema="rimwright.readings/2"), "newer version"),
        (document(mr(1.0), schema="rimwright.case/1"), "not a document of this kind"),
    ],
)
def test_documents_that_are_no_readings(changed: dict[str, Any], part: str) -> None:
    """Out of range, unknown keys, empty, of another kind or a newer version."""
    with pytest.raises(CaseRefusal, match=part):
        parse_labrum_readings(changed, side=Side.LEFT)


CASE = """schema = "rimwright.case/1"
id = "example"
side = "left"
[sources]
readings = "read/labrum.toml"
[[labrum]]
from_hour = 1.0
to_hour = 2.0
width_mm = 2.5
seen_by = "probe"
"""
READINGS = """schema = "rimwright.readings/1"
side = "left"
reference = "notch"
[[reading]]
hour = 1.5
width_mm = 6.5
seen_by = "MR"
[[reading]]
hour = 2.5
width_mm = 6.0
seen_by = "MR"
"""


def test_a_case_takes_its_readings(tmp_path: Path) -> None:
    """Through the case file: the map, its modality, and the caution beside it in the plan."""
    from rimwright.casework import plan_case

    (tmp_path / "read").mkdir()
    (tmp_path / "read" / "labrum.toml").write_text(READINGS)
    (tmp_path / "case.toml").write_text(CASE)
    case = read_case(tmp_path / "case.toml")
    assert case.labrum.at(1.5).seen_by is SeenBy.PROBE
    assert case.labrum.at(2.5).seen_by is SeenBy.MR
    assert case.labrum.at(2.5).width_mm == 6.0
    (sentence,) = case.labrum_beside
    assert sentence in plan_case(case).cautions
    (tmp_path / "read" / "labrum.toml").write_text(READINGS.replace("6.5", "6.4"))
    assert read_case(tmp_path / "case.toml").digest != case.digest


@pytest.mark.fault
def test_a_case_whose_readings_are_absent(tmp_path: Path) -> None:
    """A file that is not there is refused when the case is read."""
    (tmp_path / "case.toml").write_text(CASE)
    with pytest.raises(CaseRefusal, match=r"case\.toml, \[sources\], readings: no such file"):
        read_case(tmp_path / "case.toml")
