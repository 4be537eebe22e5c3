"""The joint side of the hip bone: all inside the rim, nothing outside it."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Side
from rimwright.morphology import measure_hip
from rimwright.phantom import HipShape, make_hip

SHAPE = HipShape(with_other_hip_bone=False)


def test_joint_side_is_split_at_the_edge() -> None:
    """Triangles on the lunate sphere are joint side; outer wall just past the edge is not."""
    hip = make_hip(SHAPE)
    measured = measure_hip(side=Side.LEFT, hip_bone=hip.hip_bone)
    assert measured.faces is not None
    assert measured.rim is not None
    assert measured.socket is not None
    is_joint = np.zeros(hip.hip_bone.n_triangles, dtype=bool)
    is_joint[measured.faces.joint] = True
    middles, normals = hip.hip_bone.centroids_mm(), hip.hip_bone.normals()
    relative = middles - measured.socket.centre_mm
    distance = np.linalg.norm(relative, axis=1)
    inward = -np.einsum("ij,ij->i", relative, normals) / distance
    on_sphere = (np.abs(distance - measured.socket.radius_mm) < 0.05) & (inward > 0.99)
    # beside the notch's wall a column of slivers may fall to either side
    hours = measured.rim.hours_of(middles)
    ends = (measured.rim.notch_from_hour, measured.rim.notch_to_hour)
    on_sphere &= np.all([np.abs(hours - end) > 0.1 for end in ends if end is not None], axis=0)
    assert on_sphere.sum() > 1000
    assert is_joint[on_sphere].all()
    # the outer side: faces away from the centre, whatever its place
    facing_away = (inward < -0.3) & (distance < measured.socket.radius_mm + 25.0)
    assert facing_away.sum() > 500
    assert not is_joint[facing_away].any()


def test_lunate_is_a_horseshoe_of_plausible_area() -> None:
    """Lunate triangles lie on the sphere, leave out the fossa, and cover most of the joint side."""
    hip = make_hip(SHAPE)
    measured = measure_hip(side=Side.LEFT, hip_bone=hip.hip_bone)
    assert measured.faces is not None
    assert measured.rim is not None
    lunate = measured.faces.lunate
    middles = hip.hip_bone.centroids_mm()[lunate]
    hours = measured.rim.hours_of(middles)
    in_notch = np.array([measured.rim.is_in_notch(hour) for hour in hours])
    assert in_notch.mean() < 0.01
    assert set(lunate) <= set(measured.faces.joint)
