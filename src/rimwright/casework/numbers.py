"""Numbers, points and curves as JSON writes them: NaN becomes null, minus zero becomes zero."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from rimwright.anatomy import Floats, Vector

DOCUMENT_DECIMALS = 9
"""Digits kept after the point: 1e-9 mm and degrees, far below any meaning, so that documents of
mirrored inputs still agree to 1e-6."""


def json_number(value: float | None) -> float | None:
    """A number, rounded; None where it is missing or not finite."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), DOCUMENT_DECIMALS) + 0.0


def json_vector(value: Vector | None) -> list[float] | None:
    """A point or direction as three numbers; None where it is missing or not finite."""
    if value is None or not np.isfinite(value).all():
        return None
    return [round(float(number), DOCUMENT_DECIMALS) + 0.0 for number in value]


def json_curve(values: Floats) -> list[float | None] | None:
    """A curve with null where it has no value; None where it has none at all."""
    numbers = [json_number(float(number)) for number in values]
    return numbers if any(number is not None for number in numbers) else None


def json_points(points: Iterable[Vector]) -> list[list[float] | None]:
    """Points with null where one is missing."""
    return [json_vector(point) for point in points]
