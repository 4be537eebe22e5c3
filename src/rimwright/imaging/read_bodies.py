"""Read the bodies of a bone file, whatever kind it is, into the image frame."""

from __future__ import annotations

import hashlib
import importlib
from collections.abc import Callable
from pathlib import Path

from rimwright.errors import FileRefusal, Refusal
from rimwright.imaging.axis_convention import name_axes
from rimwright.imaging.body_file import BodyFile
from rimwright.imaging.bone_bodies import make_bodies
from rimwright.imaging.file_kind import FileKind, find_kind
from rimwright.imaging.limits import MAX_FILE_BYTES
from rimwright.imaging.raw_shell import DAMAGED, ParsedFile
from rimwright.units import LengthUnit

_PARSERS = {
    FileKind.GLTF: ("gltf", "parse_gltf"),
    FileKind.OBJ: ("obj", "parse_obj"),
    FileKind.PLY: ("ply", "parse_ply"),
    FileKind.STL: ("stl", "parse_stl"),
    FileKind.VRML: ("vrml", "parse_vrml"),
    FileKind.VTK: ("vtk_legacy", "parse_vtk"),
    FileKind.VTP: ("vtp", "parse_vtp"),
}
_WITHOUT_END = {"ASCII PLY", "OBJ", "legacy VTK (text)"}
"""Kinds whose last number may be cut without a trace."""


def read_bodies(path: Path, *, unit: LengthUnit | None = None, axes: str | None = None) -> BodyFile:
    """
    Read the bodies of a bone file.

    Parameters
    ----------
    path
        STL, PLY, OBJ, legacy VTK or VTP polydata, VRML 1 or 2, glTF or GLB; told by content.
    unit
        Unit of its coordinates; None means mm, for glTF m. Nothing is rescaled by guess.
    axes
        One of `axis_conventions`; None means what the header states, else LPS, for glTF y-up.

    Returns
    -------
    BodyFile
        Bodies in LPS and mm, facing outward; groups, nodes and shells of the file, each split
        into its connected surfaces, a cavity kept with the body round it.

    Raises
    ------
    FileRefusal
        Missing, unreadable, cut short, too large, of an unknown kind, or with numbers that are
        not finite.
    BoneRefusal
        Of no bone's size in this unit, badly open, one-sided, or without volume.
    CaseRefusal
        `axes` is no convention.
    """
    given_axes = None if axes is None else name_axes(axes)
    path = Path(path)
    where = path.name or str(path)
    data = read_bytes(path)
    kind = find_kind(data, suffix=path.suffix, where=where)
    parsed = _parse(data, kind=kind, path=path, where=where)
    used_unit = parsed.unit if unit is None else LengthUnit(unit)
    used_axes = parsed.axes if given_axes is None else given_axes
    made = make_bodies(parsed.shells, unit=used_unit, axes=used_axes, where=where)
    warnings = [*parsed.warnings, *made.warnings]
    if parsed.kind in _WITHOUT_END and not data.endswith((b"\n", b"\r")):
        warnings.append("its last line does not end: it may be cut short")
    if parsed.axes_stated and used_axes != parsed.axes:
        warnings.insert(0, f"its header states {parsed.axes}, read as {used_axes} as asked")
    digest = hashlib.sha256(data)
    for part in parsed.parts:
        digest.update(part)
    return BodyFile(
        bodies=made.bodies,
        names=made.names,
        axes=used_axes,
        axes_assumed=given_axes is None and not parsed.axes_stated,
        unit=used_unit,
        warnings=tuple(warnings),
        digest=digest.hexdigest(),
        kind=parsed.kind,
    )


def read_bytes(path: Path) -> bytes:
    """
    Read a whole file of acceptable size.

    Parameters
    ----------
    path
        A regular file.

    Returns
    -------
    bytes
        At least one.

    Raises
    ------
    FileRefusal
        Missing, a folder or device, empty, not to be opened, or too large.
    """
    where = path.name or str(path)
    try:
        if not path.exists():
            raise FileRefusal("no such file", where, "Check the path")
        if not path.is_file():
            raise FileRefusal("not a file (a folder or device)", where, "Name one bone file")
        n_bytes = path.stat().st_size
        if n_bytes > MAX_FILE_BYTES:
            raise FileRefusal(
                f"too large (got {n_bytes:,} bytes, need at most {MAX_FILE_BYTES:,})",
                where,
                "Reduce the surface, or write it as binary",
            )
        with path.open("rb") as file:
            data = file.read(n_bytes)
    except OSError as error:
        raise FileRefusal(
            f"cannot be read ({error.strerror or type(error).__name__})",
            where,
            "Check the path and its permissions",
        ) from None
    except ValueError as error:
        if isinstance(error, Refusal):
            raise
        raise FileRefusal("not a path a file can have", where, "Check the path") from None
    if not data:
        raise FileRefusal("empty (0 bytes)", where, "Export the surface again")
    return data


def _parse(data: bytes, *, kind: FileKind, path: Path, where: str) -> ParsedFile:
    """Hand the bytes to the parser of their kind; what it trips over is damage, named as such."""
    module, name = _PARSERS[kind]
    parse: Callable[..., ParsedFile] = getattr(
        importlib.import_module(f"rimwright.imaging.{module}"), name
    )
    beside = {"folder": path.parent} if kind is FileKind.GLTF else {}
    try:
        return parse(data, where=where, **beside)
    except Refusal:
        raise
    except (ArithmeticError, LookupError, MemoryError, RecursionError, TypeError, ValueError) as e:
        # The parsers refuse by name what they foresee; a reader never ends in a traceback.
        raise FileRefusal(
            f"cannot be understood as {kind.value} ({type(e).__name__})", where, DAMAGED
        ) from e
