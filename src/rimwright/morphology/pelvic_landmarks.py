"""Pelvic landmarks and the pelvic frame: ASIS and pubic tubercles found as points of support.

A board laid on the front of a pelvis touches both anterior superior iliac spines and both
pubic tubercles. The landmarks are where it touches: the farthest points forward of the upper,
lateral and of the lower, medial part of each hip bone, found again after every tilt of the board.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import (
    Frame,
    PelvicFrame,
    PelvicReference,
    Points,
    RigidTransform,
    Side,
    TriangleMesh,
    Vector,
    pelvic_frame_of_image,
)

MOST_TILTS = 25
"""Tilts of the board at most; real pelves settle in three to six."""
LEAST_ASIS_ABOVE_MM = 40.0
"""An ASIS lies at least this far cranial of the socket centre, mm (adult hip bones: 55 to 90)."""
LEAST_CREST_ABOVE_MM = 15.0
"""The iliac crest rises at least this far above the ASIS, mm; less means a bone cut off."""
LEAST_TUBERCLE_MEDIAL_MM = 25.0
"""A pubic tubercle lies at least this far medial of the socket centre, mm."""
MOST_TURN_DEG = 45.0
"""A board tilted further against the image axes is no longer the front of a pelvis, deg."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PelvicLandmarks:
    """
    Landmarks found and the frame they give.

    Parameters
    ----------
    points_mm
        Name to (3,) mm, image frame: 'asis', 'pubic_tubercle', and with '_other' the other side.
    frame
        The pelvic frame.
    reason
        Why the image axes had to serve; '' where the landmarks give the frame.
    """

    points_mm: Mapping[str, Vector]
    frame: PelvicFrame
    reason: str


def find_pelvic_frame(
    bone: TriangleMesh | None,
    *,
    centre_mm: Vector | None,
    other_bone: TriangleMesh | None = None,
    other_centre_mm: Vector | None = None,
    given_mm: Mapping[str, Vector] | None = None,
) -> PelvicLandmarks:
    """
    Find ASIS and pubic tubercles and lay the pelvic frame of a left hip through them.

    Parameters
    ----------
    bone, centre_mm
        The hip bone of the (left) side measured and its socket centre.
    other_bone, other_centre_mm
        The hip bone of the other side and its socket centre.
    given_mm
        Landmarks set by the user; they win over those found.

    Returns
    -------
    PelvicLandmarks
        Anterior pelvic plane where all four points are there, else the image axes.

    Notes
    -----
    Lateral runs from the other ASIS to the own one; anterior is normal to it and to the line
    from the middle of the tubercles to the middle of the spines. Own method.
    """
    image = pelvic_frame_of_image(Side.LEFT, origin_mm=centre_mm)
    given = dict(given_mm or {})
    names = ("asis", "pubic_tubercle", "asis_other", "pubic_tubercle_other")
    anterior = image.anterior
    cranial = image.cranial
    points: dict[str, Vector] = {}
    frame, reason = image, ""
    for _ in range(MOST_TILTS):
        points = {}
        for suffix, body, middle, lateral in (
            ("", bone, centre_mm, image.lateral),
            ("_other", other_bone, other_centre_mm, -image.lateral),
        ):
            if body is not None and middle is not None:
                found = _touching(body.vertices_mm, middle, anterior, cranial, lateral)
                points.update({name + suffix: point for name, point in found.items()})
        points.update(given)
        lacking = [name for name in names if name not in points]
        if lacking:
            reason = "not seen: " + ", ".join(_spoken(name) for name in lacking)
            return PelvicLandmarks(points_mm=points, frame=image, reason=reason)
        frame = _frame_through(points, centre_mm)
        if frame.anterior @ image.anterior < np.cos(np.radians(MOST_TURN_DEG)):
            reason = "ASIS and pubic tubercles do not form the front of a pelvis"
            return PelvicLandmarks(points_mm=points, frame=image, reason=reason)
        if np.abs(frame.anterior - anterior).max() < 1e-12:
            break
        anterior, cranial = frame.anterior, frame.cranial
    return PelvicLandmarks(points_mm=points, frame=frame, reason=reason)


def _touching(
    vertices: Points, centre: Vector, anterior: Vector, cranial: Vector, lateral: Vector
) -> dict[str, Vector]:
    """ASIS and pubic tubercle of one bone: farthest forward of its upper and its medial part."""
    relative = vertices - centre
    height, forward, outward = relative @ cranial, relative @ anterior, relative @ lateral
    found: dict[str, Vector] = {}
    upper = np.flatnonzero(height > LEAST_ASIS_ABOVE_MM)
    if len(upper):
        asis = upper[np.argmax(forward[upper])]
        if height.max() - height[asis] > LEAST_CREST_ABOVE_MM:
            found["asis"] = vertices[asis]
    # the pubis: well medial, and not so high that the pelvic brim or the sacrum counts
    medial = np.flatnonzero((outward < -LEAST_TUBERCLE_MEDIAL_MM) & (height < 20.0))
    if len(medial):
        found["pubic_tubercle"] = vertices[medial[np.argmax(forward[medial])]]
    return found


def _frame_through(points: Mapping[str, Vector], origin_mm: Vector | None) -> PelvicFrame:
    """The frame of four landmarks, left side."""
    lateral = points["asis"] - points["asis_other"]
    lateral = lateral / np.linalg.norm(lateral)
    spines = 0.5 * (points["asis"] + points["asis_other"])
    tubercles = 0.5 * (points["pubic_tubercle"] + points["pubic_tubercle_other"])
    cranial = spines - tubercles
    cranial = cranial - (cranial @ lateral) * lateral
    cranial = cranial / np.linalg.norm(cranial)
    axes = np.stack([lateral, cranial, np.cross(lateral, cranial)])
    return PelvicFrame(
        side=Side.LEFT,
        reference=PelvicReference.ANTERIOR_PELVIC_PLANE,
        pelvic_from_image=RigidTransform(
            source=Frame.IMAGE,
            target=Frame.PELVIC,
            axes=axes,
            origin_mm=np.zeros(3) if origin_mm is None else origin_mm,
        ),
    )


def _spoken(name: str) -> str:
    """A landmark's name as read aloud."""
    side = " of the other side" if name.endswith("_other") else ""
    stem = name.removesuffix("_other")
    return ("ASIS" if stem == "asis" else "pubic tubercle") + side
