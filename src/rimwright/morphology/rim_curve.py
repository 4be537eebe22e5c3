"""The rim by hour: the dial is laid through the middle of the notch, and the edge read off it."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import ClockReference, Floats, RimCurve, hours_of_rim
from rimwright.morphology.socket import Socket, inward_directions

LENGTH_STRIDE = 6
"""Sections between the points that the length is summed over."""
ASSUMED_HOUR_DOUBT = 0.5
"""Doubt of the hour zero where no notch was seen, hours: C2, the references differ by about this
(from memory)."""


def build_rim_curve(socket: Socket) -> RimCurve:
    """
    Count the hours of a traced rim.

    Parameters
    ----------
    socket
        A traced socket.

    Returns
    -------
    RimCurve
        6 at the middle of the notch and 3 anterior; without a notch, 12 cranial in the pelvic
        frame.

    Notes
    -----
    Hours are angles round the opening axis about the sphere's centre; points between sections
    are read linearly (about 0.4 mm apart, so a chord errs by 0.001 mm).
    """
    sections = socket.sections
    if socket.notch_middle_rad is None:
        twelve_rad, reference, doubt = 0.0, ClockReference.IMAGE_AXES, ASSUMED_HOUR_DOUBT
    else:
        twelve_rad = socket.notch_middle_rad + np.pi
        reference = ClockReference.NOTCH
        doubt = float(np.degrees(socket.notch_doubt_rad) / 30.0)
    twelve = np.cos(twelve_rad) * socket.zero + np.sin(twelve_rad) * socket.quarter
    three = -np.sin(twelve_rad) * socket.zero + np.cos(twelve_rad) * socket.quarter
    # azimuth runs from cranial to anterior, as hours do
    hours = hours_of_rim()
    at = ((np.radians(30.0 * hours) + twelve_rad) % (2 * np.pi)) / (
        2 * np.pi / len(sections.angles_rad)
    )
    across = _read(socket.trace.across_mm, at)
    along = _read(socket.trace.along_mm, at)
    angle = np.radians(30.0 * hours)
    radials = np.cos(angle)[:, None] * twelve + np.sin(angle)[:, None] * three
    points = socket.sphere.centre_mm + across[:, None] * radials + along[:, None] * socket.axis
    inward = np.stack([_read(column, at) for column in inward_directions(socket).T], axis=1)
    inward /= np.linalg.norm(inward, axis=1, keepdims=True)
    # outward: normal to the bisector, in the radial plane, away from the joint
    outward = (inward @ socket.axis)[:, None] * -radials + np.einsum("ij,ij->i", inward, radials)[
        :, None
    ] * socket.axis
    outward /= np.linalg.norm(outward, axis=1, keepdims=True)
    notch_from = notch_to = None
    if socket.notch_width_rad is not None:
        half = np.degrees(socket.notch_width_rad) / 60.0
        notch_from, notch_to = 6.0 - half, 6.0 + half
        inside = (hours > notch_from) & (hours < notch_to)
        points[inside] = np.nan
    gap = ~np.isfinite(points[:, 0])
    inward[gap] = np.nan
    outward[gap] = np.nan
    return RimCurve(
        hours=hours,
        points_mm=points,
        outward=outward,
        bone_inward=inward,
        centre_mm=socket.sphere.centre_mm,
        axis=socket.axis,
        twelve=twelve,
        three=three,
        notch_from_hour=notch_from,
        notch_to_hour=notch_to,
        reference=reference,
        hour_doubt=doubt,
        length_mm=_closed_length_mm(socket),
    )


def _read(values: Floats, at: Floats) -> Floats:
    """Linear reading of ring values at fractional positions; beside a gap the nearest."""
    n = len(values)
    low = np.floor(at).astype(np.int64) % n
    high = (low + 1) % n
    fraction = at - np.floor(at)
    mixed = (1 - fraction) * values[low] + fraction * values[high]
    nearest = np.where(fraction < 0.5, values[low], values[high])
    return np.where(np.isfinite(mixed), mixed, nearest)


def _closed_length_mm(socket: Socket) -> float:
    """Length of the closed curve; at a gap it goes on to the notch's end, then straight across."""
    points = socket.rim_points_mm()
    is_bone = np.isfinite(points[:, 0])
    seen = points[is_bone]
    if socket.notch_middle_rad is not None and socket.notch_width_rad is not None:
        n = len(points)
        start = int(np.flatnonzero(is_bone & ~np.roll(is_bone, 1))[0])
        rolled = np.roll(points, -start, axis=0)
        seen = rolled[np.isfinite(rolled[:, 0])]
        # sections from the first and the last bone section to the notch's ends
        middle = socket.notch_middle_rad * n / (2 * np.pi)
        half = 0.5 * socket.notch_width_rad * n / (2 * np.pi)
        before = (start - middle) % n - half
        after = (middle - (start + len(seen) - 1)) % n - half
        head = seen[0] + before * (seen[0] - seen[LENGTH_STRIDE]) / LENGTH_STRIDE
        tail = seen[-1] + after * (seen[-1] - seen[-1 - LENGTH_STRIDE]) / LENGTH_STRIDE
        # steps of 2.6 mm, so that tracing noise does not lengthen the curve
        seen = np.vstack([head, seen[: -LENGTH_STRIDE // 2 : LENGTH_STRIDE], tail])
    return float(np.linalg.norm(np.diff(np.vstack([seen, seen[:1]]), axis=0), axis=1).sum())
