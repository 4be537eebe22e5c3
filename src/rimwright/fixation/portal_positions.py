"""Where portals lie on the assumed skin, from the ASIS and the trochanter, in the pelvic frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, HipGeometry, Vector
from rimwright.evidence import EvidenceTable

SKIN_STEPS = 720
"""Steps of the quarter ellipse that stands for the skin; its length is exact to 0.01 mm."""
TROCHANTER_BAND_MM = 40.0
"""Femur within this of the trochanter tip along the cranial axis holds the trochanter's lateral
face, mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SkinPoint:
    """
    One portal before its reach is known.

    Parameters
    ----------
    name
        Trade name.
    skin_mm
        (3,) mm, image frame.
    evidence
        Evidence ids of its position.
    """

    name: str
    skin_mm: Vector
    evidence: tuple[str, ...]


class _Skin:
    """The skin of one hip in an axial plane: a quarter ellipse from the side to the front.

    Coordinates are pelvic (lateral, cranial, anterior), mm. It is the same at every level.
    """

    def __init__(self, *, asis: Floats, trochanter: Floats, lateral_mm: float, front_mm: float):
        self.middle = np.array([asis[0], trochanter[2]])
        self.half = np.array(
            [max(lateral_mm - asis[0], 1.0), max(asis[2] + front_mm - trochanter[2], 1.0)]
        )
        turn = np.linspace(0.0, np.pi / 2, SKIN_STEPS + 1)
        self.points = self.middle + self.half * np.column_stack([np.cos(turn), np.sin(turn)])
        steps = np.linalg.norm(np.diff(self.points, axis=0), axis=1)
        self.along = np.concatenate([[0.0], np.cumsum(steps)])

    def at_anterior(self, anterior_mm: float) -> Floats:
        """(lateral, anterior) where the skin lies that far anterior; flat behind the side."""
        if anterior_mm <= self.middle[1]:
            return np.array([self.points[0, 0], anterior_mm])
        anterior = min(anterior_mm, float(self.points[-1, 1]))
        return np.array([np.interp(anterior, self.points[:, 1], self.points[:, 0]), anterior])

    def at_lateral(self, lateral_mm: float) -> Floats:
        """(lateral, anterior) of the front at a lateral coordinate; flat medial of the ASIS."""
        if lateral_mm <= self.middle[0]:
            return np.array([lateral_mm, self.points[-1, 1]])
        lateral = min(lateral_mm, float(self.points[0, 0]))
        return np.array([lateral, np.interp(lateral, self.points[::-1, 0], self.points[::-1, 1])])

    def forward_of(self, start: Floats, arc_mm: float) -> Floats:
        """(lateral, anterior) an arc length forward along the skin, at most to the front."""
        begin = start[1] - self.middle[1]  # mm behind the side where negative: flat there
        at = begin if begin < 0 else float(np.interp(start[1], self.points[:, 1], self.along))
        at = at + arc_mm
        if at < 0:
            return np.array([self.points[0, 0], self.middle[1] + at])
        return np.array([np.interp(at, self.along, self.points[:, k]) for k in range(2)])


def skin_points(hip: HipGeometry, table: EvidenceTable) -> tuple[SkinPoint, ...]:
    """
    Place the five portals on the assumed skin.

    Parameters
    ----------
    hip
        With ASIS and greater trochanter among its landmarks.
    table
        Settings in force.

    Returns
    -------
    tuple of SkinPoint
        Anterolateral, posterolateral, anterior, mid-anterior, distal anterolateral accessory.

    Notes
    -----
    The skin is a quarter ellipse in every axial plane, from `skin_depth_mm` beside the
    trochanter's lateral face to `skin_depth_asis_mm` in front of the ASIS. Offsets: the settings
    `portal.*`, planning rows 5.28 to 5.32.
    """
    to_pelvic = hip.frame.pelvic_from_image

    def setting(name: str) -> float:
        return table.number(f"portal.{name}")

    asis = to_pelvic.points(hip.landmarks_mm["asis"])
    trochanter = to_pelvic.points(hip.landmarks_mm["greater_trochanter"])
    skin = _Skin(
        asis=asis,
        trochanter=trochanter,
        lateral_mm=_lateral_face_mm(hip, trochanter) + setting("skin_depth_mm"),
        front_mm=setting("skin_depth_asis_mm"),
    )
    side = skin.at_anterior(trochanter[2] + setting("anterolateral_anterior_mm"))
    level = trochanter[1] + setting("anterolateral_cranial_mm")
    slope = np.radians(setting("mid_anterior_slope_deg"))
    distance = setting("mid_anterior_distance_mm")
    placed = {
        "anterolateral": (side, level, "anterolateral_anterior_mm"),
        "posterolateral": (
            skin.at_anterior(side[1] - setting("posterolateral_posterior_mm")),
            level,
            "posterolateral_posterior_mm",
        ),
        "anterior": (
            skin.at_lateral(asis[0] + setting("anterior_lateral_of_asis_mm")),
            trochanter[1] + setting("anterior_cranial_of_trochanter_mm"),
            "anterior_lateral_of_asis_mm",
        ),
        "mid-anterior": (
            skin.forward_of(side, distance * np.cos(slope)),
            level - distance * np.sin(slope),
            "mid_anterior_distance_mm",
        ),
        "distal anterolateral accessory": (
            skin.forward_of(side, setting("distal_accessory_anterior_mm")),
            level - setting("distal_accessory_distal_mm"),
            "distal_accessory_distal_mm",
        ),
    }
    to_image = to_pelvic.inverse()
    return tuple(
        SkinPoint(
            name=name,
            skin_mm=to_image.points(np.array([at[0], cranial, at[1]])),
            evidence=tuple(table.setting(f"portal.{source}").evidence),
        )
        for name, (at, cranial, source) in placed.items()
    )


def _lateral_face_mm(hip: HipGeometry, trochanter: Floats) -> float:
    """Lateral coordinate of the trochanter's lateral face, pelvic frame, mm."""
    if hip.femur_bone is None:
        return float(trochanter[0])
    points = hip.frame.pelvic_from_image.points(hip.femur_bone.vertices_mm)
    near = np.abs(points[:, 1] - trochanter[1]) <= TROCHANTER_BAND_MM
    return float(max(points[near, 0].max(initial=trochanter[0]), trochanter[0]))
