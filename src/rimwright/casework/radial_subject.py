"""What radial pictures are made of, and what is asked of them."""

from __future__ import annotations

from dataclasses import dataclass

from rimwright.anatomy import HipGeometry, Side, Volume
from rimwright.casework.hand_points import HandPoints
from rimwright.imaging import Person, SourceImage


@dataclass(frozen=True, slots=True, kw_only=True)
class RadialWish:
    """
    What is asked of radial pictures.

    Parameters
    ----------
    slab_mm, slab
        Thickness, 0 for the plane alone; 'mean', 'max' or 'min' of it.
    window
        Centre and width; None takes the usual one.
    marks
        Whether spheres, axes, rim and alpha are drawn on the sheets.
    name
        A word for the case, printed at the head of each page.
    """

    slab_mm: float = 0.0
    slab: str = "mean"
    window: tuple[float, float] | None = None
    marks: bool = True
    name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RadialSubject:
    """
    One hip to make pictures of.

    Parameters
    ----------
    side
        Its side.
    volume
        The image, or the part of it about the hip.
    hip
        As measured; None where nothing could be.
    points
        Given by hand; they win over what was measured.
    notes
        Doubts about the image, in words.
    """

    side: Side
    volume: Volume
    hip: HipGeometry | None = None
    points: HandPoints | None = None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Origin:
    """
    The study that secondary captures are to join.

    Parameters
    ----------
    person
        Of the images.
    sources
        The images themselves.
    """

    person: Person
    sources: tuple[SourceImage, ...] = ()
