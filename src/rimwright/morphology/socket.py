"""The socket: lunate sphere, rim and notch, found together until they no longer move."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from rimwright.anatomy import Floats, Ints, PelvicFrame, SphereFit, TriangleMesh, Vector
from rimwright.morphology.mesh_neighbours import find_neighbours
from rimwright.morphology.radial_sections import RadialSections, cut_radial_sections
from rimwright.morphology.rim_trace import BAND_MM, RimTrace, trace_rim
from rimwright.morphology.socket_search import LunateFit
from rimwright.morphology.sphere_fit import refine_sphere

N_SECTIONS = 240
"""Half-planes round the opening axis; one every 0.05 hour, about 0.6 mm at the rim."""
STEP_MM = 0.25
"""Spacing of contour points, mm."""
INNER_MM, OUTER_MM = 32.0, 22.0
"""Contour followed from the seed towards the floor and over the rim, mm."""
REFIT_BAND_MM = (3.0, 18.0)
"""Part of the contour, counted inward from the edge, that the sphere is refitted to, mm: past the
edge's rounding and its flare; what of the fossa falls inside is left out by its miss."""
SETTLED_DEG = 0.02
"""Rounds stop when the opening axis turns by less, deg."""
MOST_ROUNDS = 6
"""Rounds at most; real hips settle in three to five."""
NOTCH_BANDS_MM = (1.0, 1.25, 1.5, 1.75, 2.0)
"""Articular tolerances the notch is found again with, mm: its doubt is their spread."""
LEAST_NOTCH_HOURS = 0.4
"""A narrower gap is a flaw of the surface, not the notch, hours."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Socket:
    """
    A socket before its hours are counted.

    Parameters
    ----------
    sphere
        Lunate sphere.
    axis
        Unit opening axis, out of the socket.
    zero, quarter
        Unit directions of azimuth 0 and 90 degrees of the sections.
    sections, trace
        Contours and edge about the final axis.
    notch_middle_rad, notch_width_rad
        Azimuth of the notch's middle and its width; None where no notch was seen.
    notch_doubt_rad
        Spread of that middle over articular tolerances, rad.
    """

    sphere: SphereFit
    axis: Vector
    zero: Vector
    quarter: Vector
    sections: RadialSections
    trace: RimTrace
    notch_middle_rad: float | None
    notch_width_rad: float | None
    notch_doubt_rad: float

    def rim_points_mm(self) -> Floats:
        """(n, 3) edge in every section, image frame; NaN in the notch."""
        return plane_to_image(self, self.trace.across_mm, self.trace.along_mm)


def plane_to_image(socket: Socket, across: Floats, along: Floats) -> Floats:
    """Points of the sections' planes (one a section) in the image frame, (n, 3) mm."""
    return socket.sphere.centre_mm + _directions(socket, across, along)


def _directions(socket: Socket, across: Floats, along: Floats) -> Floats:
    angles = socket.sections.angles_rad
    radials = np.cos(angles)[:, None] * socket.zero + np.sin(angles)[:, None] * socket.quarter
    return across[:, None] * radials + along[:, None] * socket.axis


def inward_directions(socket: Socket) -> Floats:
    """(n, 3) unit direction into bone, half-way between the faces, in every section."""
    directions = _directions(socket, socket.trace.inward_across, socket.trace.inward_along)
    return directions / np.linalg.norm(directions, axis=1, keepdims=True)


def find_socket(bone: TriangleMesh, lunate: LunateFit, *, frame: PelvicFrame) -> Socket:
    """
    Trace rim and notch and refit the lunate sphere to the horseshoe inside them.

    Parameters
    ----------
    bone
        Hip bone, outward normals.
    lunate
        First fit of the lunate surface.
    frame
        Pelvic frame; azimuth 0 is cranial and 90 degrees anterior in it.

    Returns
    -------
    Socket
        About its own opening axis: the normal of the least-squares plane of the rim, the notch
        left out, every millimetre of rim counting alike.

    Notes
    -----
    Own method; the sphere is fitted to the contour within `REFIT_BAND_MM` of the edge, so that
    neither fossa nor rounding pulls it.
    """
    neighbours = find_neighbours(bone)
    sphere, axis = lunate.sphere, -lunate.pole
    for round_index in range(MOST_ROUNDS):
        zero, quarter = dial_directions(axis, frame)
        sections = cut_radial_sections(
            bone,
            neighbours,
            centre_mm=sphere.centre_mm,
            axis=axis,
            zero=zero,
            quarter=quarter,
            n_angles=N_SECTIONS,
            is_seed=lunate.is_lunate,
            inner_mm=INNER_MM,
            outer_mm=OUTER_MM,
            step_mm=STEP_MM,
        )
        trace = trace_rim(sections, radius_mm=sphere.radius_mm)
        socket = _with_notch(sphere, axis, zero, quarter, sections, trace)
        turned_axis = plane_normal(socket.rim_points_mm(), towards=axis)
        turned_deg = np.degrees(np.arccos(np.clip(axis @ turned_axis, -1.0, 1.0)))
        refitted = _refit_sphere(socket)
        moved_mm = float(np.linalg.norm(refitted.centre_mm - sphere.centre_mm))
        if round_index and turned_deg < SETTLED_DEG and moved_mm < 0.01:
            break
        axis, sphere = turned_axis, refitted
    return replace(socket, notch_doubt_rad=_notch_doubt_rad(socket))


def dial_directions(axis: Vector, frame: PelvicFrame) -> tuple[Vector, Vector]:
    """Cranial direction made normal to the axis, and the anterior one normal to both."""
    zero = frame.cranial - (frame.cranial @ axis) * axis
    zero = zero / np.linalg.norm(zero)
    quarter = frame.anterior - (frame.anterior @ axis) * axis
    quarter = quarter - (quarter @ zero) * zero
    return zero, quarter / np.linalg.norm(quarter)


def plane_normal(rim_mm: Floats, *, towards: Vector) -> Vector:
    """Normal of the least-squares plane of a rim, (n, 3) with NaN gaps, weighed by arc length."""
    steps = np.linalg.norm(np.roll(rim_mm, -1, axis=0) - rim_mm, axis=1)
    steps = np.where(np.isfinite(steps), steps, 0.0)
    weight = 0.5 * (steps + np.roll(steps, 1))
    seen = np.isfinite(rim_mm[:, 0])
    points, weight = rim_mm[seen], weight[seen]
    offsets = points - weight @ points / weight.sum()
    _, vectors = np.linalg.eigh((offsets * weight[:, None]).T @ offsets)
    normal: Vector = vectors[:, 0]
    return normal if normal @ towards > 0 else -normal


def _refit_sphere(socket: Socket) -> SphereFit:
    """Sphere of the contour just inside the edge, every section counting alike."""
    sections, trace = socket.sections, socket.trace
    near, far = (round(mm / sections.step_mm) for mm in REFIT_BAND_MM)
    rows = np.flatnonzero(trace.column >= 0)
    columns = trace.column[rows][:, None] - np.arange(near, far + 1)[None, :]
    ok = columns >= 0
    columns = np.maximum(columns, 0)
    across = np.asarray(sections.across_mm)[rows[:, None], columns]
    along = np.asarray(sections.along_mm)[rows[:, None], columns]
    ok &= np.isfinite(across)
    angles = np.broadcast_to(sections.angles_rad[rows][:, None], across.shape)[ok]
    radials = np.cos(angles)[:, None] * socket.zero + np.sin(angles)[:, None] * socket.quarter
    points = (
        socket.sphere.centre_mm + across[ok][:, None] * radials + along[ok][:, None] * socket.axis
    )
    refined = refine_sphere(
        points, start=socket.sphere, least_cutoff_mm=0.2, most_cutoff_mm=BAND_MM
    )
    return refined.fit


def _with_notch(  # noqa: PLR0913
    sphere: SphereFit,
    axis: Vector,
    zero: Vector,
    quarter: Vector,
    sections: RadialSections,
    trace: RimTrace,
) -> Socket:
    """The socket of one round, with the middle and width of its notch."""
    middle, width = _notch_of(sections, trace)
    return Socket(
        sphere=sphere,
        axis=axis,
        zero=zero,
        quarter=quarter,
        sections=sections,
        trace=trace,
        notch_middle_rad=middle,
        notch_width_rad=width,
        notch_doubt_rad=0.0,
    )


def _notch_doubt_rad(socket: Socket) -> float:
    """Spread of the notch's middle when it is found again with other articular tolerances."""
    if socket.notch_middle_rad is None:
        return 0.0
    turns = []
    for band_mm in NOTCH_BANDS_MM:
        again = trace_rim(socket.sections, radius_mm=socket.sphere.radius_mm, band_mm=band_mm)
        middle, _ = _notch_of(socket.sections, again)
        if middle is not None:
            turns.append((middle - socket.notch_middle_rad + np.pi) % (2 * np.pi) - np.pi)
    return float(np.std(turns))


def _notch_of(sections: RadialSections, trace: RimTrace) -> tuple[float | None, float | None]:
    """Azimuth of the middle of the notch and its width, or None twice."""
    n = len(sections.angles_rad)
    is_notch: Ints = np.asarray(trace.is_notch).astype(np.int64)
    count = int(is_notch.sum())
    if count in (0, n) or count * 12.0 / n < LEAST_NOTCH_HOURS:
        return None, None
    first = int(np.flatnonzero((is_notch == 1) & (np.roll(is_notch, 1) == 0))[0])
    step = 2 * np.pi / n
    # the ends lie half a section outside the first and the last notch section
    return ((first + (count - 1) / 2) * step) % (2 * np.pi), count * step
