"""Caliper readings on the labrum map: half-hour sectors where the case leaves room, else beside.

A value belongs to its modality. Two modalities are never averaged, and none quietly stands in for
another: what the map does not take is kept beside it, in words, and printed with the plan.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import floor
from pathlib import Path

from rimwright.anatomy import (
    LabrumMap,
    LabrumSector,
    Sector,
    SeenBy,
    Side,
    spoken_hour,
    wrap_hour,
)
from rimwright.casework.labrum_readings import (
    LabrumReading,
    LabrumReadings,
    read_labrum_readings,
)
from rimwright.errors import CaseRefusal

BIN_HOURS = 0.5
"""A reading speaks of the half hour about the nearest half hour of the clock."""
_TOUCH = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class MappedReadings:
    """
    The labrum map with the readings it takes.

    Parameters
    ----------
    labrum
        Sectors of the case, and those of the readings where the case is silent.
    beside
        Readings the map does not take, a sentence each.
    """

    labrum: LabrumMap
    beside: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class _BinReading:
    """All readings of one half hour on one modality, made one."""

    sector: Sector
    seen_by: SeenBy
    width_mm: float | None
    thickness_mm: float | None
    words: str


def map_readings(labrum: LabrumMap, readings: LabrumReadings) -> MappedReadings:
    """
    Enter readings into the labrum map of a case.

    Parameters
    ----------
    labrum
        As the case has it.
    readings
        Of the same hip.

    Returns
    -------
    MappedReadings
        The map and what it did not take.

    Raises
    ------
    CaseRefusal
        Two modalities read one half hour and the file does not say which of them the map takes.

    Notes
    -----
    Readers of one modality in one half hour are averaged, and their range is said. A sector of
    the case stays as it is, whatever was read there, since which of two modalities to plan on
    is the surgeon's choice; a reading fills it only if the sector is of the same modality and
    has neither width nor thickness.
    """
    beside: list[str] = []
    added: list[LabrumSector] = []
    kept = list(labrum.sectors)
    bins = _bins(readings.readings)
    for middle in sorted({key[0] for key in bins}):
        of_bin = [made for (at, _), made in sorted(bins.items()) if at == middle]
        chosen = _chosen(of_bin, readings)
        beside += [
            f"Labrum at {spoken_hour(middle)}: {item.words} is kept beside {chosen.words}, which "
            "the map takes as the readings file says"
            for item in of_bin
            if item is not chosen
        ]
        for piece in _pieces(chosen.sector, kept):
            holder = next((s for s in kept if _shares(s.sector, piece)), None)
            if holder is None:
                added.append(_as_sector(chosen, piece, readings))
            elif _is_open_to(holder, chosen.seen_by):
                kept.remove(holder)
                kept += _filled(holder, piece, chosen)
            else:
                beside.append(
                    f"Labrum from {piece}: the case says {_case_words(holder)}; {chosen.words} is "
                    "kept beside it and not planned on"
                )
    return MappedReadings(
        labrum=LabrumMap(sectors=(*kept, *added)), beside=tuple(dict.fromkeys(beside))
    )


def with_readings(
    labrum: LabrumMap, path: Path | None, *, side: Side, where: str
) -> MappedReadings:
    """
    The labrum map of a case with the readings it names, if any.

    Parameters
    ----------
    labrum
        As the case has it.
    path
        File of readings; None for none.
    side
        Of the case.
    where
        Name of the case file, for messages.

    Returns
    -------
    MappedReadings
        The map and what it did not take.

    Raises
    ------
    CaseRefusal
        The file is not there, or as `map_readings`.
    """
    if path is None:
        return MappedReadings(labrum=labrum)
    if not path.is_file():
        raise CaseRefusal(
            f"no such file (looked for {path})",
            f"{where}, [sources], readings",
            "Paths are relative to the folder of the case file",
        )
    return map_readings(labrum, read_labrum_readings(path, side=side))


def _bins(readings: Sequence[LabrumReading]) -> dict[tuple[float, str], _BinReading]:
    """Readings by half hour and modality."""
    grouped: dict[tuple[float, str], list[LabrumReading]] = {}
    for item in readings:
        middle = wrap_hour(BIN_HOURS * floor(item.hour / BIN_HOURS + 0.5))
        grouped.setdefault((middle, str(item.seen_by)), []).append(item)
    return {key: _as_one(key[0], items) for key, items in grouped.items()}


def _as_one(middle: float, items: Sequence[LabrumReading]) -> _BinReading:
    """The mean of one modality's readings, with their number and range in words."""
    widths = [item.width_mm for item in items if item.width_mm is not None]
    thicknesses = [item.thickness_mm for item in items if item.thickness_mm is not None]
    readers = ", ".join(dict.fromkeys(item.reader for item in items if item.reader))
    parts = [
        _value_words(values, word)
        for values, word in ((widths, "wide"), (thicknesses, "thick"))
        if values
    ]
    by = f" (read by {readers})" if readers else ""
    return _BinReading(
        sector=Sector(from_hour=middle - BIN_HOURS / 2, to_hour=middle + BIN_HOURS / 2),
        seen_by=items[0].seen_by,
        width_mm=_mean(widths),
        thickness_mm=_mean(thicknesses),
        words=f"{' and '.join(parts)} on {items[0].seen_by}{by}",
    )


def _mean(values: Sequence[float]) -> float | None:
    """The mean, or None of nothing."""
    return sum(values) / len(values) if values else None


def _value_words(values: Sequence[float], word: str) -> str:
    """4.0 mm wide; of several: 4.5 mm wide (mean of 2, 4.0 to 5.0 mm)."""
    mean = sum(values) / len(values)
    if len(values) == 1:
        return f"{mean:.1f} mm {word}"
    spread = f"mean of {len(values)}, {min(values):.1f} to {max(values):.1f} mm"
    return f"{mean:.1f} mm {word} ({spread})"


def _chosen(of_bin: Sequence[_BinReading], readings: LabrumReadings) -> _BinReading:
    """The modality the map takes in a half hour."""
    if len(of_bin) == 1:
        return of_bin[0]
    for item in of_bin:
        if item.seen_by is readings.preferred:
            return item
    both = " and ".join(item.words for item in of_bin)
    raise CaseRefusal(
        f"two modalities read {of_bin[0].sector} and nothing says which the map takes ({both})",
        f"{readings.where}, map",
        f'Write map = "{of_bin[0].seen_by}" or another; the others are kept beside it',
    )


def _pieces(sector: Sector, kept: Sequence[LabrumSector]) -> list[Sector]:
    """A half hour cut where sectors of the case begin and end."""
    pieces = [sector]
    for item in kept:
        for hour in (item.sector.from_hour, item.sector.to_hour):
            pieces = [part for piece in pieces for part in piece.split_at(hour)]
    return pieces


def _shares(sector: Sector, piece: Sector) -> bool:
    """Whether a sector holds more of a piece than its end."""
    return sector.overlap_hours(piece) > _TOUCH


def _is_open_to(holder: LabrumSector, seen_by: SeenBy) -> bool:
    """Whether a sector of the case is of this modality and without width and thickness."""
    return holder.seen_by is seen_by and holder.width_mm is None and holder.thickness_mm is None


def _filled(holder: LabrumSector, piece: Sector, reading: _BinReading) -> list[LabrumSector]:
    """A sector of the case cut at a piece, which takes the reading."""
    parts = [holder.sector]
    for hour in (piece.from_hour, piece.to_hour):
        parts = [part for whole in parts for part in _cut(whole, hour)]
    return [
        replace(
            holder,
            sector=part,
            width_mm=reading.width_mm if piece.contains(part.middle_hour) else None,
            thickness_mm=reading.thickness_mm if piece.contains(part.middle_hour) else None,
        )
        for part in parts
    ]


def _cut(whole: Sector, hour: float) -> tuple[Sector, ...]:
    """Cut a sector; the whole ring is opened at the hour."""
    if whole.is_whole_ring and abs(whole.from_hour - hour) > _TOUCH:
        return (
            Sector(from_hour=whole.from_hour, to_hour=hour),
            Sector(from_hour=hour, to_hour=whole.from_hour),
        )
    return whole.split_at(hour)


def _as_sector(reading: _BinReading, piece: Sector, readings: LabrumReadings) -> LabrumSector:
    """A sector of what was read, and of nothing else."""
    return LabrumSector(
        sector=piece,
        width_mm=reading.width_mm,
        thickness_mm=reading.thickness_mm,
        seen_by=reading.seen_by,
        reference=readings.reference,
    )


def _case_words(holder: LabrumSector) -> str:
    """Width and thickness of a sector of the case, with its modality."""
    parts = []
    if holder.width_mm is not None:
        parts.append(f"{holder.width_mm:.1f} mm wide")
    if holder.thickness_mm is not None:
        parts.append(f"{holder.thickness_mm:.1f} mm thick")
    said = " and ".join(parts) or "nothing of its width or thickness"
    seen = f"seen by {holder.seen_by}" if holder.seen_by else "modality not stated"
    return f"{said} ({seen})"
