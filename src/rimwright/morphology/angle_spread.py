"""How far the angles of a socket move when edge, centre and frame move within their doubt."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, PelvicReference
from rimwright.morphology.acetabular_angles import RimDraws
from rimwright.morphology.rim_trace import trace_rim
from rimwright.morphology.socket import Socket, articular_mm

N_DRAWS = 64
"""Readings drawn; the standard deviation of 64 is known to about 9 %."""
SEED = 20
"""Seed of the draws; the same for every hip, so that two reports of one hip agree."""
OTHER_CHORDS = (0.7, 1.4)
"""The edge is traced again with chords longer by these factors: the difference is its doubt."""
LEAST_EDGE_DOUBT_MM = 0.15
"""Doubt of a bony edge on any surface, mm: the tracing step is 0.25 mm."""
N_WAVES = 6
"""Waves round the ring that the drawn error of the edge is made of: it is not independent from
point to point."""
TILT_DEG = 5.0
"""Pelvic tilt drawn evenly within this, deg, where the image axes serve or not: a person's tilt
differs that much between lying and standing (from memory)."""
AXES_TURN_DEG = {
    PelvicReference.ANTERIOR_PELVIC_PLANE: 0.5,
    PelvicReference.IMAGE_AXES: 2.0,
}
"""Standard deviation of obliquity and rotation, deg: landmarks known to 2 mm over 230 mm, or a
patient laid on a table by eye (from memory)."""
CENTRE_PATCHES = 40
"""Independent patches that a sphere's centre rests on, for its standard error."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NominalReading:
    """
    The reading that draws are made round, pelvic frame about the head centre, mm.

    Parameters
    ----------
    rim_mm, inward, radial
        (n, 3) edge, and two unit directions of its radial plane at every section.
    socket_centre_mm, socket_radius_mm, head_radius_mm
        Spheres; the head's radius NaN without a femur.
    pole
        Medial pole.
    centre_rms_mm
        Miss of the sphere whose centre the angles are taken about.
    """

    rim_mm: Floats
    inward: Floats
    radial: Floats
    socket_centre_mm: Floats
    socket_radius_mm: float
    head_radius_mm: float
    pole: Floats
    centre_rms_mm: float

    def as_draws(self) -> RimDraws:
        """The reading itself, as a single draw."""
        return RimDraws(
            rims_mm=self.rim_mm[None],
            socket_centre_mm=self.socket_centre_mm[None],
            socket_radius_mm=np.array([self.socket_radius_mm]),
            head_radius_mm=np.array([self.head_radius_mm]),
            poles=self.pole[None],
        )


def edge_doubt_mm(socket: Socket) -> float:
    """Root-mean-square distance between edges traced with other chords, at least the least, mm."""
    misses = []
    for factor in OTHER_CHORDS:
        other = trace_rim(
            socket.sections,
            radius_mm=socket.sphere.radius_mm,
            band_mm=articular_mm(socket.sphere),
            chord_mm=factor * socket.chord_mm,
        )
        misses.append(
            (other.across_mm - socket.trace.across_mm) ** 2
            + (other.along_mm - socket.trace.along_mm) ** 2
        )
    squares = np.concatenate(misses)
    squares = squares[np.isfinite(squares)]
    found = float(np.sqrt(np.mean(np.minimum(squares, 4.0)))) if len(squares) else 0.0
    return max(found, LEAST_EDGE_DOUBT_MM)


def draw_readings(
    nominal: NominalReading, *, edge_mm: float, reference: PelvicReference
) -> RimDraws:
    """
    Draw readings round the nominal one.

    Parameters
    ----------
    nominal
        What was measured.
    edge_mm
        Doubt of the edge, mm, one standard deviation in each direction of the radial plane.
    reference
        What the pelvic frame was taken from.

    Returns
    -------
    RimDraws
        64 readings; seeded, in the frame of the own side, so that both sides draw alike.
    """
    random = np.random.default_rng(SEED)
    n = len(nominal.rim_mm)
    angles = np.arange(n) * (2 * np.pi / n)
    waves = np.concatenate(
        [np.ones((1, n))]
        + [np.stack([np.cos(k * angles), np.sin(k * angles)]) for k in range(1, N_WAVES + 1)]
    )
    waves /= np.sqrt((waves**2).sum(axis=0)).mean()
    error = edge_mm * (random.standard_normal((2, N_DRAWS, len(waves))) @ waves)
    rims = (
        nominal.rim_mm
        + error[0][:, :, None] * nominal.inward
        + error[1][:, :, None] * nominal.radial
    )
    centre_sd = nominal.centre_rms_mm / np.sqrt(CENTRE_PATCHES)
    shift = centre_sd * random.standard_normal((N_DRAWS, 3))
    radius_shift = centre_sd * random.standard_normal(N_DRAWS)
    turns = np.stack(
        [
            random.uniform(-TILT_DEG, TILT_DEG, N_DRAWS),
            AXES_TURN_DEG[reference] * random.standard_normal(N_DRAWS),
            AXES_TURN_DEG[reference] * random.standard_normal(N_DRAWS),
        ],
        axis=1,
    )
    matrices = _small_turns(np.radians(turns))
    rims = np.einsum("dij,dnj->dni", matrices, rims - shift[:, None, :])
    centres = np.einsum("dij,dj->di", matrices, nominal.socket_centre_mm - shift)
    return RimDraws(
        rims_mm=rims,
        socket_centre_mm=centres,
        socket_radius_mm=np.full(N_DRAWS, nominal.socket_radius_mm),
        head_radius_mm=nominal.head_radius_mm + radius_shift,
        poles=np.einsum("dij,j->di", matrices, nominal.pole),
    )


def _small_turns(turns_rad: Floats) -> Floats:
    """(d, 3, 3) turns about the lateral, the cranial and the anterior axis, in this order."""
    matrices = np.broadcast_to(np.eye(3), (len(turns_rad), 3, 3))
    for axis, (i, j) in enumerate(((1, 2), (2, 0), (0, 1))):
        turn = np.zeros((len(turns_rad), 3, 3))
        cosine, sine = np.cos(turns_rad[:, axis]), np.sin(turns_rad[:, axis])
        turn[:, axis, axis] = 1.0
        turn[:, i, i] = turn[:, j, j] = cosine
        turn[:, i, j], turn[:, j, i] = -sine, sine
        matrices = turn @ matrices
    return matrices
