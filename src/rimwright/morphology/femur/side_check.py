"""Whether a femur is of the side, and lies in the axes, that were claimed."""

from __future__ import annotations

from rimwright.anatomy import Side
from rimwright.errors import BoneRefusal
from rimwright.morphology.femur.condyles import FoundCondyles
from rimwright.morphology.femur.neck import FoundNeck
from rimwright.morphology.femur.shaft import FoundShaft
from rimwright.morphology.femur.surface import CRANIAL, LATERAL, WHERE

CLEARLY = 0.25
"""A direction points a way when its cosine to it is at least this (75 deg)."""
UPSIDE_DOWN = 0.4
"""Without a shaft: a neck that rises from the head by this cosine hangs upside down; a level neck
(coxa vara, a flexed hip) stays near zero."""
UPRIGHT_LEAST = 0.7
"""Shafts lie within 45 deg of the cranial axis in a patient who lies or stands."""


def check_side(
    *,
    side: Side,
    neck: FoundNeck,
    shaft: FoundShaft | None,
    condyles: FoundCondyles | None,
) -> list[str]:
    """
    Refuse a femur whose geometry contradicts its side or its axes.

    Parameters
    ----------
    side
        The side claimed.
    neck, shaft, condyles
        What was found, in the pelvic frame of that side.

    Returns
    -------
    list of str
        Doubts that are too weak to refuse on.

    Raises
    ------
    BoneRefusal
        Upside down, the head lateral of the shaft, or the condyles turned to the front.
    """
    proximal_up = shaft.axis[CRANIAL] if shaft is not None else None
    if (proximal_up is not None and proximal_up < -CLEARLY) or (
        proximal_up is None and neck.axis[CRANIAL] > UPSIDE_DOWN
    ):
        raise BoneRefusal(
            "the head is the lowest part of the femur (got it upside down, need +z cranial)",
            WHERE,
            "Give the axes that the file is written in",
        )
    is_turned = condyles is not None and condyles.is_turned
    outwards = float(neck.axis[LATERAL])
    if outwards < -CLEARLY and is_turned:
        raise BoneRefusal(
            "head and condyles both point the wrong way "
            f"(got the image half-turned about the long axis, need a {side} femur in LPS)",
            WHERE,
            "Give the axes that the file is written in (RAS?)",
        )
    if outwards < -CLEARLY:
        raise BoneRefusal(
            f"the head lies on the lateral side of the shaft (got a {side.other} femur, "
            f"need a {side} one)",
            WHERE,
            f"Give side {side.other}, or the axes that the file is written in",
        )
    if is_turned:
        raise BoneRefusal(
            "the backs of the condyles face forward (got a femur of the other side in a "
            f"half-turned image, or a mirrored one, need a {side} femur in LPS)",
            WHERE,
            "Check the side and the axes that the file is written in",
        )
    doubts = []
    if outwards < CLEARLY:
        doubts.append(
            "the femoral neck points neither medial nor lateral of the image: "
            f"that this is a {side} femur could not be checked"
        )
    if proximal_up is not None and proximal_up < UPRIGHT_LEAST:
        doubts.append(
            "the femoral shaft lies far from the cranial axis: check the axes of the file"
        )
    return doubts
