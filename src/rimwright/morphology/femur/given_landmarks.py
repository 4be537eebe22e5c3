"""Landmarks of the femur that a person has set, in place of those found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from rimwright.anatomy import Vector
from rimwright.morphology.femur.condyles import FoundCondyles
from rimwright.morphology.femur.head import FoundHead
from rimwright.morphology.femur.neck import FoundNeck
from rimwright.morphology.femur.shaft import FoundShaft

FEMORAL_LANDMARKS = ("condyle_lateral", "condyle_medial", "greater_trochanter", "neck_centre")
"""Landmarks of the femur that may be set."""


def with_given_neck(
    neck: FoundNeck | str, head: FoundHead, given: Mapping[str, Vector]
) -> FoundNeck | str:
    """The neck with its axis through a given centre; its size stays as found."""
    if "neck_centre" not in given or isinstance(neck, str):
        return neck
    step = given["neck_centre"] - head.sphere.centre_mm
    along = float(np.linalg.norm(step))
    return replace(neck, centre_mm=given["neck_centre"], axis=step / along, along_mm=along)


def with_given_condyles(
    condyles: FoundCondyles | str, shaft: FoundShaft | str, given: Mapping[str, Vector]
) -> FoundCondyles | str:
    """The backs of the condyles at given points; both are needed where none was found."""
    if isinstance(shaft, str) or not {"condyle_medial", "condyle_lateral"} & set(given):
        return condyles
    medial, lateral = given.get("condyle_medial"), given.get("condyle_lateral")
    if not isinstance(condyles, str):
        medial = condyles.medial_mm if medial is None else medial
        lateral = condyles.lateral_mm if lateral is None else lateral
    if medial is None or lateral is None:
        return condyles
    across = medial - lateral
    across = across - across @ shaft.axis * shaft.axis
    across = across / np.linalg.norm(across)
    # lateral x cranial = anterior, and `across` runs to medial
    forward = np.cross(shaft.axis, across)
    return FoundCondyles(
        medial_mm=medial,
        lateral_mm=lateral,
        towards_medial=across,
        forward=forward,
        is_turned=False,
    )
