"""Readings of the labrum by caliper on radial pictures: the file a person writes, and its check.

Nothing in an image is told to be labrum by this program; every width and thickness in the file was
read by somebody, on one modality, at one acetabular hour.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, ValidationError

from rimwright.anatomy import ClockReference, SeenBy, Side, wrap_hour
from rimwright.casework.case_fields import (
    HOUR_BOUND,
    HOUR_NEED,
    MAX_LIST_LENGTH,
    TEXT,
    WORD,
    Strict,
    bounded,
)
from rimwright.casework.case_words import ordinal, refuse_first
from rimwright.casework.upgrades import READINGS_FAMILY
from rimwright.errors import CaseRefusal

SAME_HOUR = 1e-9
"""Hours nearer than this are one: rounding of what was typed."""


class LabrumReadingModel(Strict):
    """One `[[reading]]`: what one person read at one hour."""

    hour: Annotated[float, HOUR_BOUND, HOUR_NEED]
    width_mm: Annotated[
        float | None, *bounded("width_mm", 0, 30, remedy="Lengths are in mm; absent tissue is 0")
    ] = None
    thickness_mm: Annotated[
        float | None, *bounded("thickness_mm", 0, 30, remedy="Lengths are in mm")
    ] = None
    seen_by: Annotated[SeenBy, WORD]
    reader: Annotated[str | None, TEXT] = None


class LabrumReadingsModel(Strict):
    """A file of readings."""

    schema_: Annotated[Literal["rimwright.readings/1"], Field(alias="schema")]
    side: Annotated[Side, WORD]
    reference: Annotated[ClockReference | None, WORD] = None
    map: Annotated[SeenBy | None, WORD] = None
    reading: Annotated[list[LabrumReadingModel], Field(min_length=1, max_length=MAX_LIST_LENGTH)]


@dataclass(frozen=True, slots=True, kw_only=True)
class LabrumReading:
    """
    What one person read at one hour on one modality.

    Parameters
    ----------
    hour
        Acetabular, [0, 12).
    width_mm, thickness_mm
        By caliper, mm; None where not read.
    seen_by
        MR or CT arthrogram.
    reader
        A word for who read it; '' where not said.
    """

    hour: float
    width_mm: float | None
    thickness_mm: float | None
    seen_by: SeenBy
    reader: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class LabrumReadings:
    """
    The readings of one hip.

    Parameters
    ----------
    readings
        As written.
    reference
        What the hours were counted from; None where not said.
    preferred
        Modality the labrum map takes where several read one place; None where not said.
    where
        Name of the file, for messages.
    """

    readings: tuple[LabrumReading, ...]
    reference: ClockReference | None = None
    preferred: SeenBy | None = None
    where: str = "readings"


def read_labrum_readings(path: Path, *, side: Side) -> LabrumReadings:
    """
    Read a file of caliper readings.

    Parameters
    ----------
    path
        TOML or JSON, schema `rimwright.readings/1`.
    side
        Of the case; readings of the other hip are refused.

    Returns
    -------
    LabrumReadings
        Validated.

    Raises
    ------
    Refusal
        Missing, unreadable, of the other side, or something in it is impossible.
    """
    from rimwright.casework.case_file import read_document

    return parse_labrum_readings(read_document(path), side=side, where=path.name)


def parse_labrum_readings(
    document: Mapping[str, Any], *, side: Side, where: str = "readings"
) -> LabrumReadings:
    """
    Validate readings given as plain data.

    Parameters
    ----------
    document
        As parsed from TOML or JSON.
    side, where
        Side of the case; name of the file, for messages.

    Returns
    -------
    LabrumReadings
        Validated.

    Raises
    ------
    CaseRefusal
        A key is unknown, a number out of range, the side another, a reading twice or of nothing.
    """
    upgraded = READINGS_FAMILY.upgrade(document, where=where)
    try:
        model = LabrumReadingsModel.model_validate(upgraded)
    except ValidationError as error:
        raise refuse_first(error, LabrumReadingsModel, where=where) from None
    if model.side is not side:
        raise CaseRefusal(
            f"readings of the other hip (got {model.side}, need {side})",
            f"{where}, side",
            "Name the readings of this hip",
        )
    found: list[LabrumReading] = []
    for index, item in enumerate(model.reading):
        here = f"{where}, {ordinal(index)} [[reading]]"
        reading = LabrumReading(
            hour=wrap_hour(item.hour),
            width_mm=item.width_mm,
            thickness_mm=item.thickness_mm,
            seen_by=item.seen_by,
            reader=item.reader or "",
        )
        _check(reading, found, here=here)
        found.append(reading)
    return LabrumReadings(
        readings=tuple(found), reference=model.reference, preferred=model.map, where=where
    )


def _check(reading: LabrumReading, earlier: list[LabrumReading], *, here: str) -> None:
    """Refuse a reading of nothing, of the probe, or made twice by one reader."""
    if reading.width_mm is None and reading.thickness_mm is None:
        raise CaseRefusal(
            "nothing was read (need width_mm, thickness_mm or both)",
            here,
            "Add it, or leave it out",
        )
    if reading.seen_by is SeenBy.PROBE:
        raise CaseRefusal(
            'not read on a picture (got "probe", need MR or CT arthrogram)',
            f"{here}, seen_by",
            "Write what the probe found as [[labrum]] in the case file",
        )
    for other in earlier:
        same = (other.seen_by, other.reader) == (reading.seen_by, reading.reader)
        if same and abs(other.hour - reading.hour) < SAME_HOUR:
            who = f"reader {reading.reader}" if reading.reader else "one reader"
            raise CaseRefusal(
                f"read twice by {who} on {reading.seen_by} at this hour",
                f"{here}, hour",
                "Keep one, or name the readers",
            )
