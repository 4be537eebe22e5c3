"""What a CT says of a hip: the geometry, the density about it, and metal."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from rimwright.anatomy import HipGeometry, Side, Vector, Volume, frozen_floats


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MetalPiece:
    """
    One connected piece of metal.

    Parameters
    ----------
    centre_mm
        (3,), mm, image frame.
    axis
        Unit, along its longest extent.
    length_mm, width_mm
        Extent along the axis and across it, mm; blooming makes both too large.
    volume_mm3
        Of the voxels over the limit.
    lies_in
        'hip bone', 'femur' or 'elsewhere'.
    """

    centre_mm: Vector
    axis: Vector
    length_mm: float
    width_mm: float
    volume_mm3: float
    lies_in: str = "elsewhere"

    def __post_init__(self) -> None:
        object.__setattr__(
            self, "centre_mm", frozen_floats(self.centre_mm, shape=(3,), name="centre_mm")
        )
        object.__setattr__(self, "axis", frozen_floats(self.axis, shape=(3,), name="axis"))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScannedHip:
    """
    One hip measured in a CT.

    Parameters
    ----------
    hip
        As from bones; its `pelvis_bone` and `femur_bone` are the surfaces found.
    density
        The part of the CT about the hip, Hounsfield units.
    metal
        Pieces of metal near the hip.
    """

    hip: HipGeometry
    density: Volume
    metal: tuple[MetalPiece, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HipInScan:
    """
    A hip that a CT holds, before it is measured.

    Parameters
    ----------
    side
        Told by the image axes and by where the socket lies.
    centre_mm, radius_mm
        Rough sphere of the femoral head, mm, image frame.
    metal_mm3
        Volume of metal near it.
    unfit
        Measurement key to the reason why this scan cannot give it; a key left out may be tried.
    doubts
        In words.
    """

    side: Side
    centre_mm: Vector
    radius_mm: float
    metal_mm3: float = 0.0
    unfit: Mapping[str, str] = field(default_factory=dict)
    doubts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ScanSurvey:
    """
    What a CT holds of hips.

    Parameters
    ----------
    hips
        None, one or two; left first.
    reason
        Why there is none, '' otherwise.
    doubts
        Of the whole scan: slice distance, metal.
    """

    hips: tuple[HipInScan, ...]
    reason: str = ""
    doubts: tuple[str, ...] = ()
