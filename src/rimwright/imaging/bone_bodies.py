"""From the shells of a file to bodies: converted, mended, nested, turned outward, checked."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Ints, Points, TriangleMesh
from rimwright.errors import BoneRefusal
from rimwright.imaging.axis_convention import is_mirror, to_lps
from rimwright.imaging.bone_checks import (
    MIN_EXTENT_MM,
    check_finite,
    check_holds_volume,
    check_not_huge,
    check_not_tiny,
    describe_holes,
    is_badly_open,
)
from rimwright.imaging.box import bounding_box
from rimwright.imaging.nesting import find_nesting
from rimwright.imaging.piece import Piece, turn_piece
from rimwright.imaging.raw_shell import RawShell
from rimwright.imaging.surface import split_shell
from rimwright.imaging.welding import drop_unused
from rimwright.units import LengthUnit, millimetres_per

MINOR_FRACTION = 0.2
"""A badly open piece with less than this fraction of the largest sound piece's area is left out
with a warning; a larger one may be the bone that was asked for, so the file is refused."""
LARGE_CAVITY_FRACTION = 0.3
"""A cavity above this fraction of its body is named: it may be the inner face of the cortex."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BodySet:
    """
    Bodies with their names, and what was mended.

    Parameters
    ----------
    bodies, names
        One name each.
    warnings
        In words, each with the body it is about.
    """

    bodies: tuple[TriangleMesh, ...]
    names: tuple[str, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Pieces:
    """Pieces of all shells in a row, the shell of each, and what was mended."""

    pieces: list[Piece]
    shell_of: list[int]
    notes: list[str]


def make_bodies(shells: Sequence[RawShell], *, unit: LengthUnit, axes: str, where: str) -> BodySet:
    """
    Turn the shells of a file into bodies.

    Parameters
    ----------
    shells
        As parsed; at least one, each with a triangle.
    unit, axes
        What their coordinates are in.
    where
        The file, for the refusals.

    Returns
    -------
    BodySet
        LPS, mm, facing outward; a cavity is part of its body and faces into the hollow.

    Raises
    ------
    FileRefusal
        A vertex in use is not finite.
    BoneRefusal
        A body is of no bone's size, badly open, one-sided, or encloses nothing.
    """
    converted = [_convert(shell, unit=unit, axes=axes, where=where) for shell in shells]
    boxes = [bounding_box(shell.vertices) for shell in converted]
    with np.errstate(over="ignore"):
        largest_mm = max(float((high - low).max()) for low, high in boxes)
    check_not_tiny(largest_mm, unit=unit, where=where)
    for low_mm, high_mm in boxes:
        check_not_huge(low_mm, high_mm, unit=unit, where=where)
    found = _split_all(converted, where=where)
    if len(converted) > 1 and any(is_badly_open(piece) for piece in found.pieces):
        found = _split_joined(converted, where=where) or found
    return _assemble(found, converted, where=where)


def _convert(shell: RawShell, *, unit: LengthUnit, axes: str, where: str) -> RawShell:
    """The shell in mm and LPS, without unused vertices, winding as seen from outside kept."""
    vertices, triangles = drop_unused(shell.vertices, shell.triangles)
    check_finite(vertices, where=where)
    if axes != "LPS":
        vertices = to_lps(vertices, axes=axes)
        if is_mirror(axes):
            triangles = triangles[:, ::-1]
    if unit is not LengthUnit.MM:
        with np.errstate(over="ignore"):
            vertices = vertices * millimetres_per(unit)
        check_finite(vertices, where=where)
    return RawShell(name=shell.name, vertices=vertices, triangles=triangles)


def _split_all(shells: Sequence[RawShell], *, where: str) -> _Pieces:
    """Pieces of each shell by itself; a shell of crumbs counts only where nothing else is left."""
    found = _Pieces(pieces=[], shell_of=[], notes=[])
    refused: BoneRefusal | None = None
    for index, shell in enumerate(shells):
        label = _label(shells, index)
        try:
            split = split_shell(
                shell.vertices, shell.triangles, where=f"{where}, {label}" if label else where
            )
        except BoneRefusal as refusal:
            refused = refused or refusal
            found.notes.append(f"{label or 'surface'}: left out, {refusal.wrong}")
            continue
        found.pieces.extend(split.pieces)
        found.shell_of.extend([index] * len(split.pieces))
        found.notes.extend(f"{label}: {note}" if label else note for note in split.notes)
    if not found.pieces and refused is not None:
        raise refused
    return found


def _split_joined(shells: Sequence[RawShell], *, where: str) -> _Pieces | None:
    """
    Pieces of all shells joined to one, where that closes what was open; else None.

    Some writers cut one surface into groups (by material or by worker); each is open by itself.
    """
    offsets = np.cumsum([0, *(len(shell.vertices) for shell in shells[:-1])])
    vertices = np.concatenate([shell.vertices for shell in shells])
    triangles = np.concatenate(
        [shell.triangles + offset for shell, offset in zip(shells, offsets, strict=True)]
    )
    try:
        split = split_shell(vertices, triangles, where=where)
    except BoneRefusal:
        return None
    if any(is_badly_open(piece) for piece in split.pieces):
        return None
    note = f"{len(shells)} groups share edges and were read as one surface"
    return _Pieces(
        pieces=list(split.pieces),
        shell_of=[-1] * len(split.pieces),
        notes=[note, *split.notes],
    )


def _assemble(found: _Pieces, shells: Sequence[RawShell], *, where: str) -> BodySet:
    """Bodies of pieces: nested ones joined, all turned outward, loose bits left out."""
    notes = list(found.notes)
    nesting = find_nesting(found.pieces, shell_of=found.shell_of, where=where)
    roots = np.flatnonzero(nesting.depth == 0).tolist()
    roots = _sound_roots(found.pieces, roots, notes, where=where)
    names = _names(shells, [found.shell_of[root] for root in roots])
    bodies = []
    for root, name in zip(roots, names, strict=True):
        at = f"{where}, {name}" if len(roots) > 1 else where
        outer = found.pieces[root]
        check_holds_volume(outer, where=at)
        if not outer.is_closed:
            notes.append(f"{name}: open ({describe_holes(outer)})")
        parts = []
        n_inside_out = 0
        for member in np.flatnonzero(nesting.root == root).tolist():
            piece = found.pieces[member]
            if (piece.volume_mm3 < 0) != bool(nesting.depth[member] % 2):
                piece = turn_piece(piece)
                n_inside_out += 1
            parts.append(piece)
            if member != root and abs(piece.volume_mm3) > LARGE_CAVITY_FRACTION * abs(
                outer.volume_mm3
            ):
                share = 100 * abs(piece.volume_mm3 / outer.volume_mm3)
                notes.append(f"{name}: an inner surface of {share:.0f} % of its volume is a hollow")
        if n_inside_out:
            of = f" ({n_inside_out} of {len(parts)} surfaces)" if len(parts) > 1 else ""
            notes.append(f"{name}: inside out, turned over{of}")
        bodies.append(_join(parts))
    return BodySet(bodies=tuple(bodies), names=tuple(names), warnings=tuple(notes))


def _sound_roots(
    pieces: Sequence[Piece], roots: list[int], notes: list[str], *, where: str
) -> list[int]:
    """Outer pieces large enough to be a bone; minor ones that are badly open are left out."""
    large = [root for root in roots if pieces[root].extent_mm >= MIN_EXTENT_MM]
    if not large:
        check_not_tiny(max(p.extent_mm for p in pieces), unit=LengthUnit.MM, where=where)
    loose = sorted((pieces[r].extent_mm for r in roots if r not in set(large)), reverse=True)
    if loose:
        notes.append(
            f"{len(loose)} loose piece{'s' if len(loose) > 1 else ''} of up to {loose[0]:.1f} mm "
            "left out"
        )
    sound_mm2 = max((pieces[r].area_mm2 for r in large if not is_badly_open(pieces[r])), default=0)
    kept = []
    for root in large:
        piece = pieces[root]
        if is_badly_open(piece) and piece.area_mm2 < MINOR_FRACTION * sound_mm2:
            notes.append(
                f"a piece of {piece.extent_mm:.0f} mm left out, open: {describe_holes(piece)}"
            )
        else:
            kept.append(root)
    return kept


def _label(shells: Sequence[RawShell], index: int) -> str:
    """What to call a shell in a message; '' where it is the only one and has no name."""
    return shells[index].name or (f"group {index + 1}" if len(shells) > 1 else "")


def _names(shells: Sequence[RawShell], shell_of: Sequence[int]) -> list[str]:
    """A name of its own for each body: the group's, numbered where it repeats."""
    stems = [
        (shells[index].name if index >= 0 else "") or f"body {place + 1}"
        for place, index in enumerate(shell_of)
    ]
    totals, seen = Counter(stems), Counter[str]()
    names = []
    for stem in stems:
        seen[stem] += 1
        names.append(f"{stem} ({seen[stem]})" if totals[stem] > 1 else stem)
    return names


def _join(parts: Sequence[Piece]) -> TriangleMesh:
    """One mesh of an outer surface and its cavities."""
    if len(parts) == 1:
        return TriangleMesh(vertices_mm=parts[0].vertices_mm, triangles=parts[0].triangles)
    vertices: list[Points] = [part.vertices_mm for part in parts]
    triangles: list[Ints] = []
    offset = 0
    for part in parts:
        triangles.append(part.triangles + offset)
        offset += len(part.vertices_mm)
    return TriangleMesh(vertices_mm=np.concatenate(vertices), triangles=np.concatenate(triangles))
