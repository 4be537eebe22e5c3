"""Radial pictures as numbers: arrays with where each plane lies, and alpha by femoral hour."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from rimwright.casework.radial_subject import RadialSubject, RadialWish

if TYPE_CHECKING:
    from rimwright.morphology.reformat import AlphaAtHour, NeckPlane, SocketPlane

RADIAL_SCHEMA = "rimwright.radial/1"
"""Of the arrays; their keys are listed in the how-to."""


def radial_arrays(
    pictures: npt.NDArray[np.float32],
    planes: Sequence[SocketPlane] | Sequence[NeckPlane],
    subject: RadialSubject,
    wish: RadialWish,
) -> bytes:
    """
    The numbers behind the pictures, and where each plane lies.

    Parameters
    ----------
    pictures
        (n, h, w), in the volume's unit; NaN outside it.
    planes
        Of the pictures, of one kind.
    subject, wish
        Side and image; thickness.

    Returns
    -------
    bytes
        An npz file.
    """
    clock = planes[0].clock
    buffer = io.BytesIO()
    np.savez_compressed(
        buffer,
        schema=np.array(RADIAL_SCHEMA),
        kind=np.array(str(planes[0].kind)),
        side=np.array(str(subject.side)),
        axes=np.array("LPS"),
        modality=np.array(str(subject.volume.modality)),
        slab_mm=np.array(wish.slab_mm),
        slab=np.array(wish.slab),
        pictures=pictures,
        hours=np.array([plane.hour for plane in planes]),
        opposite_hours=np.array([plane.opposite_hour for plane in planes]),
        middle_mm=np.stack([plane.middle_mm for plane in planes]),
        right=np.stack([plane.right for plane in planes]),
        up=np.stack([plane.up for plane in planes]),
        pixel_mm=np.array([plane.pixel_mm for plane in planes]),
        centre_mm=clock.centre_mm,
        axis=clock.axis,
        twelve=clock.twelve,
        three=clock.three,
        reference=np.array(str(clock.reference)),
        notes=np.array([*clock.notes, *subject.notes], dtype=np.str_),
    )
    return buffer.getvalue()


def alpha_table(alpha: Sequence[AlphaAtHour]) -> str:
    """
    Alpha by femoral hour as comma-separated values.

    Parameters
    ----------
    alpha
        Of one hip.

    Returns
    -------
    str
        A line for each hour; a refused value is empty, with its reason.
    """
    buffer = io.StringIO()
    table = csv.writer(buffer, lineterminator="\n")
    table.writerow(["femoral_hour", "alpha_deg", "spread_deg", "status", "reason", "method"])
    for item in alpha:
        reading = item.alpha
        table.writerow(
            [
                f"{item.femoral_hour:g}",
                "" if reading.value is None else f"{reading.value:.2f}",
                "" if reading.spread is None else f"{reading.spread:.2f}",
                str(reading.status),
                reading.reason,
                reading.method,
            ]
        )
    return buffer.getvalue()
