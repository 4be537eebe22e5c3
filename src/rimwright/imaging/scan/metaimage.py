"""MetaImage volumes: a short text header, numbers behind it or in one file beside it."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from rimwright.anatomy import Floats
from rimwright.imaging.axis_convention import lps_from
from rimwright.imaging.scan.byte_streams import (
    Digests,
    InflatedStream,
    Joined,
    Readable,
    skip,
)
from rimwright.imaging.scan.damage import Unfit
from rimwright.imaging.scan.grid_file import GridFile, check_affine, check_grid
from rimwright.imaging.scan.limits import MAX_TEXT_HEADER_BYTES
from rimwright.imaging.scan.nrrd_file import neighbour
from rimwright.imaging.scan.numbers import read_numbers

_TYPES = {
    "MET_CHAR": "i1",
    "MET_UCHAR": "u1",
    "MET_SHORT": "i2",
    "MET_USHORT": "u2",
    "MET_INT": "i4",
    "MET_UINT": "u4",
    "MET_FLOAT": "f4",
    "MET_DOUBLE": "f8",
}
_LINE = re.compile(rb"([A-Za-z0-9_]+)\s*=\s*([^\r\n]*)\r?\n")
_OPPOSITE = str.maketrans("RLAPIS", "LRPASI")
_MATRIX = ("TransformMatrix", "Rotation", "Orientation")
_ORIGIN = ("Offset", "Position", "Origin")
_AGREES = 0.4
"""Least cosine between an axis and the direction its letter names: a grid turned by 45° about
two axes has 0.5, the same grid in RAS has less than 0."""
_ORDERS = ("BinaryDataByteOrderMSB", "ElementByteOrderMSB")


def parse_metaimage(path: Path) -> GridFile:
    """
    Read a MetaImage file.

    Parameters
    ----------
    path
        Header and numbers in one, or a header whose numbers lie in one file beside it.

    Returns
    -------
    GridFile
        In LPS, as is usual; stated where its word for the orientation of the voxels agrees
        with its matrix in LPS.

    Raises
    ------
    Unfit
        Damaged, cut short, with numbers elsewhere than beside it, or of an unread kind.
    """
    n_bytes = path.stat().st_size
    with Digests() as digests, path.open("rb") as file:
        whole = digests.stream(file, n_bytes=n_bytes)
        data = bytes(whole.read(MAX_TEXT_HEADER_BYTES))
        header, end = _parse_header(data)
        where = header["ElementDataFile"]
        if where.upper() == "LOCAL":
            flat = _numbers(header, Joined(data[end:], whole), n_bytes=n_bytes - end)
            whole.finish()
        else:
            whole.finish()
            data_path = neighbour(path, where)
            n_data = data_path.stat().st_size
            with data_path.open("rb") as beside:
                stream = digests.stream(beside, n_bytes=n_data)
                flat = _numbers(header, stream, n_bytes=n_data)
                stream.finish()
        digest = digests.total()
    affine = check_affine(_affine(header))
    is_stated, notes = _is_stated(header, affine)
    return GridFile(
        values=flat.reshape(_size(header), order="F"),
        slope=1.0,
        intercept=0.0,
        affine=affine,
        axes="LPS",
        axes_stated=is_stated,
        notes=tuple(notes),
        digest=digest,
        kind="MetaImage",
    )


def _parse_header(data: bytes) -> tuple[dict[str, str], int]:
    """Fields, the last of which names where the numbers are, and where the header ends."""
    fields: dict[str, str] = {}
    position = 0
    while match := _LINE.match(data, position):
        name, value = match[1].decode("ascii"), match[2].decode("latin-1").strip()
        position = match.end()
        if name in fields:
            raise Unfit(f"its header states {name[:40]} twice")
        fields[name] = value
        if name == "ElementDataFile":
            break
    for name in ("NDims", "DimSize", "ElementType", "ElementDataFile"):
        if name not in fields:
            raise Unfit(f"its header is damaged or lacks {name}")
    return fields, position


def _size(header: Mapping[str, str]) -> tuple[int, int, int]:
    """Voxels along each axis."""
    size = _floats(header, "DimSize")
    if any(n != int(n) for n in size):
        raise Unfit("its DimSize is not of whole numbers")
    if (
        header["NDims"] != "3"
        or len(size) != 3
        or header.get("ElementNumberOfChannels", "1") != "1"
    ):
        raise Unfit(f"several volumes or colours in one file (got {len(size)} axes, need 3)")
    return int(size[0]), int(size[1]), int(size[2])


def _numbers(header: Mapping[str, str], stream: Readable, *, n_bytes: int) -> Any:
    """All numbers in the order of the file."""
    code = _TYPES.get(header["ElementType"].upper())
    if code is None:
        raise Unfit("its kind of number is not read")
    if not _is_true(header.get("BinaryData", "True")):
        raise Unfit("its numbers are written as text, which is not read", "Write it as binary")
    is_big = any(_is_true(header.get(name, "False")) for name in _ORDERS)
    kind = np.dtype(code).newbyteorder(">" if is_big else "<")
    size = _size(header)
    n = size[0] * size[1] * size[2]
    is_packed = _is_true(header.get("CompressedData", "False"))
    skipped = _floats(header, "HeaderSize") if "HeaderSize" in header else (0.0,)
    n_skipped = int(skipped[0])
    if n_skipped == -1 and not is_packed:
        n_skipped = n_bytes - n * kind.itemsize  # as is usual: the numbers end the file
    if len(skipped) != 1 or not 0 <= n_skipped <= n_bytes:
        raise Unfit("its HeaderSize is out of range")
    check_grid(size, item_bytes=kind.itemsize, n_bytes=None if is_packed else n_bytes - n_skipped)
    skip(stream, n_skipped)
    if not is_packed:
        return read_numbers(stream, n=n, kind=kind)
    unpacked = InflatedStream(stream, window_bits=15)
    numbers = read_numbers(unpacked, n=n, kind=kind)
    unpacked.check_end()
    return numbers


def _affine(header: Mapping[str, str]) -> Floats:
    """Voxel index to mm; the rows of the matrix as written are the directions of the axes."""
    spacing_name = "ElementSpacing" if "ElementSpacing" in header else "ElementSize"
    if spacing_name not in header:
        raise Unfit("its header states no ElementSpacing")
    spacing = _floats(header, spacing_name, n=3)
    affine = np.eye(4)
    matrix = next((name for name in _MATRIX if name in header), None)
    directions = np.eye(3)
    if matrix is not None:
        directions = np.array(_floats(header, matrix, n=9)).reshape(3, 3).T
    affine[:3, :3] = directions * spacing
    origin = next((name for name in _ORIGIN if name in header), None)
    if origin is not None:
        affine[:3, 3] = _floats(header, origin, n=3)
    return affine


def _is_stated(header: Mapping[str, str], affine: Floats) -> tuple[bool, list[str]]:
    """
    Whether the word for the orientation agrees with the matrix.

    The word names where each axis of the voxels comes from: RAI comes from right, anterior and
    inferior, so its voxels run to the left, posterior and superior.
    """
    word = header.get("AnatomicalOrientation", "").upper().translate(_OPPOSITE)
    try:
        turned = lps_from(word) if len(word) == 3 else None
    except LookupError:
        turned = None
    if turned is None:
        return False, []
    sides = affine[:3, :3] / np.linalg.norm(affine[:3, :3], axis=0)
    if min(np.diag(sides.T @ turned)) > _AGREES:
        return True, []
    return False, ["its word for the orientation of its voxels contradicts its matrix"]


def _floats(header: Mapping[str, str], name: str, n: int | None = None) -> tuple[float, ...]:
    """Finite numbers of a field."""
    try:
        numbers = tuple(float(word) for word in header[name].split())
    except ValueError:
        raise Unfit(f"its {name} is not made of numbers") from None
    if not all(math.isfinite(number) and abs(number) < 1e9 for number in numbers):
        raise Unfit(f"its {name} is out of range")
    if (n is not None and len(numbers) != n) or not numbers:
        raise Unfit(f"its {name} has the wrong length (got {len(numbers)} numbers, need {n or 1})")
    return numbers


def _is_true(word: str) -> bool:
    """True, as such headers write it."""
    return word.strip().lower() in {"true", "1", "t", "yes"}
