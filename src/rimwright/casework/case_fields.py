"""What every field of the case file is made of: bounds, the words of their refusals, strictness.

The bounds here are slips-of-the-pen bounds (a width in metres, an age in months); they carry no
clinical meaning, which is the business of the evidence tables.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

MAX_TEXT_LENGTH = 200
MAX_PATH_LENGTH = 1024
MAX_LIST_LENGTH = 200


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """
    What a field needs, in the words its refusal uses.

    Parameters
    ----------
    wrong, need, remedy
        The three parts of the sentence.
    """

    wrong: str
    need: str
    remedy: str


def bounded(name: str, low: float, high: float, *, remedy: str, above: bool = False) -> Any:
    """Constraint and words of a number between two bounds."""
    sign = "<" if above else "<="
    need = Need(wrong="outside its range", need=f"{low:g} {sign} {name} <= {high:g}", remedy=remedy)
    bound = Field(gt=low, le=high) if above else Field(ge=low, le=high)
    return bound, need


def length_above_zero(name: str, high: float) -> Any:
    """A length in mm above zero."""
    return bounded(name, 0.0, high, above=True, remedy="Lengths are in mm")


HOUR_BOUND = Field(ge=0.0, le=12.0)
HOUR_NEED = Need(
    wrong="not an hour of the clock",
    need="0 <= hour < 12",
    remedy="Write 1.5 for half past one",
)
WORD = Field(strict=False)
TEXT = Field(min_length=1, max_length=MAX_TEXT_LENGTH)
PATH = Field(min_length=1, max_length=MAX_PATH_LENGTH)

Coordinate = Annotated[
    float,
    *bounded("coordinate", -5000.0, 5000.0, remedy="Give image coordinates in LPS, mm"),
]
PointModel = Annotated[list[Coordinate], Field(min_length=3, max_length=3)]


class Strict(BaseModel):
    """No unknown keys, no silent conversion, no NaN."""

    model_config = ConfigDict(extra="forbid", strict=True, allow_inf_nan=False, frozen=True)


def _day(value: object) -> object:
    """A date written as text, as JSON has it; anything else is left to be judged."""
    if isinstance(value, str):
        try:
            return date.fromisoformat(value)
        except ValueError:
            return value
    return value


DAY_NEED = Need(wrong="not a date", need="year-month-day", remedy="Write 2026-03-02")
Day = Annotated[date, BeforeValidator(_day), DAY_NEED]
"""A day of the calendar: a TOML date, or text as JSON has it."""
