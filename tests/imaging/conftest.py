"""What the tests of the readers share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from rimwright.imaging import BodyFile, read_bodies
from rimwright.units import LengthUnit

Read = Callable[..., BodyFile]


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Read bytes as a file of a suffix, in mm and LPS unless told otherwise."""

    def read_data(
        data: bytes,
        suffix: str = ".stl",
        *,
        unit: LengthUnit | None = LengthUnit.MM,
        axes: str | None = "LPS",
    ) -> BodyFile:
        path = tmp_path / f"bone{suffix}"
        path.write_bytes(data)
        return read_bodies(path, unit=unit, axes=axes)

    return read_data
