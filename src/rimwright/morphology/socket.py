"""The socket: lunate sphere, rim and notch, found together until they no longer move."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from rimwright.anatomy import Floats, Ints, PelvicFrame, SphereFit, TriangleMesh, Vector
from rimwright.morphology.mesh_neighbours import find_neighbours
from rimwright.morphology.notch import find_notch
from rimwright.morphology.radial_sections import RadialSections, cut_radial_sections
from rimwright.morphology.rim_trace import RimTrace, trace_rim
from rimwright.morphology.socket_search import LunateFit
from rimwright.morphology.sphere_fit import refine_sphere

N_SECTIONS = 360
"""Half-planes round the opening axis: one every two minutes of the clock, 0.4 mm at the rim."""
N_TRIAL_SECTIONS, TRIAL_ROUNDS = 60, range(3)
"""Half-planes and rounds spent on each rival sphere before one is chosen."""
N_COARSE_SECTIONS, COARSE_ROUNDS = 120, range(2, 10)
"""Half-planes and rounds at most until sphere and axis rest; real hips take four to six."""
FINE_ROUNDS = range(3, 6)
"""Rounds at most with all half-planes."""
STEP_MM = 0.25
"""Spacing of contour points, mm."""
INNER_MM, OUTER_MM = 32.0, 30.0
"""Contour followed from the seed towards the floor and over the rim, mm."""
CHORD_EDGES, CHORD_MM = 1.25, (1.5, 3.5)
"""Chords the edge is traced with: this many triangle edges, within these bounds, mm. Shorter ones
see facets, longer ones see past a thin rim."""
REFIT_BANDS_MM = ((2.0, 11.0), (2.0, 11.0), (3.0, 14.0), (3.0, 18.0))
"""Part of the contour, counted inward from the edge, that the sphere is refitted to in the first
rounds and from then on, mm: past the edge's rounding and flare, at first well short of
the fossa."""
REFIT_CUTOFFS_MM = (3.0, 2.0, 1.5, 1.5)
"""Largest miss that still pulls in the same rounds, mm: wide at first, so that a start on the
fossa lets go of it."""
REFIT_STRIDE = 3
"""Every third contour point is used, 0.75 mm apart: as near as triangles lie on real bones."""
REFIT_ROUNDS = 8
"""Reweightings in each refit; the outer rounds go on from there."""
LUNATE_SEED_MM, LUNATE_SEED_COSINE = 2.5, 0.8
"""A walk starts from triangles this near the sphere whose normal points at its centre to within
37 degrees: lunate, flaring horns included."""
SEED_MISS_MM, SEED_COSINE = 7.0, 0.6
"""Where there is none, from the floor: this near the sphere, mm, facing its centre to within 53
degrees …"""
FLOOR_POLAR_DEG = 40.0
"""… as near to this angle from the medial pole as can be, deg."""
SEED_POLAR_DEG = 75.0
"""Seeds lie within this angle of the medial pole, deg; past it the surface may be another."""
HORSESHOE_BAND_MM = (2.0, 9.0)
"""Contour inside the edge that must lie on the sphere, mm."""
CLOSE_MM = 0.5
"""Median miss there of a section that counts, mm; a real lunate's is 0.1 to 0.4."""
SETTLED_DEG = 0.02
"""Rounds stop when the opening axis turns by less, deg."""
SETTLED_MM = 0.01
"""… and the centre moves by less, mm."""
ARTICULAR_MM = 1.0
"""A contour this near the sphere is articular on a perfect surface, mm …"""
ARTICULAR_RMS = 3.0
"""… and on a real one farther by this many times the sphere's own miss: the horns of real
lunates flare by up to 2 mm before the notch drops away by more than 4."""
NOTCH_FACTORS = (0.7, 0.85, 1.0, 1.15, 1.3)
"""The notch is found again with that tolerance times these: its doubt is the spread."""


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
    chord_mm
        Length of the chords the edge was traced with, mm.
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
    chord_mm: float

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


def find_socket(
    bone: TriangleMesh,
    lunate: LunateFit,
    *,
    frame: PelvicFrame,
    notch_ends_mm: tuple[Vector, Vector] | None = None,
) -> Socket:
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
    notch_ends_mm
        Anterior and posterior end of the notch, (3,) mm each, where a person has set them.

    Returns
    -------
    Socket
        About its own opening axis: the normal of the least-squares plane of the rim, the notch
        left out, every millimetre of rim counting alike.

    Notes
    -----
    Own method; the sphere is fitted to the contour within `REFIT_BANDS_MM` of the edge, so that
    neither fossa nor rounding pulls it.
    """
    neighbours = find_neighbours(bone)
    facets = (bone.centroids_mm(), bone.normals())
    area_mm2 = np.linalg.norm(bone.area_vectors_mm2()[lunate.is_lunate], axis=1)
    edge_mm = float(np.sqrt(np.median(area_mm2) * 4 / np.sqrt(3.0)))  # of an even-sided triangle
    surface = _Surface(
        bone=bone,
        neighbours=neighbours,
        facets=facets,
        frame=frame,
        chord_mm=float(np.clip(CHORD_EDGES * edge_mm, *CHORD_MM)),
    )
    trials = [
        _settle(surface, start, -lunate.pole, n_sections=N_TRIAL_SECTIONS, rounds=TRIAL_ROUNDS)
        for start in (lunate.sphere, *lunate.others)
    ]
    best = max(trials, key=_horseshoe_sections) if len(trials) > 1 else trials[0]
    coarse = _settle(
        surface, best.sphere, best.axis, n_sections=N_COARSE_SECTIONS, rounds=COARSE_ROUNDS
    )
    socket = _settle(surface, coarse.sphere, coarse.axis, n_sections=N_SECTIONS, rounds=FINE_ROUNDS)
    if notch_ends_mm is not None:
        return with_given_notch(socket, notch_ends_mm)
    return replace(socket, notch_doubt_rad=_notch_doubt_rad(socket))


def with_given_notch(socket: Socket, ends_mm: tuple[Vector, Vector]) -> Socket:
    """
    The socket with its notch between two points that a person has set.

    Parameters
    ----------
    socket
        A traced socket.
    ends_mm
        Anterior and posterior end, (3,) mm each, image frame.

    Returns
    -------
    Socket
        Its edge ends at the given ends; where the traced notch was wider, the floor's edge is
        taken.
    """
    relative = np.array(ends_mm) - socket.sphere.centre_mm
    first, last = np.arctan2(relative @ socket.quarter, relative @ socket.zero)
    width = float((last - first) % (2 * np.pi))
    trace = socket.trace
    is_gap = (socket.sections.angles_rad - first) % (2 * np.pi) < width
    rim = np.column_stack(
        [trace.across_mm, trace.along_mm, trace.inward_across, trace.inward_along]
    )
    rim = np.where(np.isfinite(rim), rim, trace.floor_edge)
    rim[is_gap] = np.nan
    return replace(
        socket,
        trace=replace(
            trace,
            column=np.where(is_gap, -1, trace.column),
            across_mm=rim[:, 0],
            along_mm=rim[:, 1],
            inward_across=rim[:, 2],
            inward_along=rim[:, 3],
            is_notch=is_gap,
            is_gap=is_gap,
        ),
        notch_middle_rad=float((first + 0.5 * width) % (2 * np.pi)),
        notch_width_rad=width,
        notch_doubt_rad=0.0,
    )


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Surface:
    """The bone with its neighbours, its centroids and normals, and the pelvic frame."""

    bone: TriangleMesh
    neighbours: Ints
    facets: tuple[Floats, Floats]
    frame: PelvicFrame
    chord_mm: float


def _settle(
    surface: _Surface, sphere: SphereFit, axis: Vector, *, n_sections: int, rounds: range
) -> Socket:
    """Section, trace and refit by turns until sphere and axis rest."""
    for round_index in rounds:
        zero, quarter = dial_directions(axis, surface.frame)
        sections = cut_radial_sections(
            surface.bone,
            surface.neighbours,
            centre_mm=sphere.centre_mm,
            axis=axis,
            zero=zero,
            quarter=quarter,
            n_angles=n_sections,
            seed_worth=_seed_worth(surface.facets, sphere, axis),
            inner_mm=INNER_MM,
            outer_mm=OUTER_MM,
            step_mm=STEP_MM,
        )
        trace = trace_rim(
            sections,
            radius_mm=sphere.radius_mm,
            band_mm=articular_mm(sphere),
            chord_mm=surface.chord_mm,
        )
        socket = _with_notch(
            sphere, axis, zero, quarter, sections, trace, chord_mm=surface.chord_mm
        )
        turned_axis = plane_normal(socket.rim_points_mm(), towards=axis)
        turned_deg = np.degrees(np.arccos(np.clip(axis @ turned_axis, -1.0, 1.0)))
        refitted = _refit_sphere(socket, min(round_index, len(REFIT_BANDS_MM) - 1))
        moved_mm = float(np.linalg.norm(refitted.centre_mm - sphere.centre_mm))
        settled = turned_deg < SETTLED_DEG and moved_mm < SETTLED_MM
        if round_index >= len(REFIT_BANDS_MM) - 1 and settled:
            break
        axis, sphere = turned_axis, refitted
    return socket


def _horseshoe_sections(socket: Socket) -> int:
    """Sections whose contour just inside the edge lies closely on the sphere: the lunate's test."""
    sections, trace = socket.sections, socket.trace
    near, far = (round(mm / sections.step_mm) for mm in HORSESHOE_BAND_MM)
    rows = np.flatnonzero(trace.column >= 0)
    columns = np.maximum(trace.column[rows][:, None] - np.arange(near, far + 1)[None, :], 0)
    across = np.asarray(sections.across_mm)[rows[:, None], columns]
    along = np.asarray(sections.along_mm)[rows[:, None], columns]
    miss = np.abs(np.hypot(across, along) - socket.sphere.radius_mm)
    return int((np.median(np.where(np.isfinite(miss), miss, np.inf), axis=1) < CLOSE_MM).sum())


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


def _seed_worth(facets: tuple[Floats, Floats], sphere: SphereFit, axis: Vector) -> Floats:
    """How good a start for a walk each triangle is, given as centroids and normals.

    Lunate triangles are best, the nearer to the edge the better. Where a section meets none, as
    in the notch, the walk starts on the floor half-way up, so that it comes to its first edge.
    """
    centroids, normals = facets
    to_centre = sphere.centre_mm - centroids
    distance = np.linalg.norm(to_centre, axis=1)
    cosine = np.einsum("ij,ij->i", normals, to_centre) / np.maximum(distance, 1e-9)
    polar = np.arccos(np.clip((to_centre @ axis) / np.maximum(distance, 1e-9), -1.0, 1.0))
    miss = np.abs(distance - sphere.radius_mm)
    within = polar < np.radians(SEED_POLAR_DEG)
    is_lunate = within & (miss < LUNATE_SEED_MM) & (cosine > LUNATE_SEED_COSINE)
    is_floor = within & (miss < SEED_MISS_MM) & (cosine > SEED_COSINE)
    worth: Floats = np.where(
        is_lunate,
        polar,
        np.where(is_floor, -1.0 - np.abs(polar - np.radians(FLOOR_POLAR_DEG)), -np.inf),
    )
    return worth


def _refit_sphere(socket: Socket, round_index: int) -> SphereFit:
    """Sphere of the contour just inside the edge, every section counting alike."""
    sections, trace = socket.sections, socket.trace
    near, far = (round(mm / sections.step_mm) for mm in REFIT_BANDS_MM[round_index])
    rows = np.flatnonzero(trace.column >= 0)
    columns = trace.column[rows][:, None] - np.arange(near, far + 1, REFIT_STRIDE)[None, :]
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
        points,
        start=socket.sphere,
        least_cutoff_mm=0.2,
        most_cutoff_mm=REFIT_CUTOFFS_MM[round_index],
        n_rounds=REFIT_ROUNDS,
    )
    return refined.fit


def _with_notch(
    sphere: SphereFit,
    axis: Vector,
    zero: Vector,
    quarter: Vector,
    sections: RadialSections,
    trace: RimTrace,
    *,
    chord_mm: float,
) -> Socket:
    """The socket of one round, with the middle and width of its notch."""
    notch = find_notch(sections, trace)
    return Socket(
        sphere=sphere,
        axis=axis,
        zero=zero,
        quarter=quarter,
        sections=sections,
        trace=trace,
        notch_middle_rad=notch.middle_rad if notch else None,
        notch_width_rad=notch.width_rad if notch else None,
        notch_doubt_rad=0.0,
        chord_mm=chord_mm,
    )


def articular_mm(sphere: SphereFit) -> float:
    """Largest miss from the sphere at which a contour counts as articular, mm."""
    return ARTICULAR_MM + ARTICULAR_RMS * min(sphere.rms_mm, ARTICULAR_MM)


def _notch_doubt_rad(socket: Socket) -> float:
    """Spread of the notch's middle when it is found again with other articular tolerances."""
    if socket.notch_middle_rad is None:
        return 0.0
    turns = []
    for factor in NOTCH_FACTORS:
        again = trace_rim(
            socket.sections,
            radius_mm=socket.sphere.radius_mm,
            band_mm=factor * articular_mm(socket.sphere),
            chord_mm=socket.chord_mm,
        )
        notch = find_notch(socket.sections, again)
        if notch is not None:
            turn = notch.middle_rad - socket.notch_middle_rad
            turns.append((turn + np.pi) % (2 * np.pi) - np.pi)
    return float(np.std(turns))
