"""The demo case: sound bones, a case that says all it should, and no real person in it."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import TriangleMesh
from rimwright.casework import read_case, write_demo_case
from rimwright.casework.demo_case import STL_STEP_MM, binary_stl
from rimwright.imaging import read_bodies


def test_bones_are_read_without_a_doubt(tmp_path):
    """Two hip bones and a femur, closed, with nothing to mend."""
    case = read_case(write_demo_case(tmp_path))
    pelvis = read_bodies(case.sources.pelvis, axes=case.sources.axes)
    femur = read_bodies(case.sources.femur, axes=case.sources.axes)
    assert (len(pelvis.bodies), len(femur.bodies)) == (2, 1)
    assert pelvis.warnings == ()
    assert femur.warnings == ()


def test_the_case_is_the_invented_revision(tmp_path):
    """A left hip after an arthroscopy, remnant 2.5 mm from 11:00 to 2:30, one old anchor."""
    case = read_case(write_demo_case(tmp_path))
    assert (case.side, case.history.previous_hip_arthroscopy) == ("left", 1)
    lesion = case.labrum.at(0.0)
    assert (lesion.sector.from_hour, lesion.sector.to_hour) == (11.0, 2.5)
    assert (lesion.width_mm, lesion.tear) == (2.5, "unstable")
    assert len(case.old_anchors) == 1


def test_stl_drops_what_loses_its_area():
    """A sliver narrower than the step is left out; the others keep their corners."""
    vertices = np.array([[0, 0, 0], [10, 0, 0], [0, 10, 0], [0, 10, 0.001]])
    mesh = TriangleMesh(vertices_mm=vertices, triangles=np.array([[0, 1, 2], [0, 2, 3]]))
    content = binary_stl([mesh])
    assert len(content) == 84 + 50
    corners = np.frombuffer(content[84 + 12 : 84 + 48], dtype="<f4").reshape(3, 3)
    assert np.abs(corners - vertices[:3]).max() <= STL_STEP_MM
