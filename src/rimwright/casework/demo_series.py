"""A CT of the demo person as a DICOM series: made, not measured on anybody."""

from __future__ import annotations

import re
import secrets
import shutil
from pathlib import Path

import numpy as np

from rimwright.anatomy import Progress, no_progress
from rimwright.errors import FileRefusal
from rimwright.imaging import write_ct_series
from rimwright.phantom import PhantomHip

SERIES_FOLDER = "series"
SPACING_MM = (0.9, 0.9, 1.25)
"""Voxels of the demo scan, mm: fine enough to measure in, and both hips with the knees' condyles
still take less than 60 MB."""
SAMPLE_MM = 0.45
"""Fine cells of the demo scan, mm: half of its voxels, which keeps a cortex of 1400 HU right to
about 15 HU."""
MARGIN_MM = 11.0
"""Soft tissue kept round the bones, mm: a landmark within 8 mm of the edge of a field is not taken,
for it may be cut bone."""
SCAN_SHARE = 0.8
"""Part of the time that goes into the voxels; the rest writes the slices."""
NOISE_HU = 25.0
"""Noise of the demo scan, HU: that of a quiet scan, from memory."""

_SLICE = re.compile(r"[0-9]{4}\.dcm")


def write_demo_series(hip: PhantomHip, folder: Path, *, progress: Progress | None = None) -> None:
    """
    Scan the demo person and write the slices.

    Parameters
    ----------
    hip
        Of the person; the other side is its mirror image.
    folder
        A series that stands there is replaced once the new one is whole.
    progress
        Told the stages; may raise to cancel, and then the folder is as it was.

    Raises
    ------
    FileRefusal
        Something other than slices stands in the folder, or it cannot be written.
    """
    from rimwright.phantom.ct import CtLook, grid_round, make_ct, person_bones

    tell = progress or no_progress
    if folder.exists() and not _is_series(folder):
        raise FileRefusal(
            "something other than slices stands there (need a new folder, or an earlier demo)",
            str(folder),
            "Name another folder",
        )
    bones = person_bones(hip)
    corners = np.concatenate([bone.vertices_mm for bone in bones])
    volume = make_ct(
        bones,
        look=CtLook(noise_hu=NOISE_HU),
        grid=grid_round(corners, spacing_mm=SPACING_MM, margin_mm=MARGIN_MM),
        sample_mm=SAMPLE_MM,
        progress=lambda part, stage: tell(SCAN_SHARE * part, stage),
    )
    fresh = folder.parent / f".{folder.name}-{secrets.token_hex(4)}"
    try:
        write_ct_series(
            volume,
            fresh,
            description="made scan of an invented hip",
            progress=lambda part, stage: tell(SCAN_SHARE + (1.0 - SCAN_SHARE) * part, stage),
        )
        if folder.exists():
            shutil.rmtree(folder)
        fresh.rename(folder)
    finally:
        shutil.rmtree(fresh, ignore_errors=True)


def _is_series(folder: Path) -> bool:
    """Whether a folder holds nothing but slices under the names of a written series."""
    return folder.is_dir() and all(_SLICE.fullmatch(item.name) for item in folder.iterdir())
