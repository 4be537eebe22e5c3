"""What a scan's field and grid allow: a hip cut off, slices too thick, landmarks at the edge."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Vector
from rimwright.errors import BoneRefusal
from rimwright.morphology.scan.oriented import OrientedGrid

HEAD_MARGIN_MM = 4.0
"""A head must lie inside the field by this much, mm."""
SOCKET_MARGIN_MM = 14.0
"""Less than this round the head cuts the rim or its outer side, mm."""
THICK_MM = 2.0
"""Voxels longer than this in any direction give angles to about 3 degrees (measured on a made
scan of a real hip at 3 mm)."""
MOST_MM = 4.5
"""Voxels longer than this show no joint, mm."""
EDGE_MM = 8.0
"""A landmark this near the edge of the field may be cut bone, mm."""


def margin_mm(scan: OrientedGrid, centre_mm: Vector) -> float:
    """Distance of a point from the nearest face of the field, mm; negative outside."""
    index = scan.to_index(centre_mm)
    inverse = scan.to_index_matrix
    # distance between the planes of voxels along each axis
    height = 1.0 / np.linalg.norm(inverse, axis=1)
    low = index * height
    high = (np.array(scan.values.shape) - 1.0 - index) * height
    return float(min(low.min(), high.min()))


def check_grid(scan: OrientedGrid) -> None:
    """
    Refuse a scan too coarse for a joint.

    Parameters
    ----------
    scan
        The scan.

    Raises
    ------
    BoneRefusal
        Its voxels are longer than MOST_MM, or it is thinner than a head.
    """
    longest = float(scan.voxel_mm.max())
    if longest > MOST_MM:
        raise BoneRefusal(
            f"the voxels are too long to show a joint (got {longest:.1f} mm, need at most "
            f"{MOST_MM} mm)",
            "scan",
            "Have thinner slices reconstructed from the raw data",
        )
    extent = float((np.array(scan.values.shape) * scan.spacing_mm).min())
    if extent < 40.0:
        raise BoneRefusal(
            f"the field is too small for a hip (got {extent:.0f} mm, need at least 40 mm)",
            "scan",
            "Give the whole series",
        )


def check_field(scan: OrientedGrid, centre_mm: Vector, radius_mm: float, *, side: str) -> list[str]:
    """
    Refuse a hip that the field cuts; say what it lacks round it.

    Parameters
    ----------
    scan, centre_mm, radius_mm
        The scan and the head.
    side
        For the words.

    Returns
    -------
    list of str
        Doubts.

    Raises
    ------
    BoneRefusal
        The head is cut.
    """
    room = margin_mm(scan, centre_mm) - radius_mm
    if room < HEAD_MARGIN_MM:
        raise BoneRefusal(
            f"the {side} hip is cut by the field (the head's sphere ends {room:.0f} mm inside it, "
            f"need {HEAD_MARGIN_MM:.0f} mm)",
            "scan",
            "Give a series whose field holds the whole hip",
        )
    if room < SOCKET_MARGIN_MM:
        return [
            f"the field ends {room:.0f} mm beyond the head: the rim or the bone behind it may be "
            "cut"
        ]
    return []


def is_at_edge(scan: OrientedGrid, point_mm: Vector) -> bool:
    """Whether a landmark may be where the field cuts bone."""
    return margin_mm(scan, point_mm) < EDGE_MM
