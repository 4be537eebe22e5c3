"""What property tests draw from: hours, arcs, points and turns."""

from __future__ import annotations

import numpy as np
from hypothesis import strategies as st

from rimwright.anatomy import Sector

HOURS = st.floats(0.0, 12.0, exclude_max=True)
ANY_HOURS = st.floats(-60.0, 60.0)
SECTORS = st.builds(Sector, from_hour=HOURS, to_hour=HOURS)
COORDINATES = st.floats(-500.0, 500.0)
POINTS = st.tuples(COORDINATES, COORDINATES, COORDINATES).map(np.array)


@st.composite
def rotations(draw: st.DrawFn) -> np.ndarray:
    """Any proper rotation, (3, 3), from a quaternion that is not near zero."""
    part = st.floats(-1.0, 1.0)
    quaternion = np.array([draw(part) for _ in range(4)])
    length = np.linalg.norm(quaternion)
    if length < 0.1:
        return np.eye(3)
    w, x, y, z = quaternion / length
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
            [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
            [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
        ]
    )
