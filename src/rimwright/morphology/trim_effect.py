"""What a rim trim does to the coverage of this hip, before any bone is touched.

Every angle is read again on the trimmed rim; the change is put on the measured value, so that a
trim of nothing changes nothing. A surface's sourcil ends where the new edge has passed it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from rimwright.anatomy import (
    Floats,
    HipGeometry,
    Measurement,
    RimCurve,
    RimTrim,
    SocketFaces,
    SphereFit,
    TriangleMesh,
    TrimEffect,
    TrimStep,
    hour_gap,
)
from rimwright.evidence import EvidenceTable
from rimwright.morphology.acetabular_angles import (
    ANGLE_METHODS,
    RimDraws,
    coverage_by_point,
    measure_rim_angles,
)
from rimwright.morphology.rim_crossings import ANTERIOR, CRANIAL, cross_rim
from rimwright.morphology.rim_sections import RimSections, cut_rim_sections
from rimwright.morphology.rim_trim import (
    bone_to_trim,
    depth_by_hour,
    refit_sphere,
    trimmed_rims,
)
from rimwright.morphology.socket import plane_normal
from rimwright.morphology.socket_measurements import BESIDE_HOURS
from rimwright.morphology.sourcil import SourcilSurrogate, find_sourcil
from rimwright.morphology.trim_limits import find_limits, find_warnings
from rimwright.morphology.trim_published import find_published

SINGLE_EDGE = (
    "lateral_centre_edge_angle",
    "anterior_centre_edge_angle",
    "extrusion_index",
    "anterior_sector_angle",
    "posterior_sector_angle",
)
"""Measurements that rest on one crossing of the rim."""
SOURCIL_KEYS = ("lateral_centre_edge_angle_sourcil", "tonnis_angle", "sharp_angle")
"""Measurements drawn to the roof and not to the rim alone."""
WARM_ROUNDS = 4
"""Reweightings of a sphere that starts from its neighbour a millimetre away."""
BESIDE_NOTCH = (
    "the trimmed rim does not cross the plane this is measured in, or does so beside the notch"
)
PREDICTED = "read on the trimmed rim: "


def predict_trim(hip: HipGeometry, trims: Sequence[RimTrim], *, table: EvidenceTable) -> TrimEffect:
    """
    Coverage of this hip after a trim, millimetre by millimetre, beside the published figures.

    Parameters
    ----------
    hip
        A hip with rim, hip bone and its joint side.
    trims
        Arcs and depths; empty or of depth 0 for none.
    table
        Settings and evidence in force.

    Returns
    -------
    TrimEffect
        Measurements before and after, steps of 1 mm over the same arcs, limits, warnings.

    Raises
    ------
    Refusal
        No rim or bone to trim, or a depth beyond the largest that is worked out.

    Notes
    -----
    Geometry of the bone alone: it says nothing of what the labrum covers or of how the joint bears
    load. By geometry an hour loses depth / radius (planning:3.04).
    """
    rim, bone, faces = bone_to_trim(hip)
    depth = depth_by_hour(rim, trims, table=table)
    centre = hip.head_or_socket
    centre_mm = rim.centre_mm if centre is None else centre.centre_mm
    coverage = coverage_by_point(rim.points_mm - centre_mm, -rim.axis)
    before = {key: hip.measurements[key] for key in (*ANGLE_METHODS, *SOURCIL_KEYS)}
    asked = tuple(trim for trim in trims if trim.depth_mm > 0.0)
    if not (depth > 0.0).any():
        limits = find_limits(before, before, steps=(), table=table)
        return TrimEffect(
            trims=tuple(trims),
            hours=rim.hours,
            depth_mm=depth,
            coverage_before_deg=coverage,
            coverage_after_deg=coverage,
            before=before,
            after=before,
            limits=limits,
        )
    levels = np.arange(0.0, table.number("rim_trim.most_tried_mm") + 1e-9)
    depths = [
        depth_by_hour(rim, [replace(trim, depth_mm=level) for trim in asked], table=table)
        for level in levels
    ]
    bone, faces = _joint_alone(bone, faces)
    sections = cut_rim_sections(rim, bone, faces)
    rims = trimmed_rims(hip, sections, [*depths, depth])
    axes = hip.frame.pelvic_from_image.axes
    if hip.socket is None:
        raise AssertionError("a hip with a rim has a socket")
    sourcil = find_sourcil(bone, faces, sphere=hip.socket, centre_mm=centre_mm, axes=axes)
    spheres = _refit_spheres(rim, sections, [*depths, depth], start=hip.socket)
    readings = _read_rims(hip, rims, spheres, centre_mm=centre_mm, sourcil=sourcil, before=before)
    coverages = [coverage_by_point(item.points_mm - centre_mm, -rim.axis) for item in rims]
    steps = tuple(
        TrimStep(
            depth_mm=float(level),
            values={key: _value(values[place]) for key, values in readings.items()},
            coverage_deg=coverages[place],
        )
        for place, level in enumerate(levels)
    )
    after = {key: _predicted(before[key], float(values[-1])) for key, values in readings.items()}
    limits = find_limits(before, after, steps=steps, table=table)
    return TrimEffect(
        trims=tuple(trims),
        hours=rim.hours,
        depth_mm=depth,
        coverage_before_deg=coverage,
        coverage_after_deg=coverages[-1],
        before=before,
        after=after,
        steps=steps,
        limits=limits,
        published=find_published(asked, radius_mm=hip.socket.radius_mm, table=table),
        warnings=find_warnings(asked, before=before, after=after, limits=limits, table=table),
    )


def _joint_alone(bone: TriangleMesh, faces: SocketFaces) -> tuple[TriangleMesh, SocketFaces]:
    """The joint side as a body of its own: all that a prediction looks at."""
    triangles = bone.triangles[faces.joint]
    used, renumbered = np.unique(triangles, return_inverse=True)
    alone = TriangleMesh(
        vertices_mm=bone.vertices_mm[used], triangles=renumbered.reshape(triangles.shape)
    )
    lunate = np.flatnonzero(np.isin(faces.joint, faces.lunate))
    return alone, SocketFaces(joint=np.arange(len(triangles)), lunate=lunate)


def _refit_spheres(
    rim: RimCurve, sections: RimSections, depths: Sequence[Floats], *, start: SphereFit
) -> list[SphereFit]:
    """The lunate sphere of the rim itself and at every depth, each started from the one before."""
    fits = [refit_sphere(rim, sections, 0.0 * depths[0], start=start)]
    for depth in depths:
        fits.append(refit_sphere(rim, sections, depth, start=fits[-1], n_rounds=WARM_ROUNDS))
    return fits


def _read_rims(
    hip: HipGeometry,
    rims: Sequence[RimCurve],
    spheres: Sequence[SphereFit],
    *,
    centre_mm: Floats,
    sourcil: SourcilSurrogate,
    before: Mapping[str, Measurement],
) -> dict[str, Floats]:
    """Value of every measurement on every rim, (d,) by key; NaN where it cannot be taken."""
    axes = hip.frame.pelvic_from_image.axes
    rim = rims[0]  # at no depth
    everyone = [rim, *rims]
    points = np.stack([(item.points_mm - centre_mm) @ axes.T for item in everyone])
    poles = np.stack(
        [-(axes @ plane_normal(item.points_mm, towards=rim.axis)) for item in everyone]
    )
    n = len(everyone)
    head_mm = float("nan") if hip.head is None else hip.head.radius_mm
    angles = measure_rim_angles(
        RimDraws(
            rims_mm=points,
            socket_centre_mm=np.stack([(item.centre_mm - centre_mm) @ axes.T for item in spheres]),
            socket_radius_mm=np.array([item.radius_mm for item in spheres]),
            head_radius_mm=np.full(n, head_mm),
            poles=poles,
        )
    )
    edges = cross_rim(
        points, normal=ANTERIOR, level_mm=np.zeros(n), rising=True, want=CRANIAL, sign=1
    )
    angles.update(_read_roof(sourcil, edges))
    changes = {key: values[1:] - values[0] for key, values in angles.items()}
    _settle_beside_notch(changes, rims)
    readings = {}
    for key, change in changes.items():
        measured = before[key].value
        readings[key] = change + (float("nan") if measured is None else measured)
    return readings


def _settle_beside_notch(changes: dict[str, Floats], rims: Sequence[RimCurve]) -> None:
    """Where a plane meets the edge beside the notch, keep what no trim comes near, in place.

    Such an edge is that of the socket's floor, which a rim does not hold: an angle that rests on it
    alone stays as it is while the rim beside the notch is untouched; one that rests on another edge
    too changes with that one alone, or is not told.
    """
    rim = rims[0]
    ends = [rim.notch_from_hour, rim.notch_to_hour]
    if None in ends:
        return
    gap = [min(hour_gap(float(hour), end) for end in ends if end is not None) for hour in rim.hours]
    beside = rim.is_bone & (np.array(gap) < BESIDE_HOURS)
    for keys, reach in ((SINGLE_EDGE, beside), (("acetabular_version_cranial",), rim.is_bone)):
        is_free = np.array(
            [np.array_equal(item.points_mm[reach], rim.points_mm[reach]) for item in rims]
        )
        for key in keys:
            changes[key] = np.where(np.isnan(changes[key]) & is_free, 0.0, changes[key])
    front, back = changes["anterior_sector_angle"], changes["posterior_sector_angle"]
    changes["horizontal_sector_angle"] = front + back
    version = changes["acetabular_version_central"]
    still = (front == 0.0) & (back == 0.0)
    changes["acetabular_version_central"] = np.where(np.isnan(version) & still, 0.0, version)


def _read_roof(sourcil: SourcilSurrogate, edges: Floats) -> dict[str, Floats]:
    """Angles drawn to the roof's ends and from the floor, on rims that cut the roof at `edges`."""
    end = sourcil.lateral_end
    to_edge = np.arctan2(edges[:, 0], edges[:, 1])
    to_end = np.arctan2(end[0], end[1])
    # the roof ends at the new edge as soon as that lies on its medial side
    is_cut = to_edge < to_end
    lateral = np.where(is_cut[:, None], edges[:, :2], end)
    medial, low = sourcil.medial_end, sourcil.lowest
    return {
        "lateral_centre_edge_angle_sourcil": np.degrees(np.arctan2(lateral[:, 0], lateral[:, 1])),
        "tonnis_angle": np.degrees(
            np.arctan2(lateral[:, 1] - medial[1], lateral[:, 0] - medial[0])
        ),
        "sharp_angle": np.degrees(np.arctan2(edges[:, 1] - low[1], edges[:, 0] - low[0])),
    }


def _predicted(before: Measurement, value: float) -> Measurement:
    """A measurement with its value after the trim; as refused as it was."""
    if before.value is None:
        return before
    if not np.isfinite(value):
        return Measurement.refused(
            before.unit,
            BESIDE_NOTCH,
            method=before.method,
        )
    return replace(before, value=value, method=PREDICTED + before.method)


def _value(value: float) -> float | None:
    """A number, or None where there is none."""
    return float(value) if np.isfinite(value) else None
