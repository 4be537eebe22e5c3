"""Which hips a scan holds, and their sides."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, Side, Vector
from rimwright.morphology.scan.bone_edges import find_bone_edges
from rimwright.morphology.scan.head_search import find_balls
from rimwright.morphology.scan.joint_trace import JointTrace, trace_joint
from rimwright.morphology.scan.oriented import OrientedGrid

N_TRIED = 6
STRIDE, N_ROUNDS = 3, 2
LEAST_COVER = 0.15
"""Least share of the medial half of a head that a socket covers: trochanters and condyles have
0.00 to 0.12, the poorest real hip tried (3 mm slices, metal) 0.20, sharp ones 0.4 and more."""
POOR_LEAST, POOR_COVER = 0.08, 0.4
"""A hip covered less than the second is looked at from all about; less than the first is none."""
ABOUT_MM, USUAL_RADIUS_MM = 5.0, 24.5
"""How far about, and with what radius to begin, mm."""
LEAST_RADIUS_MM, MOST_RADIUS_MM = 13.0, 34.0
LEAST_APART_MM, MOST_APART_MM = 90.0, 300.0
"""Distance of two femoral heads of one person, mm (adults: 150 to 200)."""
MOST_UNEVEN_MM = 90.0
"""Two heads further apart than this in height or depth are not a pair, mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FoundHip:
    """
    A head in a socket.

    Parameters
    ----------
    side
        Told by where the socket lies.
    centre_mm, radius_mm
        Of the head, to about 1 mm.
    cover
        Share of its medial half that a socket is seen to cover.
    share
        Share of the head that is seen as a sphere.
    """

    side: Side
    centre_mm: Vector
    radius_mm: float
    cover: float
    share: float

    @property
    def score(self) -> float:
        """What the better of two looks at one hip has more of."""
        return self.cover * self.share


def find_hips(scan: OrientedGrid, coarse: OrientedGrid) -> tuple[FoundHip, ...]:
    """
    Find the hips of a scan.

    Parameters
    ----------
    scan, coarse
        The scan, and its means at 2 to 3 mm.

    Returns
    -------
    tuple of FoundHip
        None, one or two, left first.
    """
    found: list[FoundHip] = []
    for ball in find_balls(coarse, find_bone_edges(coarse))[:N_TRIED]:
        tried = [_tried(scan, ball.centre_mm, ball.radius_mm, side) for side in Side]
        best = max(tried, key=lambda hip: hip.cover)
        if POOR_LEAST < best.cover < POOR_COVER:
            best = _looked_about(scan, best)
        if best.cover < LEAST_COVER:
            continue
        if not LEAST_RADIUS_MM < best.radius_mm < MOST_RADIUS_MM:
            continue
        if np.linalg.norm(best.centre_mm - ball.centre_mm) > 0.6 * ball.radius_mm:
            continue
        found.append(best)
        if len({hip.side for hip in found if hip.cover > POOR_COVER}) == 2:
            break
    return _pair(found)


def _looked_about(scan: OrientedGrid, hip: FoundHip) -> FoundHip:
    """The best of several looks at a hip that is poorly seen: metal and porous bone mislead one."""
    offsets = np.concatenate([np.zeros((1, 3)), ABOUT_MM * np.eye(3), -ABOUT_MM * np.eye(3)])
    looks = [hip]
    looks += [_tried(scan, hip.centre_mm + offset, USUAL_RADIUS_MM, hip.side) for offset in offsets]
    return max(looks, key=lambda look: look.score)


def _tried(scan: OrientedGrid, centre_mm: Vector, radius_mm: float, side: Side) -> FoundHip:
    """A ball looked at as a head of one side."""
    trace: JointTrace = trace_joint(
        scan,
        centre_mm=centre_mm,
        radius_mm=radius_mm,
        side=side,
        stride=STRIDE,
        n_rounds=N_ROUNDS,
    )
    return FoundHip(
        side=side,
        centre_mm=trace.sphere.centre_mm,
        radius_mm=trace.sphere.radius_mm,
        cover=trace.cover,
        share=trace.sphere.share,
    )


def _pair(found: list[FoundHip]) -> tuple[FoundHip, ...]:
    """The best hip of each side that make a person together."""
    found = sorted(found, key=lambda hip: -hip.cover)
    pairs = [
        (left, right)
        for left in found
        for right in found
        if left.side is Side.LEFT and right.side is Side.RIGHT and _are_pair(left, right)
    ]
    if pairs:
        return max(pairs, key=lambda pair: pair[0].cover + pair[1].cover)
    return tuple(found[:1])


def _are_pair(left: FoundHip, right: FoundHip) -> bool:
    """Whether two heads lie as in one person."""
    apart: Floats = left.centre_mm - right.centre_mm
    return bool(
        LEAST_APART_MM < apart[0] < MOST_APART_MM and np.abs(apart[1:]).max() < MOST_UNEVEN_MM
    )
