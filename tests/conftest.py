"""What every test shares: fixed seeds, quiet threads, and the outside data."""

from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

# Before numpy is imported: two workers share two cores.
os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# The same examples in every run: a failure seen once is seen again. No deadline: shared machines.
settings.register_profile(
    "fixed", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("fixed")

REPO = Path(__file__).resolve().parents[1]
KINDS = {"unit", "oracle", "property", "fault"}


@pytest.fixture(scope="session")
def repo_root() -> Path:
    """Folder of the project."""
    return REPO


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Folder of real bones beside the project; tests that need it skip where it is absent."""
    folder = REPO.parent / "shared" / "data"
    if not folder.is_dir():
        pytest.skip("real bones not at hand: no ../shared/data beside the project")
    return folder


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """A test without a kind is a unit test."""
    for item in items:
        if not KINDS & {marker.name for marker in item.iter_markers()}:
            item.add_marker(pytest.mark.unit)
