"""Run the shading kernels over many entries, on as many threads as help."""

from __future__ import annotations

import itertools
import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import AnchorKind, Floats, Points, Vector
from rimwright.fixation.cone import bound_cones
from rimwright.fixation.cone_search import seek_cones
from rimwright.fixation.limits import FixationLimits
from rimwright.fixation.mesh_field import MeshBoneField
from rimwright.fixation.shading import judge_entries
from rimwright.fixation.triangle_tree import TriangleTree

ROUNDING_MM = 1e-5
"""Added to both distances asked for, mm, so that a direction in single precision that just fits
still keeps its margins when it is measured in double."""
MOST_THREADS = 4
"""More threads than this gain nothing on a whole rim (its work takes a tenth of a second)."""
FEWEST_ENTRIES = 12
"""Fewer entries than this per thread are not worth starting one."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DrillDemand:
    """
    What one drill asks of the bone round its axis.

    Parameters
    ----------
    kind
        Drill diameter and depth.
    joint_mm, cortex_mm
        Least distance of its axis from the joint surface and from all other, mm.
    cortex_from_mm
        Depth from which the second counts, mm.
    old_points, old_radii
        (o, 3) points to avoid, mm from the field's origin, and (o,) least distance of each.
    """

    kind: AnchorKind
    joint_mm: float
    cortex_mm: float
    cortex_from_mm: float
    old_points: Points
    old_radii: Floats


def demand_of(
    kind: AnchorKind, limits: FixationLimits, *, old_points: Points, old_radii: Floats
) -> DrillDemand:
    """The demand of a kind of anchor under some limits."""
    return DrillDemand(
        kind=kind,
        joint_mm=kind.drill_mm / 2 + limits.margin_joint_mm + ROUNDING_MM,
        cortex_mm=kind.drill_mm / 2 + limits.margin_cortex_mm + ROUNDING_MM,
        cortex_from_mm=min(limits.cortex_margin_from_depth_mm, kind.depth_mm),
        old_points=np.ascontiguousarray(old_points, dtype=np.float64),
        old_radii=np.ascontiguousarray(old_radii, dtype=np.float64),
    )


def judge_directions(
    field: MeshBoneField,
    demand: DrillDemand,
    *,
    entries: Points,
    normals: Floats,
    fan_of: np.ndarray,
    fans: np.ndarray,
) -> np.ndarray:
    """
    What blocks each direction at each entry; 0 fits.

    Parameters
    ----------
    field
        The bone.
    demand
        What the drill asks.
    entries, normals
        (n, 3) points of the outer face, mm from the field's origin, and its unit normals there.
    fan_of
        (n,) which fan each entry takes.
    fans
        (f, 3, k) single precision unit directions.

    Returns
    -------
    ndarray
        (n, k) uint8: FITS, JOINT, CORTEX, OLD_ANCHOR or LEAVES_BONE of `shading`, whichever was
        found first.
    """
    entries = np.ascontiguousarray(entries, dtype=np.float64)
    normals = np.ascontiguousarray(normals, dtype=np.float64)
    fan_of = np.ascontiguousarray(fan_of, dtype=np.int64)
    verdict = np.empty((len(entries), fans.shape[2]), dtype=np.uint8)
    joint, cortex = kernel_arrays(field.joint), kernel_arrays(field.cortex)

    def work(first: int, past: int) -> None:
        judge_entries(
            entries,
            normals,
            fan_of,
            fans,
            first,
            past,
            joint,
            cortex,
            demand.joint_mm,
            demand.cortex_mm,
            demand.cortex_from_mm,
            demand.kind.depth_mm,
            demand.old_points,
            demand.old_radii,
            verdict,
        )

    share_out(work, len(entries))
    return verdict


def widen_directions(
    field: MeshBoneField, demand: DrillDemand, *, entries: Points, directions: Floats
) -> tuple[Floats, Floats]:
    """
    The direction near each one given with the largest cone, and that cone by surface points.

    Parameters
    ----------
    field, demand
        The bone and what the drill asks.
    entries, directions
        (n, 3) each; directions unit, fitting.

    Returns
    -------
    directions, half_angles_deg
        (n, 3) unit; (n,) deg, high by up to half a degree: `half_angles_deg` bounds them.
    """
    entries = np.ascontiguousarray(entries, dtype=np.float64)
    starts = _unit_rows(directions)
    axes = np.empty_like(starts)
    half_angles = np.empty(len(starts))
    joint, cortex = kernel_arrays(field.joint), kernel_arrays(field.cortex)

    def work(first: int, past: int) -> None:
        seek_cones(
            entries,
            starts,
            first,
            past,
            joint,
            cortex,
            demand.joint_mm,
            demand.cortex_mm,
            demand.cortex_from_mm,
            demand.kind.depth_mm,
            demand.old_points,
            demand.old_radii,
            axes,
            half_angles,
        )

    share_out(work, len(starts))
    return axes, np.degrees(half_angles)


def half_angles_deg(
    field: MeshBoneField,
    demand: DrillDemand,
    *,
    entries: Points,
    normals: Floats,
    directions: Floats,
) -> Floats:
    """
    Half-angle of a cone about each direction in which every direction fits.

    Parameters
    ----------
    field, demand
        The bone and what the drill asks.
    entries, normals, directions
        (n, 3) each; directions unit.

    Returns
    -------
    ndarray
        (n,) deg, never too large, too small by at most 0.3; negative where the direction itself
        does not fit.
    """
    entries = np.ascontiguousarray(entries, dtype=np.float64)
    normals = np.ascontiguousarray(normals, dtype=np.float64)
    units = _unit_rows(directions)
    half_angles = np.empty(len(units))
    joint, cortex = kernel_arrays(field.joint), kernel_arrays(field.cortex)

    def work(first: int, past: int) -> None:
        bound_cones(
            entries,
            normals,
            units,
            first,
            past,
            joint,
            cortex,
            demand.joint_mm,
            demand.cortex_mm,
            demand.cortex_from_mm,
            demand.kind.depth_mm,
            demand.old_points,
            demand.old_radii,
            half_angles,
        )

    share_out(work, len(units))
    return np.degrees(half_angles)


def clearances_mm(
    field: MeshBoneField,
    *,
    entry: Vector,
    direction: Vector,
    kind: AnchorKind,
    cortex_from_mm: float,
) -> tuple[float, float]:
    """Bone between a drill's surface and the joint, and every other bone surface, mm, exact.

    `entry` in mm from the field's origin. The second counts from `cortex_from_mm` on.
    """
    start = min(cortex_from_mm, kind.depth_mm)
    to_joint = field.joint.segment_distance_mm(entry, direction, kind.depth_mm)
    to_cortex = field.cortex.segment_distance_mm(
        entry + start * direction, direction, kind.depth_mm - start
    )
    return to_joint - kind.drill_mm / 2, to_cortex - kind.drill_mm / 2


def kernel_arrays(tree: TriangleTree) -> tuple[np.ndarray, ...]:
    """The arrays of a tree in the order the kernels take them."""
    return (
        tree.corners_mm,
        tree.box_mm,
        tree.right,
        tree.patch_first,
        tree.patch_mm,
        tree.patch_radius_mm,
        tree.patch_span,
    )


def _unit_rows(directions: Floats) -> Floats:
    """Rows scaled to length one, contiguous."""
    rows = np.ascontiguousarray(directions, dtype=np.float64).reshape(-1, 3)
    return rows / np.linalg.norm(rows, axis=1, keepdims=True)


def share_out(work: Callable[[int, int], None], n: int) -> None:
    """
    Run work(first, past) over range(n) in equal parts; the kernels hold no lock.

    Parameters
    ----------
    work
        Called with the first row and one past the last.
    n
        Rows in all.

    Notes
    -----
    Threads of our own rather than numba's: its pool may not be entered from two threads at once,
    which a web worker does.
    """
    threads = min(MOST_THREADS, os.cpu_count() or 1, n // FEWEST_ENTRIES)
    if threads < 2:
        work(0, n)
        return
    # More parts than threads, for hours near thick bone take longer than others.
    edges = np.linspace(0, n, 4 * threads + 1).astype(int)
    with ThreadPoolExecutor(threads) as pool:
        for future in [
            pool.submit(work, int(first), int(past))
            for first, past in itertools.pairwise(edges)
            if past > first
        ]:
            future.result()
