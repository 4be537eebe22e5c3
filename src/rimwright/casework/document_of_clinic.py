"""The clinic's record and what earlier surgery left, in the plan's document."""

from __future__ import annotations

from dataclasses import fields, is_dataclass
from datetime import date
from typing import Any

from rimwright.anatomy import ClinicRecord, RevisionFinding
from rimwright.casework.numbers import json_number


def clinic_document(record: ClinicRecord | None) -> dict[str, Any] | None:
    """
    The record of one hip.

    Parameters
    ----------
    record
        None where the case gives none.

    Returns
    -------
    dict or None
        As the record is built: dates year-month-day, words as they are, None for unknown.
    """
    plain: dict[str, Any] | None = None if record is None else _plain(record)
    return plain


def revision_document(item: RevisionFinding) -> dict[str, Any]:
    """
    One finding of earlier surgery.

    Parameters
    ----------
    item
        With or without a place.

    Returns
    -------
    dict
        By hour or from hour to hour.
    """
    return {
        "kind": str(item.kind),
        "hour": json_number(item.hour),
        "from_hour": None if item.sector is None else json_number(item.sector.from_hour),
        "to_hour": None if item.sector is None else json_number(item.sector.to_hour),
        "size_mm": json_number(item.size_mm),
        "depth_mm": json_number(item.depth_mm),
        "seen_by": None if item.seen_by is None else str(item.seen_by),
        "note": item.note,
    }


def _plain(value: object) -> Any:
    """A record as plain data, field by field."""
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, (list, tuple)):
        return [_plain(item) for item in value]
    if isinstance(value, date):
        return value.isoformat()
    if value is None or isinstance(value, bool):
        return value
    if isinstance(value, (int, float)):
        return json_number(value)
    return str(value)
