"""Options that say which bones or scan and how to read them, shared by the jobs that take them."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer


class Units(StrEnum):
    """Units a bone file may be in."""

    MM = "mm"
    M = "m"


def known_axes(text: str | None) -> str | None:
    """The name of a convention, or wrong usage."""
    if text is None:
        return None
    from rimwright.imaging import axis_conventions, name_axes

    try:
        return name_axes(text)
    except ValueError:
        known = ", ".join(axis_conventions())
        raise typer.BadParameter(f"{text!r} is not one of {known}.") from None


PelvisOption = Annotated[
    Path | None,
    typer.Option(
        help="Hip bone, or a file with several bodies (both hip bones, sacrum): STL, PLY, OBJ, "
        "VTK, VTP, VRML or glTF."
    ),
]
FemurOption = Annotated[Path | None, typer.Option(help="Femur of the same side and scan.")]
UnitsOption = Annotated[
    Units | None,
    typer.Option(help="Unit of the files; left out: mm, and m for glTF. Nothing is guessed."),
]
AxesOption = Annotated[
    str | None,
    typer.Option(
        callback=known_axes,
        metavar="NAME",
        help="Which way the axes of the files run: LPS (x left, y posterior, z superior), RAS, "
        "y-up …; left out: what the file states, else LPS, and that is said.",
    ),
]
ImageOption = Annotated[
    Path | None,
    typer.Option(
        help="A CT in place of bones: a folder or archive of DICOM files, DICOMDIR, NIfTI, NRRD or "
        "MetaImage.",
    ),
]
LabelsOption = Annotated[
    Path | None,
    typer.Option(
        help="A label map of the image (NIfTI, NRRD, DICOM segmentation): used in place of the "
        "search for the bones, and that is said."
    ),
]
SeriesOption = Annotated[
    str | None,
    typer.Option(
        metavar="N",
        help="Number (from 1) or key of the series to take, where the image holds several; "
        "`rimwright check image` lists them.",
    ),
]
PartOption = Annotated[
    int | None,
    typer.Option(
        min=1, help="Body of the pelvis file to take, from 1; left out: chosen by geometry."
    ),
]
JsonOption = Annotated[
    bool, typer.Option("--json", help="Print one JSON document on stdout and nothing else.")
]
