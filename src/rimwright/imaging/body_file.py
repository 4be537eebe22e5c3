"""The bodies of one file, ready to be measured, and a light record of each for messages."""

from __future__ import annotations

from dataclasses import dataclass

from rimwright.anatomy import TriangleMesh
from rimwright.imaging.piece import measure_piece
from rimwright.units import LengthUnit


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BodyFile:
    """
    What `read_bodies` returns.

    Parameters
    ----------
    bodies
        One surface each: LPS, mm, facing outward, cavities included; in the order of the file.
    names
        Name of each body: from the file, else 'body 1', 'body 2', …
    axes
        Convention the coordinates were converted from.
    axes_assumed
        True where neither the caller nor the header of the file named the axes.
    unit
        Unit the coordinates were converted from.
    warnings
        What was mended, left out or doubted, in words.
    digest
        SHA-256 of the file, and of files it refers to, hex.
    kind
        Kind of file in words.
    """

    bodies: tuple[TriangleMesh, ...]
    names: tuple[str, ...]
    axes: str
    axes_assumed: bool
    unit: LengthUnit
    warnings: tuple[str, ...]
    digest: str
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class BodySummary:
    """
    A body in a few numbers.

    Parameters
    ----------
    name
        Name of the body.
    n_triangles
        Number of triangles.
    extent_mm
        Sides of its box along left, posterior and superior, mm.
    volume_mm3
        Volume enclosed, mm³.
    is_closed
        Whether every edge is shared.
    """

    name: str
    n_triangles: int
    extent_mm: tuple[float, float, float]
    volume_mm3: float
    is_closed: bool

    def __str__(self) -> str:
        sides = " × ".join(f"{side:.0f}" for side in self.extent_mm)
        state = "closed" if self.is_closed else "open"
        return (
            f"{self.name}: {self.n_triangles:,} triangles, {sides} mm, "
            f"{self.volume_mm3 / 1000:.1f} cm³, {state}"
        )


def describe_bodies(file: BodyFile) -> tuple[BodySummary, ...]:
    """
    Describe the bodies of a file for a message.

    Parameters
    ----------
    file
        As read.

    Returns
    -------
    tuple[BodySummary, ...]
        One for each body, in order.
    """
    return tuple(
        describe_body(body, name=name) for body, name in zip(file.bodies, file.names, strict=True)
    )


def describe_body(body: TriangleMesh, *, name: str) -> BodySummary:
    """
    Describe one body for a message.

    Parameters
    ----------
    body
        At least one triangle.
    name
        What to call it.

    Returns
    -------
    BodySummary
        Triangles, sides, volume, closed or open.
    """
    piece = measure_piece(body.vertices_mm, body.triangles)
    left, posterior, superior = (piece.high_mm - piece.low_mm).tolist()
    return BodySummary(
        name=name,
        n_triangles=body.n_triangles,
        extent_mm=(left, posterior, superior),
        volume_mm3=piece.volume_mm3,
        is_closed=piece.is_closed,
    )
