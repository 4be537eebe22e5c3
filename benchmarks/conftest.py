"""What every benchmark shares: the real bones where they are at hand."""

from __future__ import annotations

from pathlib import Path

import pytest

REPO = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Folder of real bones beside the project; a benchmark that needs it skips where absent."""
    folder = REPO.parent / "shared" / "data"
    if not folder.is_dir():
        pytest.skip("real bones not at hand: no ../shared/data beside the project")
    return folder
