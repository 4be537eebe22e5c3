"""A clinic's own file: read, checked name by name, refused where it does not fit."""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import NoReturn

from rimwright.errors import CaseRefusal, FileRefusal
from rimwright.evidence.setting import Override, Setting

OVERRIDE_SCHEMA = "rimwright.settings/1"
_ENTRY_KEYS = ("value", "unit", "note")


def read_overrides(path: Path, settings: Mapping[str, Setting]) -> tuple[Override, ...]:
    """
    Read a clinic's file against the known settings.

    Parameters
    ----------
    path
        TOML: a table per subject, each key a number, or a table of value, unit and note.
    settings
        The shipped settings by name.

    Returns
    -------
    tuple of Override
        In the order of the file; a value equal to the default is listed too.

    Raises
    ------
    FileRefusal
        The file is missing, is not text or is not TOML.
    CaseRefusal
        A name is unknown, or a value has the wrong type, unit or size.
    """
    document = _read_toml(path)
    schema = document.pop("schema", OVERRIDE_SCHEMA)
    if schema != OVERRIDE_SCHEMA:
        raise CaseRefusal(
            f"not a version this program reads (got {schema!r}, need {OVERRIDE_SCHEMA!r})",
            f"{path.name}, schema",
            f"Write schema = {OVERRIDE_SCHEMA!r}.",
        )
    found = []
    for subject, entries in document.items():
        if not isinstance(entries, dict):
            _refuse_unknown(subject, settings, path)
        for key, entry in entries.items():
            name = f"{subject}.{key}"
            if name not in settings:
                _refuse_unknown(name, settings, path)
            found.append(_override(settings[name], entry, path))
    return tuple(found)


def check_value(setting: Setting, value: object, *, where: str) -> float:
    """A number that a setting may take; refuses wrong types and implausible sizes."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise CaseRefusal(
            f"not a number (got {value!r}, need {setting.low:g} to {setting.high:g} "
            f"{setting.unit})",
            where,
            "Write a plain number.",
        )
    number = float(value)
    if not math.isfinite(number) or not setting.low <= number <= setting.high:
        raise CaseRefusal(
            f"out of its plausible range (got {number:g}, need {setting.low:g} to "
            f"{setting.high:g} {setting.unit})",
            where,
            "Check the unit and the number.",
        )
    if setting.is_count and number != int(number):
        raise CaseRefusal(
            f"not a whole number (got {number:g}, need one of {setting.low:g} to {setting.high:g})",
            where,
            "Write a whole number.",
        )
    return number


def _read_toml(path: Path) -> dict[str, object]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise FileRefusal(
            f"cannot be read ({error.strerror})", str(path), "Check the path of the settings file."
        ) from None
    except UnicodeDecodeError:
        raise FileRefusal(
            "not a text file in UTF-8", str(path), "Save the settings file as UTF-8 text."
        ) from None
    except tomllib.TOMLDecodeError as error:
        raise FileRefusal(
            f"not TOML ({error})", str(path), "Correct the line that is named."
        ) from None


def _override(setting: Setting, entry: object, path: Path) -> Override:
    where = f"{path.name}, {setting.name}"
    note = ""
    value = entry
    if isinstance(entry, dict):
        for key in entry:
            if key not in _ENTRY_KEYS:
                raise CaseRefusal(
                    f"unknown key {key!r} (need {', '.join(_ENTRY_KEYS)})",
                    where,
                    _nearest(key, _ENTRY_KEYS),
                )
        if "value" not in entry:
            raise CaseRefusal("has no value", where, "Write value = a number.")
        value = entry["value"]
        unit = entry.get("unit", setting.unit)
        if unit != setting.unit:
            raise CaseRefusal(
                f"wrong unit (got {unit!r}, need {setting.unit!r})",
                where,
                f"Give the number in {setting.unit}.",
            )
        note = str(entry.get("note", ""))
    number = check_value(setting, value, where=where)
    return Override(
        name=setting.name,
        unit=setting.unit,
        default=setting.value,
        value=number,
        path=path,
        note=note,
    )


def _refuse_unknown(name: str, settings: Mapping[str, Setting], path: Path) -> NoReturn:
    raise CaseRefusal(
        f"unknown setting {name!r}",
        f"{path.name}, {name}",
        _nearest(name, tuple(settings)),
    )


def _nearest(name: str, known: tuple[str, ...]) -> str:
    """A remedy that names the nearest known name."""
    close = difflib.get_close_matches(name, known, n=1, cutoff=0.0)
    return f"The nearest known name is {close[0]!r}."
