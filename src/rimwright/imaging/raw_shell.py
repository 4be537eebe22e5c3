"""What a parser hands on: shells as they stand in the file, before any repair or conversion."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, Ints
from rimwright.errors import FileRefusal
from rimwright.imaging.limits import MAX_NAME_LETTERS, MAX_SHELLS, MAX_TRIANGLES, MAX_VERTICES
from rimwright.units import LengthUnit

DAMAGED = "Export the surface again; this file is damaged"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RawShell:
    """
    One group, node or piece of a file, in the file's own unit and axes.

    Parameters
    ----------
    name
        Name in the file; '' where it has none.
    vertices
        (n, 3), unit of the file.
    triangles
        (m, 3), indices of vertices, all in range.
    """

    name: str
    vertices: Floats
    triangles: Ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ParsedFile:
    """
    Everything read from a file.

    Parameters
    ----------
    kind
        Kind of file in words.
    shells
        In the order of the file; at least one.
    warnings
        What the parser passed over.
    unit
        Unit that the kind of file has by its standard.
    axes
        Axes that the kind of file has by its standard, or that its header states; else LPS.
    axes_stated
        Whether the header of the file states its axes.
    parts
        Bytes read from files beside this one; they count into the digest.
    """

    kind: str
    shells: tuple[RawShell, ...]
    warnings: tuple[str, ...] = ()
    unit: LengthUnit = LengthUnit.MM
    axes: str = "LPS"
    axes_stated: bool = False
    parts: tuple[bytes, ...] = ()


def make_shell(name: str, *, vertices: Floats, triangles: Ints, where: str) -> RawShell:
    """
    Check that every corner has its vertex, and keep the shell.

    Parameters
    ----------
    name
        Name in the file; cut and cleaned here.
    vertices, triangles
        (n, 3) and (m, 3).
    where
        The file, for the refusal.

    Returns
    -------
    RawShell
        The shell.

    Raises
    ------
    FileRefusal
        A corner names a vertex that is not there, or there are too many of either.
    """
    check_count(len(triangles), need=MAX_TRIANGLES, what="triangles", where=where)
    check_count(len(vertices), need=MAX_VERTICES, what="vertices", where=where)
    n_vertices = len(vertices)
    if len(triangles) and (triangles.min() < 0 or triangles.max() >= n_vertices):
        bad = np.flatnonzero(((triangles < 0) | (triangles >= n_vertices)).any(axis=1))[0]
        row = triangles[bad]
        index = int(row[(row < 0) | (row >= n_vertices)][0])
        need = f"need 0 to {n_vertices - 1}" if n_vertices else "it has no vertices"
        raise FileRefusal(
            f"triangle {bad + 1} names a vertex that is not there (got {index}, {need})",
            where,
            DAMAGED,
        )
    return RawShell(name=clean_name(name), vertices=vertices, triangles=triangles)


def add_shell(shells: list[RawShell], shell: RawShell, *, where: str) -> None:
    """Append a shell; too many of them, or of their vertices or triangles, is a FileRefusal.

    Counted as they come: a small file may repeat a large shell by reference without end.
    """
    shells.append(shell)
    n_vertices = sum(len(each.vertices) for each in shells)
    n_triangles = sum(len(each.triangles) for each in shells)
    check_count(len(shells), need=MAX_SHELLS, what="groups", where=where)
    check_count(n_vertices, need=MAX_VERTICES, what="vertices", where=where)
    check_count(n_triangles, need=MAX_TRIANGLES, what="triangles", where=where)


def keep_shells(shells: Sequence[RawShell], *, where: str) -> tuple[RawShell, ...]:
    """Shells that have triangles; none is a FileRefusal."""
    kept = tuple(shell for shell in shells if len(shell.triangles))
    if not kept:
        raise FileRefusal(
            "holds no triangles (need a surface)", where, "Export the surface of the bone"
        )
    return kept


def check_count(got: int, *, need: int, what: str, where: str) -> None:
    """Refuse a count above its limit."""
    if got > need:
        raise FileRefusal(
            f"too many {what} (got {got:,}, need at most {need:,})",
            where,
            "Reduce the surface or split the file",
        )


def check_declared(
    n_declared: int, *, item_bytes: int, n_bytes: int, what: str, where: str
) -> None:
    """Refuse a declared count that the bytes still unread cannot hold, before memory is taken."""
    if n_declared < 0 or n_declared * item_bytes > n_bytes:
        held = n_bytes // max(item_bytes, 1)
        raise FileRefusal(
            f"cut short or wrongly counted (declares {n_declared:,} {what}, "
            f"has room for at most {held:,})",
            where,
            DAMAGED,
        )


def clean_name(name: str) -> str:
    """A name from a file as one short printable line."""
    line = " ".join("".join(c if c.isprintable() else " " for c in name).split())
    return line[:MAX_NAME_LETTERS]
