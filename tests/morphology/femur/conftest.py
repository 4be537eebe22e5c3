"""Bones that more than one test of the femur looks at."""

from __future__ import annotations

from pathlib import Path

import pytest

from morphology.femur.bones import femur_of
from rimwright.anatomy import TriangleMesh
from rimwright.imaging import read_bodies
from rimwright.phantom import HipShape


@pytest.fixture(scope="session")
def plain_femur() -> TriangleMesh:
    """The femur of the plain left hip."""
    return femur_of(HipShape())[0]


@pytest.fixture(scope="session")
def real_femur(shared_data: Path) -> TriangleMesh:
    """A real left femur, 20,308 triangles."""
    return read_bodies(shared_data / "seated-left-hip" / "femur.stl", axes="LPS").bodies[0]


@pytest.fixture(scope="session")
def real_hip_bone(shared_data: Path) -> TriangleMesh:
    """The hip bone beside that femur."""
    return read_bodies(shared_data / "seated-left-hip" / "coxae.stl", axes="LPS").bodies[0]
