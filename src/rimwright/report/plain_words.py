"""Plain words for readers outside the trade: roads, stances, places on the rim, findings."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib import resources
from typing import Any

from rimwright.anatomy import (
    Attachment,
    Fibres,
    LabrumSector,
    Plan,
    Sector,
    Stance,
    Tear,
    Tissue,
)
from rimwright.evidence import EvidenceStatus

PLACES = (
    "top",
    "upper front",
    "front",
    "lower front",
    "bottom",
    "lower back",
    "back",
    "upper back",
)
"""Names of the eight parts of the rim, from 12 o'clock on through the front."""


class Look(StrEnum):
    """How a part of the ring is shown to a patient."""

    SOUND = "sound"
    DAMAGED = "damaged"
    MISSING = "missing"
    UNKNOWN = "not known"


@dataclass(frozen=True, slots=True, kw_only=True)
class PlainRoad:
    """
    One road in plain words.

    Parameters
    ----------
    key
        Name of the option or road in the plan.
    name, trade
        Plain name, and the trade's name to look it up by; '' where it is the same.
    done, known, unknown
        What is done, what reports say, what nobody knows.
    evidence
        Rows behind `known`.
    """

    key: str
    name: str
    trade: str
    done: str
    known: str
    unknown: str
    evidence: tuple[str, ...]


@cache
def plain_roads() -> tuple[PlainRoad, ...]:
    """Every road, no operation first."""
    return tuple(
        PlainRoad(
            key=str(item["key"]),
            name=str(item["name"]),
            trade=str(item.get("trade", "")),
            done=str(item["done"]),
            known=str(item["known"]),
            unknown=str(item["unknown"]),
            evidence=tuple(str(id_) for id_ in item["evidence"]),
        )
        for item in _words()["road"]
    )


def plain_questions() -> tuple[str, ...]:
    """Questions a patient may want to ask."""
    return tuple(str(text) for text in _words()["questions"]["ask"])


def plain_stance(stance: Stance | None) -> str:
    """What the reports say of a road in this hip; None is said to be not judged."""
    stances: Mapping[str, str] = _words()["stances"]
    return stances["not judged" if stance is None else stance.value]


def plain_reading(status: EvidenceStatus) -> str:
    """How a report was read, for those who do not know how tables of evidence are made."""
    readings: Mapping[str, str] = _words()["readings"]
    return readings[status.value]


def stance_of_road(plan: Plan, key: str) -> Stance | None:
    """Stance of an option, else of the candidacy statement that begins with the road's name."""
    for item in plan.options:
        if item.option.name == key:
            return item.option.stance
    for statement in plan.candidacy:
        if statement.statement.casefold().startswith(f"{key}:"):
            return statement.stance
    return None


def place_of_hour(hour: float) -> str:
    """The part of the rim an hour lies in."""
    return PLACES[round(hour / 1.5) % len(PLACES)]


def place_of(sector: Sector) -> str:
    """A sector by the parts of the rim it runs through."""
    if sector.is_whole_ring:
        return "all round"
    start, end = place_of_hour(sector.from_hour), place_of_hour(sector.to_hour)
    return start if start == end else f"{start} to {end}"


def look_of(found: LabrumSector | None) -> Look:
    """How a sector is shown; too little known counts as not known, never as sound."""
    if found is None:
        return Look.UNKNOWN
    if found.tissue is Tissue.ABSENT:
        return Look.MISSING
    if (
        found.tissue is Tissue.POOR
        or found.attachment is Attachment.DETACHED
        or found.fibres is Fibres.INTERRUPTED
        or found.tear in (Tear.STABLE, Tear.UNSTABLE)
        or found.seals is False
        or found.calcified
    ):
        return Look.DAMAGED
    if found.tissue is Tissue.GOOD and found.tear is Tear.NONE:
        return Look.SOUND
    return Look.UNKNOWN


def plain_finding(found: LabrumSector) -> str:
    """What is known of a sector, in plain words; its width decides nothing and is left out."""
    if found.tissue is Tissue.ABSENT:
        return "missing"
    words = []
    if found.tear is Tear.UNSTABLE:
        words.append("torn, and the torn part moves")
    if found.tear is Tear.STABLE:
        words.append("torn, but the torn part does not move")
    if found.tear is Tear.NONE:
        words.append("no tear")
    if found.attachment is Attachment.DETACHED:
        words.append("come off the bone")
    if found.tissue is not None:
        words.append("firm" if found.tissue is Tissue.GOOD else "worn")
    if found.calcified:
        words.append("partly turned hard")
    if found.fibres is not None:
        through = found.fibres is Fibres.CONTINUOUS
        words.append("its long threads still run through" if through else "its threads are broken")
    if found.seals is not None:
        words.append("closes the joint" if found.seals else "no longer closes the joint")
    if found.prior_suture:
        words.append("stitched in an earlier operation")
    if not words:
        return "seen, but nothing was noted"
    if look_of(found) is Look.UNKNOWN:
        words.append("too little is known to call it sound or damaged")
    return ", ".join(words)


@cache
def _words() -> Mapping[str, Any]:
    """The shipped words."""
    text = resources.files("rimwright.report").joinpath("plain_words.toml")
    return tomllib.loads(text.read_text(encoding="utf-8"))
