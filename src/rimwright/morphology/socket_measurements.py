"""The measurements of a socket, each with method, spread and status."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rimwright.anatomy import (
    Floats,
    Measurement,
    PelvicFrame,
    PelvicReference,
    SocketFaces,
    SphereFit,
    TriangleMesh,
)
from rimwright.morphology.acetabular_angles import ANGLE_METHODS, measure_rim_angles
from rimwright.morphology.angle_spread import NominalReading, draw_readings, edge_doubt_mm
from rimwright.morphology.rim_crossings import ANTERIOR, CRANIAL, cross_rim
from rimwright.morphology.socket import Socket, inward_directions, plane_to_image
from rimwright.morphology.sourcil import SourcilSurrogate, find_sourcil

UNITS = {
    "lateral_centre_edge_angle": "deg",
    "lateral_centre_edge_angle_sourcil": "deg",
    "anterior_centre_edge_angle": "deg",
    "tonnis_angle": "deg",
    "sharp_angle": "deg",
    "extrusion_index": "%",
    "acetabular_version_cranial": "deg",
    "acetabular_version_central": "deg",
    "anterior_sector_angle": "deg",
    "posterior_sector_angle": "deg",
    "horizontal_sector_angle": "deg",
    "subtended_angle": "deg",
    "alpha_angle_max": "deg",
    "head_neck_offset": "mm",
    "neck_shaft_angle": "deg",
    "femoral_version": "deg",
    "joint_space_min": "mm",
}
"""Unit of every measurement key."""

SOURCIL_METHOD = "surrogate for the sourcil: the part of the roof that lies on the lunate sphere"
SHARP_METHOD = (
    "surrogate for the teardrop: lowest point of the socket's floor in the coronal plane through "
    "the centre; to the bony edge there"
)
SURROGATE_REASON = "a surrogate: a film's sourcil or teardrop does not exist on a surface"
MOST_SLOPE_DEG = 35.0
"""A steeper roof is no roof: the surrogate has failed there, deg."""
STEEP_ROOF = "the part that lies on the lunate sphere is too steep here to stand for the sourcil"
NO_CROSSING = "the rim does not cross the plane this is measured in, or does so in the notch"
BESIDE_HOURS = 0.7
"""How far into the notch an edge is still read where a plane meets no rim, hours."""
BESIDE_NOTCH = "the plane passes beside the notch, where the edge is that of the socket's floor"
FREE_OF_FRAME = ("subtended_angle",)
"""Measurements that do not hang on the pelvic frame."""
FREE_OF_CENTRE = ("acetabular_version_cranial", "subtended_angle", "tonnis_angle")
"""Measurements that do not hang on the head centre."""


def measure_socket(
    bone: TriangleMesh,
    faces: SocketFaces,
    *,
    socket: Socket,
    frame: PelvicFrame,
    head: SphereFit | None,
) -> dict[str, Measurement]:
    """
    Measure all that the socket gives.

    Parameters
    ----------
    bone, faces
        Hip bone and its joint side.
    socket
        Traced socket.
    frame
        Pelvic frame.
    head
        Sphere of the femoral head; None without a femur: then the socket's centre serves.

    Returns
    -------
    dict of str to Measurement
        Every acetabular key.
    """
    axes = frame.pelvic_from_image.axes
    centre = head.centre_mm if head else socket.sphere.centre_mm
    inward = inward_directions(socket) @ axes.T
    rim = (socket.rim_points_mm() - centre) @ axes.T
    tangent = np.roll(rim, -1, axis=0) - np.roll(rim, 1, axis=0)
    radial = np.cross(tangent, inward)
    radial /= np.linalg.norm(radial, axis=1, keepdims=True)
    nominal = NominalReading(
        rim_mm=rim,
        inward=inward,
        radial=radial,
        socket_centre_mm=(socket.sphere.centre_mm - centre) @ axes.T,
        socket_radius_mm=socket.sphere.radius_mm,
        head_radius_mm=head.radius_mm if head else float("nan"),
        pole=-(axes @ socket.axis),
        centre_rms_mm=head.rms_mm if head else socket.sphere.rms_mm,
    )
    result = _rim_measurements(nominal, socket, frame)
    beside = (_edge_beside_notch(socket) - centre) @ axes.T
    longer = _rim_measurements(replace(nominal, rim_mm=beside), socket, frame)
    for key, measurement in result.items():
        if measurement.value is None:  # the plane passes beside the notch: read there, doubted
            result[key] = longer[key].doubted(BESIDE_NOTCH)
    if head is None:
        result["extrusion_index"] = Measurement.refused(
            "%", "no femur given", method=ANGLE_METHODS["extrusion_index"]
        )
    sourcil = find_sourcil(bone, faces, sphere=socket.sphere, centre_mm=centre, axes=axes)
    edge = cross_rim(
        rim[None], normal=ANTERIOR, level_mm=np.zeros(1), rising=True, want=CRANIAL, sign=1
    )[0]
    lcea_spread = result["lateral_centre_edge_angle"].spread
    result.update(_surrogates(sourcil, edge, lcea_spread))
    return {key: _doubted(key, value, frame, head) for key, value in result.items()}


def _rim_measurements(
    nominal: NominalReading, socket: Socket, frame: PelvicFrame
) -> dict[str, Measurement]:
    """Every angle of the rim with its spread."""
    values = measure_rim_angles(nominal.as_draws())
    draws = measure_rim_angles(
        draw_readings(nominal, edge_mm=edge_doubt_mm(socket), reference=frame.reference)
    )
    return {
        key: _measurement(key, float(values[key][0]), draws[key], method)
        for key, method in ANGLE_METHODS.items()
    }


def _edge_beside_notch(socket: Socket) -> Floats:
    """The rim, carried on along the floor's edge a little way into the notch, (n, 3) mm."""
    rim = socket.rim_points_mm()
    floor = plane_to_image(socket, socket.trace.floor_edge[:, 0], socket.trace.floor_edge[:, 1])
    is_notch = np.asarray(socket.trace.is_notch)
    reach = round(BESIDE_HOURS * len(rim) / 12.0)
    near = np.zeros(len(rim), dtype=bool)
    for step in range(1, reach + 1):
        near |= np.roll(~is_notch, step) | np.roll(~is_notch, -step)
    longer: Floats = np.where((is_notch & near)[:, None], floor, rim)
    return longer


def _surrogates(
    sourcil: SourcilSurrogate, edge: Floats, spread: float | None
) -> dict[str, Measurement]:
    """Angles to the ends of the sourcil and from the teardrop, all by surrogate."""
    lateral, medial, lowest = sourcil.lateral_end, sourcil.medial_end, sourcil.lowest
    angles = {
        "lateral_centre_edge_angle_sourcil": (
            np.degrees(np.arctan2(lateral[0], lateral[1])),
            SOURCIL_METHOD,
        ),
        "tonnis_angle": (
            np.degrees(np.arctan2(lateral[1] - medial[1], lateral[0] - medial[0])),
            SOURCIL_METHOD,
        ),
        "sharp_angle": (
            np.degrees(np.arctan2(edge[1] - lowest[1], edge[0] - lowest[0])),
            SHARP_METHOD,
        ),
    }
    result = {}
    for key, (value, method) in angles.items():
        if key == "tonnis_angle" and abs(value) > MOST_SLOPE_DEG:
            result[key] = Measurement.refused("deg", STEEP_ROOF, method=method)
        elif np.isfinite(value):
            result[key] = Measurement(
                value=float(value), unit="deg", method=method, spread=spread
            ).doubted(SURROGATE_REASON)
        else:
            result[key] = Measurement.refused(
                "deg", "too little roof lies on the lunate sphere in this plane", method=method
            )
    return result


def _measurement(key: str, value: float, draws: Floats, method: str) -> Measurement:
    """A value with the spread of its draws; refused where the rim does not reach the plane."""
    unit = UNITS[key]
    if not np.isfinite(value):
        return Measurement.refused(unit, NO_CROSSING, method=method)
    seen = draws[np.isfinite(draws)]
    spread = float(np.std(seen)) if len(seen) > len(draws) // 2 else None
    measurement = Measurement(value=value, unit=unit, method=method, spread=spread)
    if spread is None:
        return measurement.doubted("the rim just reaches the plane this is measured in")
    return measurement


def _doubted(
    key: str, measurement: Measurement, frame: PelvicFrame, head: SphereFit | None
) -> Measurement:
    """Cautions for a frame from image axes and for a centre that is the socket's."""
    if key not in FREE_OF_FRAME and frame.reference is PelvicReference.IMAGE_AXES:
        measurement = measurement.doubted("pelvic frame from the image axes")
    if key not in FREE_OF_CENTRE and head is None:
        measurement = measurement.doubted("centre of the socket, as no femur was given")
    return measurement
