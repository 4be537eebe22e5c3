"""A hip with what it was measured from: surfaces of bones, or a scan."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rimwright.anatomy import HipGeometry, ScanSource, Volume

if TYPE_CHECKING:
    from rimwright.morphology.scan import MetalPiece


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredHip:
    """
    A hip with what it was measured from.

    Parameters
    ----------
    hip
        As measured; its warnings begin with what the readers mended or assumed.
    input_digest
        Of files, side, landmarks and how the files were read, hex; '' where unknown.
    density
        The part of the CT about the hip, of its own memory; None from surfaces.
    metal
        Pieces of metal near the hip; a surface shows none.
    source
        The scan; None from surfaces.
    """

    hip: HipGeometry
    input_digest: str
    density: Volume | None = None
    metal: tuple[MetalPiece, ...] = ()
    source: ScanSource | None = None
