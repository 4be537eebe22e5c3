"""Density of the bone along a drill, in the Hounsfield units of the scan it was read in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from rimwright.anatomy import Anchor, Points, Vector
from rimwright.fixation.mesh_field import MeshBoneField

FROM_DEPTH_MM = 4.0
"""Depth below the entry from which density is read, mm: before it a drill passes the outer wall,
which tells nothing of the bone that holds the anchor. The default of the setting that says from
where the margin to cortex counts; fixed here, so that readings of two plans compare."""
STEP_MM = 0.5
"""Distance of the stations along the drill, mm: under the spacing of any scan in use."""
RING_FRACTION = 0.7
"""Radius of the ring of points at each station, share of the drill's: half of its cross-section
lies within (0.7² is a half)."""
RING_POINTS = 6


@dataclass(frozen=True, slots=True, kw_only=True)
class DrillDensity:
    """
    Density along one drill.

    Parameters
    ----------
    mean_hu
        Mean over the drill from 4 mm below the entry to the tip, HU.
    least_hu
        Least of the cross-sections' means, HU: where the drill passes the softest bone or a cyst.
    """

    mean_hu: float
    least_hu: float


def drill_density(
    field: MeshBoneField,
    *,
    entry_mm: Vector,
    direction: Vector,
    depth_mm: float,
    drill_mm: float,
) -> DrillDensity | None:
    """
    Read the density along a drill.

    Parameters
    ----------
    field
        The bone; it may know no density.
    entry_mm, direction
        (3,) mm and unit into bone, image frame.
    depth_mm, drill_mm
        From the entry; drill diameter.

    Returns
    -------
    DrillDensity or None
        None where no density is known, the drill ends above where reading begins, or a part of it
        lies outside the block: a mean over the rest would be another drill's.
    """
    if field.density is None or depth_mm <= FROM_DEPTH_MM:
        return None
    points = _points(entry_mm, direction, depth_mm=depth_mm, drill_mm=drill_mm)
    sections = field.density_at(points.reshape(-1, 3)).reshape(points.shape[:2]).mean(axis=1)
    if not np.isfinite(sections).all():
        return None
    return DrillDensity(mean_hu=float(sections.mean()), least_hu=float(sections.min()))


def anchors_with_density(field: MeshBoneField, anchors: Sequence[Anchor]) -> tuple[Anchor, ...]:
    """
    The same anchors with the density along each drill, where the field knows one.

    Parameters
    ----------
    field
        The bone they lie in.
    anchors
        As laid out.

    Returns
    -------
    tuple of Anchor
        Status and place unchanged: nothing is decided by density.
    """
    if field.density is None:
        return tuple(anchors)
    found = []
    for anchor in anchors:
        read = drill_density(
            field,
            entry_mm=anchor.entry_mm,
            direction=anchor.direction,
            depth_mm=anchor.depth_mm,
            drill_mm=anchor.drill_mm,
        )
        if read is not None:
            anchor = replace(anchor, density_mean_hu=read.mean_hu, density_least_hu=read.least_hu)
        found.append(anchor)
    return tuple(found)


def _points(entry_mm: Vector, direction: Vector, *, depth_mm: float, drill_mm: float) -> Points:
    """Points in the drill's cross-sections, (stations, 1 + ring, 3) mm."""
    axis = np.asarray(direction, dtype=np.float64)
    across = np.cross(axis, np.eye(3)[np.argmin(np.abs(axis))])
    across /= np.linalg.norm(across)
    other = np.cross(axis, across)
    angle = np.arange(RING_POINTS) * 2 * np.pi / RING_POINTS
    ring = np.cos(angle)[:, None] * across + np.sin(angle)[:, None] * other
    section = np.vstack([np.zeros((1, 3)), ring * (RING_FRACTION * drill_mm / 2)])
    n_stations = int(np.ceil((depth_mm - FROM_DEPTH_MM) / STEP_MM)) + 1
    along = np.linspace(FROM_DEPTH_MM, depth_mm, n_stations)
    stations = np.asarray(entry_mm) + along[:, None] * axis
    found: Points = stations[:, None, :] + section[None, :, :]
    return found
