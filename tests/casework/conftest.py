"""The demo case, made and measured once for every test of casework."""

from __future__ import annotations

import pytest

from rimwright.casework import prepare_hip, read_case, write_demo_case


@pytest.fixture(scope="session")
def demo_path(tmp_path_factory):
    """The demo case on disk."""
    return write_demo_case(tmp_path_factory.mktemp("demo"))


@pytest.fixture(scope="session")
def demo(demo_path):
    """The demo case, read."""
    return read_case(demo_path)


@pytest.fixture(scope="session")
def stored(demo):
    """The demo hip, measured."""
    return prepare_hip(demo)
