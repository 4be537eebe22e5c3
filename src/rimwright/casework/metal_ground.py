"""Metal seen in the scan: what can only be an old anchor blocks drills, the rest is told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from rimwright.anatomy import HipGeometry, OldAnchor, RimCurve, Vector, spoken_hour
from rimwright.casework.hip_store import StoredHip
from rimwright.fixation import FixationLimits, MeshBoneField
from rimwright.fixation.old_anchors import OldRow, lay_old_anchors

if TYPE_CHECKING:
    from rimwright.morphology.scan import MetalPiece

MOST_WIDTH_MM = 7.0
"""A piece wider than this is taken for no anchor, mm: the widest drills in use for the rim are
near 3.5 mm (from memory), and a rod that wide of 20,000 HU, smeared by 1 mm in 0.7 mm voxels, shows
6.3 mm over the limit of metal (worked out on a disc); 2.9 mm shows 5.7 mm."""
MOST_LENGTH_MM = 30.0
"""A piece longer than this is taken for no anchor, mm: drills for the rim are 10 to 20 mm deep, and
blooming adds some millimetres at each end."""
MOST_FROM_RIM_MM = 12.0
"""The nearer end of an anchor lies no farther than this from the edge, mm: entries stand within a
few millimetres of it, and an anchor is sunk some millimetres below its entry."""
SAME_PLACE_MM = 8.0
"""Metal this near to an old anchor that the case lists is that anchor, mm: about the spacing of
neighbours, above the doubt of a place known by its hour."""
DIFFERS_MM = 3.0
"""Beyond this the case and the scan are said to differ, mm."""
LEAST_LENGTH_MM = 0.5
"""Any extent counts as at least this, mm: under the voxel of any scan."""

IN_HIP_BONE = "hip bone"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MetalObstacles:
    """
    Old anchors that only the scan shows.

    Parameters
    ----------
    bodies
        By entry and direction.
    cautions
        What was taken for an anchor, what the case places otherwise, and what blocks nothing.
    """

    bodies: tuple[OldAnchor, ...] = ()
    cautions: tuple[str, ...] = ()


def metal_obstacles(
    stored: StoredHip | None, *, listed: Sequence[OldAnchor], limits: FixationLimits
) -> MetalObstacles:
    """
    Turn slim metal near the rim into bodies that corridors keep off.

    Parameters
    ----------
    stored
        The measured hip with the metal of its scan; None where there is none.
    listed
        Old anchors and tunnels that the case gives; where one lies at a piece, the case wins.
    limits
        Say where an old anchor known by its hour is taken to lie.

    Returns
    -------
    MetalObstacles
        Nothing where no rim was found: then nothing is drilled anyway.

    Raises
    ------
    CaseRefusal
        An anchor of the case lies in the notch.

    Notes
    -----
    Absorbed and plastic anchors do not show: metal not seen proves no free rim.
    """
    if stored is None or stored.field is None or stored.hip.rim is None:
        return MetalObstacles()
    rim = stored.hip.rim
    in_bone = [piece for piece in stored.metal if piece.lies_in == IN_HIP_BONE]
    if not in_bone:
        return MetalObstacles()
    slim = [piece for piece in in_bone if _looks_like_anchor(piece, rim)]
    cautions = []
    pairs = _paired(slim, listed, field=stored.field, rim=rim, limits=limits)
    bodies = []
    for number, piece in enumerate(slim):
        if number in pairs:
            text = _said_of_listed(piece, pairs[number], stored.hip)
            cautions += [text] if text else []
            continue
        bodies.append(_as_anchor(piece, rim))
        cautions.append(
            f"Metal at {_place(piece, rim)}, {_size(piece)}, taken for an old anchor that the case "
            "does not list: drills are kept off what shows of it; a hole above it does not show"
        )
    cautions += [_too_much(piece, rim) for piece in in_bone if piece not in slim]
    return MetalObstacles(bodies=tuple(bodies), cautions=tuple(cautions))


def _looks_like_anchor(piece: MetalPiece, rim: RimCurve) -> bool:
    """Slim, short and near the edge."""
    return (
        piece.width_mm <= MOST_WIDTH_MM
        and piece.length_mm <= MOST_LENGTH_MM
        and min(_from_rim_mm(end, rim) for end in _ends(piece)) <= MOST_FROM_RIM_MM
    )


def _as_anchor(piece: MetalPiece, rim: RimCurve) -> OldAnchor:
    """The piece as a body from its end nearer the rim."""
    first, second = _ends(piece)
    if _from_rim_mm(second, rim) < _from_rim_mm(first, rim):
        first, second = second, first
    return OldAnchor(
        drill_mm=max(piece.width_mm, LEAST_LENGTH_MM),
        depth_mm=max(piece.length_mm, LEAST_LENGTH_MM),
        entry_mm=first,
        direction=second - first,
    )


def _paired(
    slim: Sequence[MetalPiece],
    listed: Sequence[OldAnchor],
    *,
    field: MeshBoneField,
    rim: RimCurve,
    limits: FixationLimits,
) -> dict[int, float]:
    """Which pieces the case lists, each with how far apart the two lie, mm; nearest first."""
    rows = lay_old_anchors(field, rim, old_anchors=listed, limits=limits)
    ranked = sorted(
        (_from_body_mm(piece.centre_mm - field.origin_mm, row), k, n)
        for k, piece in enumerate(slim)
        for n, row in enumerate(rows)
    )
    found: dict[int, float] = {}
    used: set[int] = set()
    for apart_mm, k, n in ranked:
        if apart_mm <= SAME_PLACE_MM and k not in found and n not in used:
            found[k] = apart_mm
            used.add(n)
    return found


def _said_of_listed(piece: MetalPiece, apart_mm: float, hip: HipGeometry) -> str:
    """What is to be said of metal that the case lists; '' where both agree."""
    if apart_mm <= DIFFERS_MM or hip.rim is None:
        return ""
    return (
        f"Metal at {_place(piece, hip.rim)} lies {apart_mm:.0f} mm from the old anchor that the "
        "case lists there: drills are kept off the one of the case, not off the metal; correct the "
        "case if the scan is right"
    )


def _too_much(piece: MetalPiece, rim: RimCurve) -> str:
    """A sentence on metal that is not taken for an anchor."""
    near = min(_from_rim_mm(end, rim) for end in _ends(piece)) <= MOST_FROM_RIM_MM
    where = f"near the rim at {_place(piece, rim)}" if near else "away from the rim"
    return (
        f"Metal in the hip bone {where}, {_size(piece)}, is not taken for an old anchor and blocks "
        "no drill here: look at it on the images, and list it in the case if a drill could meet it"
    )


def _size(piece: MetalPiece) -> str:
    """Extent in words; blooming is part of it."""
    return f"{piece.length_mm:.0f} mm long and {piece.width_mm:.0f} mm wide as it shows"


def _place(piece: MetalPiece, rim: RimCurve) -> str:
    """The hour of the rim nearest to it."""
    distances = np.linalg.norm(rim.points_mm - piece.centre_mm, axis=1)
    return spoken_hour(float(rim.hours[int(np.nanargmin(distances))]))


def _ends(piece: MetalPiece) -> tuple[Vector, Vector]:
    """Both ends of its axis, (3,) mm."""
    half = 0.5 * max(piece.length_mm, LEAST_LENGTH_MM) * np.asarray(piece.axis)
    return piece.centre_mm - half, piece.centre_mm + half


def _from_rim_mm(point_mm: Vector, rim: RimCurve) -> float:
    """Distance of a point from the edge, the notch left out, mm."""
    return float(np.nanmin(np.linalg.norm(rim.points_mm - point_mm, axis=1)))


def _from_body_mm(point: Vector, row: OldRow) -> float:
    """Distance of a point from the axis of an old anchor, both in the field's coordinates, mm."""
    along = float(np.clip((point - row.entry) @ row.direction, 0.0, row.depth_mm))
    return float(np.linalg.norm(point - row.entry - along * row.direction))
