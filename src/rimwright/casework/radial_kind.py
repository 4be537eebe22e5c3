"""The files of one kind of radial pictures: arrays, sheet, leaves, secondary captures."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from rimwright.anatomy import Progress, Side, spoken_hour
from rimwright.casework.radial_arrays import radial_arrays
from rimwright.casework.radial_subject import Origin, RadialSubject, RadialWish
from rimwright.casework.stages import within
from rimwright.errors import LayoutRefusal
from rimwright.imaging import CapturePicture
from rimwright.imaging import write_secondary_capture as write_capture

if TYPE_CHECKING:
    from PIL.Image import Image

    from rimwright.morphology.reformat import AlphaAtHour, NeckPlane, SocketPlane
    from rimwright.report.radial_words import SheetFacts

    Planes = Sequence[SocketPlane] | Sequence[NeckPlane]

SERIES_NUMBERS = {"acetabular": 9001, "femoral": 9002}
"""Of a left hip; those of a right hip are ten more."""


def write_kind(
    planes: Planes,
    subject: RadialSubject,
    folder: Path,
    *,
    wish: RadialWish,
    origin: Origin | None,
    alpha: Sequence[AlphaAtHour],
    tell: Progress,
) -> None:
    """
    Write arrays, sheet, leaves and captures of one kind.

    Parameters
    ----------
    planes
        Of one kind and side.
    subject, wish
        The image and its notes; slab, window, marks.
    folder
        Of the hip; it exists.
    origin
        Study to write captures to; None writes none.
    alpha
        Read on femoral planes.
    tell
        Told the stages.

    Raises
    ------
    LayoutRefusal
        The planes lie outside the image.
    """
    from rimwright.morphology.reformat import (
        NeckPlane,
        RadialKind,
        SlabKind,
        SocketPlane,
        one_kind,
        resample,
    )
    from rimwright.report.grey_window import GreyWindow, usual_window
    from rimwright.report.radial_words import SheetFacts
    from rimwright.report.raster import png_bytes
    from rimwright.report.reformat_sheet import (
        acetabular_sheet,
        femoral_sheet,
        radial_leaf,
    )

    kind = one_kind(planes)
    volume = subject.volume
    pictures = resample(volume, planes, slab_mm=wish.slab_mm, slab=wish.slab)
    if not np.isfinite(pictures).any():
        raise LayoutRefusal(
            f"the {kind} planes lie outside the image", "radial planes", "Check the points"
        )
    window = (
        usual_window(pictures, modality=volume.modality)
        if wish.window is None
        else GreyWindow(centre=wish.window[0], width=wish.window[1])
    )
    facts = SheetFacts(
        modality=volume.modality,
        window=window,
        slab_mm=wish.slab_mm,
        slab=SlabKind(wish.slab),
        name=wish.name,
        notes=(*subject.notes, *_image_notes(pictures, subject)),
    )
    (folder / f"{kind}.npz").write_bytes(radial_arrays(pictures, planes, subject, wish))
    of_socket = [plane for plane in planes if isinstance(plane, SocketPlane)]
    of_neck = [plane for plane in planes if isinstance(plane, NeckPlane)]
    sheet = (
        acetabular_sheet(pictures, of_socket, facts=facts, marks=wish.marks)
        if kind is RadialKind.ACETABULAR
        else femoral_sheet(pictures, of_neck, facts=facts, marks=wish.marks, alpha=alpha)
    )
    (folder / f"{kind}-sheet.png").write_bytes(png_bytes(sheet))
    leaves_folder = folder / kind
    leaves_folder.mkdir()
    leaves: list[Image] = []
    either: list[SocketPlane | NeckPlane] = [*of_socket, *of_neck]
    for place, plane in enumerate(either):
        tell(0.1 + 0.3 * place / len(planes), f"{kind} pictures")
        leaf = radial_leaf(pictures[place], plane, facts=facts).convert("L")
        (leaves_folder / f"{file_hour(plane.hour)}.png").write_bytes(png_bytes(leaf))
        leaves.append(leaf)
    if origin is not None:
        _write_captures(
            planes, sheet, leaves, folder / "dicom" / kind, facts=facts, origin=origin, tell=tell
        )


def _image_notes(pictures: npt.NDArray[np.float32], subject: RadialSubject) -> list[str]:
    """The voxels the pictures are made of, and what the hatching is where there is any."""
    sides = " × ".join(f"{step:.1f}" for step in subject.volume.spacing_mm)
    notes = [f"voxels of {sides} mm"]
    if np.isnan(pictures).any():
        notes.append("hatched: beyond the image at hand")
    return notes


def _write_captures(
    planes: Planes,
    sheet: Image,
    leaves: Sequence[Image],
    folder: Path,
    *,
    facts: SheetFacts,
    origin: Origin,
    tell: Progress,
) -> None:
    """The sheet and the leaves as one series of the person's study."""
    from rimwright.morphology.reformat import one_kind, side_of
    from rimwright.report.reformat_sheet import LEAF_PANEL
    from rimwright.report.wording import NOTICE

    kind, side = one_kind(planes), side_of(planes)
    pictures = [
        CapturePicture(pixels=np.asarray(sheet), comment=f"{kind} hours, all", words_burned_in=True)
    ]
    pictures += [
        CapturePicture(
            pixels=np.asarray(leaf),
            comment=f"{kind} {spoken_hour(plane.hour)} and {spoken_hour(plane.opposite_hour)}",
            words_burned_in=True,
            pixel_mm=plane.pixel_mm * plane.shape[1] / LEAF_PANEL,
            right=plane.right,
            down=-plane.up,
        )
        for plane, leaf in zip(planes, leaves, strict=True)
    ]
    through = "opening axis of the socket" if kind == "acetabular" else "axis of the femoral neck"
    write_capture(
        pictures,
        person=origin.person,
        folder=folder,
        side=side,
        description=f"Radial {kind} hours, {side} hip, derived",
        derivation=f"Trilinear planes through the {through}, {facts.words()}. {NOTICE}",
        series_number=SERIES_NUMBERS[kind] + (0 if side is Side.LEFT else 10),
        sources=origin.sources,
        progress=within(tell, 0.4, 0.1),
    )


def file_hour(hour: float) -> str:
    """
    An hour as part of a file's name.

    Parameters
    ----------
    hour
        [0, 12).

    Returns
    -------
    str
        1.5 is '01-30'; 12 o'clock is '12-00'.
    """
    minutes = round(hour * 60) % 720
    whole, rest = divmod(minutes, 60)
    return f"{whole or 12:02d}-{rest:02d}"
