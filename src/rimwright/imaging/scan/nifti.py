"""NIfTI volumes: header by nibabel, numbers by our own bounded reading."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any

import nibabel as nib
import numpy as np

from rimwright.anatomy import Floats
from rimwright.imaging.scan.byte_streams import Digests, InflatedStream, Readable, skip
from rimwright.imaging.scan.damage import DAMAGE, Unfit
from rimwright.imaging.scan.grid_file import GridFile, check_affine, check_grid
from rimwright.imaging.scan.numbers import read_numbers

HEADER_BYTES = 348
HEADER_2_BYTES = 540
_MAX_OFFSET = 64 * 1024**2
_TYPES = {2: "u1", 4: "i2", 8: "i4", 16: "f4", 64: "f8", 256: "i1", 512: "u2", 768: "u4"}
"""Codes of the numbers that are read. Source: NIfTI-1 data format, header nifti1.h."""
_MM_OF_UNIT = {1: 1000.0, 2: 1.0, 3: 0.001}
"""Metre, millimetre, micrometre. Source: the same."""
_UNIT_MASK = 7


def parse_nifti(path: Path, *, is_packed: bool) -> GridFile:
    """
    Read a NIfTI file.

    Parameters
    ----------
    path
        One piece, plain or packed with gzip.
    is_packed
        Whether with gzip.

    Returns
    -------
    GridFile
        In RAS, which the standard sets. The sform is taken before the qform where both stand.

    Raises
    ------
    Unfit
        Damaged, cut short, of a kind of number or number of axes that is not read.
    """
    n_bytes = path.stat().st_size
    with Digests() as digests, path.open("rb") as file:
        whole = digests.stream(file, n_bytes=n_bytes)
        stream: Readable = InflatedStream(whole, window_bits=31) if is_packed else whole
        head = bytes(stream.read(HEADER_BYTES))
        if head[4:8] == b"n+2\0":
            head += bytes(stream.read(HEADER_2_BYTES - HEADER_BYTES))
        header = _parse_header(head)
        size, kind, offset = _layout(header, head)
        check_grid(size, item_bytes=kind.itemsize, n_bytes=None if is_packed else n_bytes - offset)
        affine, is_stated, notes = _affine(header)
        slope, intercept = _scaling(header)
        skip(stream, offset - len(head))
        flat = read_numbers(stream, n=size[0] * size[1] * size[2], kind=kind)
        if isinstance(stream, InflatedStream):
            stream.check_end()
        whole.finish()
        digest = digests.total()
    return GridFile(
        values=flat.reshape(size, order="F"),
        slope=slope,
        intercept=intercept,
        affine=check_affine(affine),
        axes="RAS",
        axes_stated=is_stated,
        notes=tuple(notes),
        digest=digest,
        kind="NIfTI",
    )


def _parse_header(head: bytes) -> Any:
    """The header by nibabel, whichever its byte order."""
    is_second = head[4:8] == b"n+2\0"
    maker = nib.Nifti2Header if is_second else nib.Nifti1Header
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return maker(head, check=False)  # type: ignore[no-untyped-call]
    except DAMAGE:
        raise Unfit("its header is damaged or cut short") from None


def _layout(header: Any, head: bytes) -> tuple[tuple[int, int, int], np.dtype[Any], int]:
    """Size, kind of number and offset of the numbers."""
    n_axes = int(header["dim"][0])
    if not 3 <= n_axes <= 7:
        raise Unfit(f"its number of axes is out of range (got {n_axes}, need 3)")
    axes = [int(n) for n in header["dim"][1 : n_axes + 1]]
    if any(n != 1 for n in axes[3:]):
        shape = "×".join(str(n) for n in axes)
        raise Unfit(f"several volumes or colours in one file (got {shape})", "Give one volume")
    code = int(header["datatype"])
    if code not in _TYPES:
        raise Unfit(f"its kind of number is not read (got code {code})")
    kind = np.dtype(_TYPES[code]).newbyteorder(header.endianness)
    offset = float(header["vox_offset"])
    if not len(head) <= offset <= _MAX_OFFSET:
        raise Unfit(f"the offset of its numbers is out of range (got {offset:g})")
    return (axes[0], axes[1], axes[2]), kind, int(offset)


def _affine(header: Any) -> tuple[Floats, bool, list[str]]:
    """Voxel index to mm, whether the file states it, and notes."""
    unit = int(header["xyzt_units"]) & _UNIT_MASK
    scale = _MM_OF_UNIT.get(unit, 1.0)
    notes = [] if unit in _MM_OF_UNIT else ["its unit of length is not stated: taken for mm"]
    s_code, q_code = int(header["sform_code"]), int(header["qform_code"])
    spacing = np.array(header["pixdim"][1:4], dtype=np.float64)
    try:
        if s_code > 0:
            affine = np.array(header.get_sform(), dtype=np.float64)
        elif q_code > 0:
            affine = np.array(header.get_qform(), dtype=np.float64)
        else:
            affine = np.diag([*np.abs(spacing), 1.0])
            notes.append("it does not state where its voxels lie: only their spacing is taken")
    except DAMAGE:
        raise Unfit("the place of its voxels is damaged") from None
    affine[:3] *= scale
    if s_code > 0 and q_code > 0:
        notes += _compare(affine, header, scale)
    return affine, s_code > 0 or q_code > 0, notes


def _compare(affine: Floats, header: Any, scale: float) -> list[str]:
    """Say where the two places that a file states are not the same."""
    try:
        other = np.array(header.get_qform(), dtype=np.float64)
    except DAMAGE:
        return ["its qform is damaged: the sform was taken"]
    other[:3] *= scale
    corners = np.array([[i, j, k, 1] for i in (0, 1) for j in (0, 1) for k in (0, 1)]) * [
        *(int(n) - 1 for n in header["dim"][1:4]), 1]  # fmt: skip
    apart = np.abs((corners @ (affine - other).T)[:, :3]).max()
    if not apart < 0.5:
        return ["its sform and qform differ: the sform was taken"]
    return []


def _scaling(header: Any) -> tuple[float, float]:
    """Slope and intercept; 0 and NaN mean none, by the standard."""
    slope, intercept = float(header["scl_slope"]), float(header["scl_inter"])
    if slope == 0 or np.isnan(slope):
        return 1.0, 0.0
    intercept = 0.0 if np.isnan(intercept) else intercept
    if not (1e-9 < abs(slope) < 1e9 and abs(intercept) < 1e9):
        raise Unfit(f"its scaling is out of range (got {slope:g} and {intercept:g})")
    return slope, intercept
