"""Turns what the validator found wrong in a document into one line a person can act on."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

from rimwright.casework.case_fields import Need
from rimwright.casework.upgrades import shown
from rimwright.errors import CaseRefusal

_ORDINALS = (
    "first",
    "second",
    "third",
    "fourth",
    "fifth",
    "sixth",
    "seventh",
    "eighth",
    "ninth",
    "tenth",
    "eleventh",
    "twelfth",
)

_LONGEST_KEY = 40
_ALIKE = 0.75
"""Likeness (0 to 1) from which a key of another table is taken for the one that was meant."""


def ordinal(index: int) -> str:
    """The word for a position counted from 0: 'third' for 2, '13th' for 12."""
    if index < len(_ORDINALS):
        return _ORDINALS[index]
    number = index + 1
    ending = {1: "st", 2: "nd", 3: "rd"}.get(number % 10, "th")
    return f"{number}{'th' if number % 100 in (11, 12, 13) else ending}"


def place(where: str, location: Sequence[str | int]) -> str:
    """
    Where a field stands, as the reader of the file would say it.

    Parameters
    ----------
    where
        Name of the file.
    location
        Keys and positions (from 0) from the top of the document.

    Returns
    -------
    str
        e.g. 'case.toml, third [[labrum]], to_hour'.
    """
    parts = [where]
    steps = list(location)
    while steps:
        step = steps.pop(0)
        top = len(parts) == 1
        if steps and isinstance(steps[0], int):
            position = ordinal(steps.pop(0))  # type: ignore[arg-type]
            parts.append(f"{position} [[{step}]]" if top else f"{position} of {step}")
        elif top and steps:
            parts.append(f"[{step}]")
        else:
            parts.append(_printable(str(step)))
    return ", ".join(parts)


def refuse_first(error: ValidationError, model: type[BaseModel], *, where: str) -> CaseRefusal:
    """
    The first fault of a validation as a refusal, with the number of the others.

    Parameters
    ----------
    error
        What pydantic raised.
    model
        The model that was validated.
    where
        Name of the file.

    Returns
    -------
    CaseRefusal
        To be raised by the caller.
    """
    faults = error.errors(include_url=False)
    # An unknown key often explains a missing one (a slip of the pen), so it is told first.
    faults.sort(key=lambda fault: fault["type"] != "extra_forbidden")
    fault = faults[0]
    location = tuple(step for step in fault["loc"])
    wrong, remedy = _words(fault, model, location)
    others = len(faults) - 1
    if others:
        remedy = f"{remedy}. {others} more after this one"
    return CaseRefusal(wrong, place(where, location), remedy)


def _words(
    fault: Mapping[str, Any], model: type[BaseModel], location: tuple[str | int, ...]
) -> tuple[str, str]:
    """What is wrong and what to do, for one fault."""
    kind = fault["type"]
    if kind == "extra_forbidden":
        return _unknown_key(model, location)
    got = shown(fault.get("input"))
    need = _need_of(model, location)
    words = _allowed_words(model, location)
    if kind == "missing":
        return f"missing (need {_wanted(need, words)})", "Add it; it is required"
    if words:
        # A guess at the side would be the worst of all help: only a clear slip is named.
        near = difflib.get_close_matches(str(fault.get("input"))[:_LONGEST_KEY], words, 1, _ALIKE)
        remedy = f'Write "{near[0]}"' if near else "Write one of these"
        if not _is_required(model, location):
            remedy += ", or leave it out if it is unknown"
        return f"not a word known here (got {got}, need {' or '.join(words)})", remedy
    if kind in ("too_short", "too_long"):
        return _length_words(fault)
    if kind in ("string_too_short", "string_too_long"):
        limit = fault.get("ctx", {}).get("max_length", 1)
        bound = "at least one letter" if kind.endswith("short") else f"{limit} letters at most"
        return f"text of the wrong length (got {got}, need {bound})", "Change the text"
    if need is not None:
        wrong = need.wrong if kind not in _TYPE_FAULTS else _TYPE_FAULTS[kind][0]
        return f"{wrong} (got {got}, need {need.need})", need.remedy
    if kind in _TYPE_FAULTS:
        wrong, wanted = _TYPE_FAULTS[kind]
        return f"{wrong} (got {got}, need {wanted})", "Correct the value"
    return f"not understood (got {got})", "See `rimwright schema case` for what may stand here"


_TYPE_FAULTS = {
    "float_type": ("not a number", "a number"),
    "finite_number": ("not a finite number", "a finite number"),
    "int_type": ("not a whole number", "a whole number"),
    "int_from_float": ("not a whole number", "a whole number"),
    "bool_type": ("neither true nor false", "true or false, without quotes"),
    "string_type": ("not text", "text in quotes"),
    "list_type": ("not a list", "a list"),
    "date_type": ("not a date", "year-month-day"),
    "date_from_datetime_inexact": ("not a date alone", "year-month-day"),
    "model_type": ("not a table", "a table"),
    "model_attributes_type": ("not a table", "a table"),
    "dict_type": ("not a table", "a table"),
}


def _length_words(fault: Mapping[str, Any]) -> tuple[str, str]:
    """Words for a list of the wrong length."""
    limits = fault.get("ctx", {})
    if limits.get("max_length", limits.get("min_length")) == 3:
        return (
            f"not a point or direction (got {limits.get('actual_length')} numbers, need 3)",
            "Write [x, y, z]",
        )
    return (
        f"too many entries (got {limits.get('actual_length')}, "
        f"need {limits.get('max_length')} at most)",
        "Keep only the ones that matter",
    )


def _unknown_key(model: type[BaseModel], location: tuple[str | int, ...]) -> tuple[str, str]:
    """Words for a key nobody knows: the nearest one here, or in the table it belongs in."""
    key = str(location[-1])[:_LONGEST_KEY]
    table = _model_at(model, location[:-1]) or model
    here = _nearest(key, _keys(table))
    elsewhere = [
        (_likeness(key, known), known, name)
        for name, other in _tables(model)
        if other is not table
        for known in _keys(other)
    ]
    likeness, known, home = max(elsewhere, key=lambda found: found[0], default=(0.0, "", ""))
    if likeness > max(_likeness(key, here), _ALIKE):
        return f"unknown key here (nearest known: {known} in {home})", f"Move it to {home}"
    return f"unknown key (nearest known: {here})", "Correct the name, or leave the line out"


def _likeness(first: str, second: str) -> float:
    """How alike two words are, 0 to 1."""
    return difflib.SequenceMatcher(None, first, second).ratio()


def _tables(model: type[BaseModel]) -> Iterator[tuple[str, type[BaseModel]]]:
    """Every table below the top of a document, with the words for it."""
    for name in _keys(model):
        for kind in _models_in(_field(model, name).annotation):
            is_list = "list" in str(_field(model, name).annotation)
            yield (f"[[{name}]]" if is_list else f"[{name}]"), kind


def _keys(model: type[BaseModel]) -> list[str]:
    """The keys of a table as they are written."""
    return [field.alias or name for name, field in model.model_fields.items()]


def _field(model: type[BaseModel], key: str) -> Any:
    """The field a written key stands for."""
    for name, field in model.model_fields.items():
        if (field.alias or name) == key:
            return field
    return None


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    """The models named anywhere inside a type."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    return [found for part in get_args(annotation) for found in _models_in(part)]


def _model_at(model: type[BaseModel], location: Sequence[str | int]) -> type[BaseModel] | None:
    """The model of the table a location leads to."""
    for step in location:
        if isinstance(step, int):
            continue
        field = _field(model, step)
        inside = _models_in(field.annotation) if field else []
        if not inside:
            return None
        model = inside[0]
    return model


def _need_of(model: type[BaseModel], location: tuple[str | int, ...]) -> Need | None:
    """The words that stand beside the field a location leads to."""
    names = [index for index, step in enumerate(location) if isinstance(step, str)]
    if not names:
        return None
    table = _model_at(model, location[: names[-1]])
    field = _field(table, str(location[names[-1]])) if table else None
    if field is None:
        return None
    for item in (*field.metadata, *_metadata_in(field.annotation)):
        if isinstance(item, Need):
            return item
    return None


def _metadata_in(annotation: Any) -> list[Any]:
    """Metadata attached anywhere inside a type."""
    found = list(getattr(annotation, "__metadata__", ()))
    for part in get_args(annotation):
        found.extend(_metadata_in(part))
    return found


def _allowed_words(model: type[BaseModel], location: tuple[str | int, ...]) -> list[str]:
    """The words a field may hold, if it holds words."""
    table = _model_at(model, location[:-1]) if location else None
    field = _field(table, str(location[-1])) if table else None
    if field is None:
        return []
    words: list[str] = []
    for part in (field.annotation, *get_args(field.annotation)):
        if isinstance(part, type) and hasattr(part, "__members__"):
            words.extend(str(member.value) for member in part)  # type: ignore[attr-defined]
    return words


def _is_required(model: type[BaseModel], location: tuple[str | int, ...]) -> bool:
    """Whether a field must be there."""
    table = _model_at(model, location[:-1])
    field = _field(table, str(location[-1])) if table else None
    return bool(field is not None and field.is_required())


def _wanted(need: Need | None, words: Sequence[str]) -> str:
    """What a missing field should hold."""
    if words:
        return " or ".join(words)
    return need.need if need else "it here"


def _nearest(key: str, known: Sequence[str]) -> str:
    """The known word most like the one written."""
    return difflib.get_close_matches(key[:_LONGEST_KEY], known, n=1, cutoff=0.0)[0]


def _printable(text: str) -> str:
    """A foreign key as it may stand in a message."""
    return shown(text, limit=_LONGEST_KEY + 2).strip('"')
