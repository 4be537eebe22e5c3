"""Array types and the checks that every record makes of its arrays."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
"""Any float64 array."""
Points = NDArray[np.float64]
"""(n, 3), mm, image frame unless named otherwise."""
Vector = NDArray[np.float64]
"""(3,), a point in mm or a unit direction."""
Mask = NDArray[np.bool_]
"""Any bool array."""
Ints = NDArray[np.int64]
"""Any int64 array."""


def frozen_floats(
    value: ArrayLike, *, shape: tuple[int | None, ...], name: str, allow_nan: bool = False
) -> Floats:
    """Copy to read-only float64 after checking shape (None = any) and finiteness."""
    array = np.array(value, dtype=np.float64)
    if array.ndim != len(shape) or any(
        want is not None and want != got for want, got in zip(shape, array.shape, strict=True)
    ):
        raise ValueError(f"{name}: shape {array.shape}, need {shape}")
    bad = np.isinf(array).any() if allow_nan else not np.isfinite(array).all()
    if bad:
        raise ValueError(f"{name}: holds values that are not finite")
    array.flags.writeable = False
    return array


def frozen_ints(value: ArrayLike, *, shape: tuple[int | None, ...], name: str) -> Ints:
    """Copy to read-only int64 after checking shape (None = any)."""
    array = np.array(value, dtype=np.int64)
    if array.ndim != len(shape) or any(
        want is not None and want != got for want, got in zip(shape, array.shape, strict=True)
    ):
        raise ValueError(f"{name}: shape {array.shape}, need {shape}")
    array.flags.writeable = False
    return array


def unit_vector(value: ArrayLike, *, name: str = "direction") -> Vector:
    """Scale a 3-vector to length one; a zero vector is an error."""
    vector = frozen_floats(value, shape=(3,), name=name)
    length = float(np.linalg.norm(vector))
    if length < 1e-12:
        raise ValueError(f"{name}: has no length")
    scaled = vector / length
    scaled.flags.writeable = False
    return scaled
