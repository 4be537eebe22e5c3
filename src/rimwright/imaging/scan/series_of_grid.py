"""The facts of a volume that came alone, without a series."""

from __future__ import annotations

from rimwright.anatomy import Volume
from rimwright.imaging.scan.volume_file import SeriesFacts

_KEY_LETTERS = 8


def facts_of(volume: Volume, *, digest: str) -> SeriesFacts:
    """
    Describe a volume that came alone.

    Parameters
    ----------
    volume
        In the image frame.
    digest
        Of its file; its first letters are the key.

    Returns
    -------
    SeriesFacts
        Number 1, usable.
    """
    ni, nj, nk = volume.values.shape
    i_mm, j_mm, k_mm = volume.spacing_mm.tolist()
    return SeriesFacts(
        number=1,
        series_key=digest[:_KEY_LETTERS],
        modality=volume.modality,
        description="",
        n_slices=nk,
        size=(ni, nj, nk),
        spacing_mm=(i_mm, j_mm, k_mm),
        slice_thickness_mm=0.0,
        coverage_mm=(ni * i_mm, nj * j_mm, nk * k_mm),
        gantry_tilt_deg=0.0,
        usable=True,
        reason="",
        notes=(),
    )
