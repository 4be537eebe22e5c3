"""Radial pictures beside measuring: the options of it, and what they come to."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from rimwright.cli.screen import progress_bar, say, warn

if TYPE_CHECKING:
    from rimwright.anatomy import Side
    from rimwright.casework import MeasuredHip, ScanFiles
    from rimwright.casework.radial_files import RadialFiles
    from rimwright.casework.radial_subject import Origin, RadialWish

RadialOption = Annotated[
    Path | None,
    typer.Option(
        "--radial",
        metavar="DIR",
        help="Also write radial pictures of the image into this new folder: through the socket's "
        "axis by acetabular hour, and through the femoral neck's by femoral hour.",
    ),
]
SlabOption = Annotated[
    float | None,
    typer.Option(
        "--slab", min=0.0, max=50.0, metavar="MM", help="Thickness of the radial pictures, mm."
    ),
]
WindowOption = Annotated[
    str | None,
    typer.Option(
        "--window",
        metavar="CENTRE,WIDTH",
        help="Greys of the radial pictures; left out: 300,1500 on CT, by its own greys on MR.",
    ),
]
DicomOption = Annotated[
    bool,
    typer.Option(
        "--dicom",
        help="Also write them as DICOM secondary captures of the same person and study.",
    ),
]
NoMarksOption = Annotated[
    bool,
    typer.Option("--no-marks", help="Leave spheres, axes, rim and alpha off the radial sheets."),
]
PointOption = Annotated[
    list[str] | None,
    typer.Option(
        "--point",
        metavar="NAME=X,Y,Z",
        help="A point given by hand, LPS mm, once for each: head, socket, neck, notch, rim (three "
        "or more). With points nothing is measured; that is the way for an MR.",
    ),
]


def wish_of(
    radial: Path | None,
    *,
    slab: float | None,
    window: str | None,
    dicom: bool,
    no_marks: bool,
    point: Sequence[str] | None,
) -> RadialWish | None:
    """
    What is asked of radial pictures, or wrong usage.

    Parameters
    ----------
    radial, slab, window, dicom, no_marks, point
        The options as given.

    Returns
    -------
    RadialWish or None
        None where no radial pictures are asked for.
    """
    if radial is None:
        given = {
            "--slab": slab is not None,
            "--window": window is not None,
            "--dicom": dicom,
            "--no-marks": no_marks,
            "--point": bool(point),
        }
        for option, is_given in given.items():
            if is_given:
                raise typer.BadParameter("of which pictures? give --radial", param_hint=option)
        return None
    from rimwright.casework.radial_subject import RadialWish

    return RadialWish(slab_mm=slab or 0.0, window=_window(window), marks=not no_marks)


def write_radial(
    measured: Sequence[MeasuredHip],
    radial: Path,
    *,
    wish: RadialWish,
    origin: Origin | None,
) -> None:
    """
    Write the pictures of measured hips and say where they are.

    Parameters
    ----------
    measured
        Of one scan.
    radial
        Folder for the pictures.
    wish
        As `wish_of` made it.
    origin
        Study to write captures to, read before anything was measured; None writes none.
    """
    from rimwright.casework.radial_scan import radial_of_measured

    with progress_bar() as tell:
        files = radial_of_measured(measured, radial, wish=wish, origin=origin, progress=tell)
    _tell(files)


def write_radial_by_hand(
    files: ScanFiles,
    radial: Path,
    *,
    sides: Sequence[Side],
    point: Sequence[str],
    wish: RadialWish,
    dicom: bool,
) -> None:
    """
    Write the pictures of an image by points given by hand; nothing is measured.

    Parameters
    ----------
    files
        The image.
    radial
        Folder for the pictures.
    sides
        One side: points are of one hip.
    point
        NAME=X,Y,Z each.
    wish
        As `wish_of` made it.
    dicom
        Whether secondary captures are written.
    """
    if len(sides) != 1:
        raise typer.BadParameter("points are of one hip", param_hint="--side")
    from rimwright.casework.hand_points import read_points
    from rimwright.casework.radial_scan import radial_by_hand

    points = read_points(point)
    origin = origin_for(files, dicom=dicom)
    with progress_bar() as tell:
        written = radial_by_hand(
            files,
            radial,
            side=sides[0],
            points=points,
            wish=wish,
            origin=origin,
            progress=tell,
        )
    _tell(written)


def origin_for(files: ScanFiles, *, dicom: bool) -> Origin | None:
    """
    The study captures are to join, asked for before long work begins.

    Parameters
    ----------
    files
        The image.
    dicom
        Whether captures are written at all.

    Returns
    -------
    Origin or None
        None where none are written.
    """
    if not dicom:
        return None
    from rimwright.casework.radial_scan import origin_of

    return origin_of(files)


def _window(text: str | None) -> tuple[float, float] | None:
    """Centre and width, or wrong usage."""
    if text is None:
        return None
    try:
        centre, width = (float(part) for part in text.split(","))
    except ValueError:
        raise typer.BadParameter(
            f"{text!r} is not a centre and a width, such as 300,1500", param_hint="--window"
        ) from None
    if not width > 0.0 or abs(centre) == float("inf") or width == float("inf"):
        raise typer.BadParameter("the width must be above 0", param_hint="--window")
    return centre, width


def _tell(files: RadialFiles) -> None:
    """Where the pictures are, on stderr: stdout is for the measurements."""
    warn(files.missing)
    say(f"radial pictures: {len(files.names)} files in {files.folder}")
