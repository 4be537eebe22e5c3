"""What a scan leaves with a stored hip, as plain data: its grid, and the metal near the hip."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from rimwright.anatomy import Modality, ScanSource

if TYPE_CHECKING:
    from rimwright.morphology.scan import MetalPiece

_SOURCE = "source"
_METAL = "metal"


def take_scan_apart(source: ScanSource | None, metal: Sequence[MetalPiece]) -> dict[str, Any]:
    """
    Grid and metal as JSON data.

    Parameters
    ----------
    source
        None from surfaces: then nothing is written, and the file is as it always was.
    metal
        Pieces near the hip.

    Returns
    -------
    dict
        `source_of` and `metal_of` are the way back.
    """
    if source is None:
        return {}
    return {
        _SOURCE: {
            "modality": str(source.modality),
            "spacing_mm": list(source.spacing_mm),
            "n_slices": source.n_slices,
            "slice_thickness_mm": source.slice_thickness_mm,
            "has_labels": source.has_labels,
        },
        _METAL: [
            {
                "centre_mm": [float(number) for number in piece.centre_mm],
                "axis": [float(number) for number in piece.axis],
                "length_mm": float(piece.length_mm),
                "width_mm": float(piece.width_mm),
                "volume_mm3": float(piece.volume_mm3),
                "lies_in": piece.lies_in,
            }
            for piece in metal
        ],
    }


def source_of(plain: Mapping[str, Any]) -> ScanSource | None:
    """
    The scan's grid, if one was kept.

    Parameters
    ----------
    plain
        As `take_scan_apart` gave it, among others.

    Returns
    -------
    ScanSource or None
        None from surfaces.

    Raises
    ------
    KeyError, ValueError, TypeError
        A part is missing or misshapen; the reader of files turns them into a refusal.
    """
    if _SOURCE not in plain:
        return None
    kept = plain[_SOURCE]
    first, second, third = (float(step) for step in kept["spacing_mm"])
    thickness = kept["slice_thickness_mm"]
    return ScanSource(
        modality=Modality(kept["modality"]),
        spacing_mm=(first, second, third),
        n_slices=int(kept["n_slices"]),
        slice_thickness_mm=None if thickness is None else float(thickness),
        has_labels=bool(kept["has_labels"]),
    )


def metal_of(plain: Mapping[str, Any]) -> tuple[MetalPiece, ...]:
    """
    The metal near the hip, if any was kept.

    Parameters
    ----------
    plain
        As for `source_of`.

    Returns
    -------
    tuple of MetalPiece
        Empty from surfaces.

    Raises
    ------
    KeyError, ValueError, TypeError
        As `source_of`.
    """
    if not plain.get(_METAL):
        return ()
    from rimwright.morphology.scan import MetalPiece

    return tuple(
        MetalPiece(
            centre_mm=np.array(item["centre_mm"], dtype=np.float64),
            axis=np.array(item["axis"], dtype=np.float64),
            length_mm=float(item["length_mm"]),
            width_mm=float(item["width_mm"]),
            volume_mm3=float(item["volume_mm3"]),
            lies_in=str(item["lies_in"]),
        )
        for item in plain[_METAL]
    )
