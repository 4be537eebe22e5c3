"""NRRD volumes: header by pynrrd, numbers by our own bounded reading."""

from __future__ import annotations

import bz2
import io
import warnings
from collections.abc import Mapping
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any

import nrrd
import numpy as np

from rimwright.anatomy import Floats
from rimwright.imaging.axis_convention import axis_conventions
from rimwright.imaging.scan.byte_streams import (
    Digests,
    InflatedStream,
    Joined,
    Readable,
    skip,
)
from rimwright.imaging.scan.damage import DAMAGE, Unfit
from rimwright.imaging.scan.grid_file import GridFile, check_affine, check_grid
from rimwright.imaging.scan.limits import MAX_TEXT_HEADER_BYTES
from rimwright.imaging.scan.numbers import read_numbers, read_text_numbers

_TYPES = {
    "i1": ("signed char", "int8", "int8_t"),
    "u1": ("uchar", "unsigned char", "uint8", "uint8_t"),
    "i2": ("short", "short int", "signed short", "signed short int", "int16", "int16_t"),
    "u2": ("ushort", "unsigned short", "unsigned short int", "uint16", "uint16_t"),
    "i4": ("int", "signed int", "int32", "int32_t"),
    "u4": ("uint", "unsigned int", "uint32", "uint32_t"),
    "f4": ("float",),
    "f8": ("double",),
}
"""Words for kinds of number. Source: NRRD format definition, section 'type'."""
_LETTERS = {"left": "L", "right": "R", "posterior": "P", "anterior": "A", "superior": "S",
            "inferior": "I"}  # fmt: skip
_LENGTH_UNITS = {"mm": 1.0, "millimeter": 1.0, "millimeters": 1.0, "cm": 10.0, "m": 1000.0,
                 "um": 0.001}  # fmt: skip
_TEXT, _GZIP, _BZIP2 = {"ascii", "text", "txt"}, {"gzip", "gz"}, {"bzip2", "bz2"}
_DETACHED = ("data file", "datafile")
_BYTES_SKIP, _LINE_SKIP = ("byte skip", "byteskip"), ("line skip", "lineskip")


def parse_nrrd(path: Path) -> GridFile:
    """
    Read an NRRD file.

    Parameters
    ----------
    path
        Header and numbers in one, or a header whose numbers lie in one file beside it.

    Returns
    -------
    GridFile
        In the axes its `space` names.

    Raises
    ------
    Unfit
        Damaged, cut short, with numbers elsewhere than beside it, or packed in an unread way.
    """
    n_bytes = path.stat().st_size
    with Digests() as digests, path.open("rb") as file:
        whole = digests.stream(file, n_bytes=n_bytes)
        head, rest = _split(bytes(whole.read(MAX_TEXT_HEADER_BYTES)))
        header = _parse_header(head)
        beside = next((str(header[key]) for key in _DETACHED if key in header), None)
        if beside is None:
            flat = _numbers(header, Joined(rest, whole), n_bytes=n_bytes - len(head))
            whole.finish()
        else:
            whole.finish()
            data_path = neighbour(path, beside)
            n_data = data_path.stat().st_size
            with data_path.open("rb") as data:
                stream = digests.stream(data, n_bytes=n_data)
                flat = _numbers(header, stream, n_bytes=n_data)
                stream.finish()
        digest = digests.total()
    affine, notes = _affine(header)
    axes, is_stated = _axes(header)
    return GridFile(
        values=flat.reshape(_size(header), order="F"),
        slope=1.0,
        intercept=0.0,
        affine=check_affine(affine),
        axes=axes,
        axes_stated=is_stated,
        notes=tuple(notes),
        digest=digest,
        kind="NRRD",
    )


def neighbour(path: Path, name: str) -> Path:
    """
    Find the file of numbers that a header names, beside it and nowhere else.

    Parameters
    ----------
    path
        The header.
    name
        As it stands there.

    Returns
    -------
    Path
        A regular file in the same folder.

    Raises
    ------
    Unfit
        A list, a pattern, a path that leads elsewhere, or not there.
    """
    name = name.strip()
    windows = PureWindowsPath(name)
    parts = PurePosixPath(name.removeprefix("./")).parts
    is_plain = len(parts) == 1 and len(windows.parts) == 1 and parts[0] != ".." and "\0" not in name
    if not is_plain or "%" in name or name.upper().startswith("LIST"):
        raise Unfit(
            "its numbers are not in one file beside it", "Write header and numbers as one file"
        )
    found = path.parent / parts[0]
    if not found.is_file() or found.is_symlink():
        raise Unfit("the file of its numbers is not beside it", "Put both into one folder")
    return found


def _split(data: bytes) -> tuple[bytes, bytes]:
    """Header up to its empty line, and what follows."""
    ends = [(at, len(mark)) for mark in (b"\n\n", b"\r\n\r\n") if (at := data.find(mark)) >= 0]
    if not ends:
        if len(data) >= MAX_TEXT_HEADER_BYTES:
            raise Unfit("its header does not end")
        return data + b"\n\n", b""  # a detached header may end with the file
    at, length = min(ends)
    return data[: at + length], data[at + length :]


def _parse_header(head: bytes) -> Mapping[str, Any]:
    """The fields by pynrrd."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            header: Mapping[str, Any] = nrrd.read_header(io.BytesIO(head))
    except (*DAMAGE, nrrd.NRRDError):
        raise Unfit("its header is damaged") from None
    for field in ("type", "dimension", "encoding", "sizes"):
        if field not in header:
            raise Unfit(f"its header lacks the field '{field}'")
    return header


def _size(header: Mapping[str, Any]) -> tuple[int, int, int]:
    """Voxels along each axis."""
    try:
        size = tuple(int(n) for n in header["sizes"])
    except DAMAGE:
        raise Unfit("its sizes are not numbers") from None
    if header["dimension"] != 3 or len(size) != 3:
        raise Unfit(f"several volumes or colours in one file (got {len(size)} axes, need 3)")
    return size[0], size[1], size[2]


def _numbers(header: Mapping[str, Any], stream: Readable, *, n_bytes: int) -> Any:
    """All numbers in the order of the file."""
    word = str(header["type"]).strip().lower()
    code = next((code for code, words in _TYPES.items() if word in words), None)
    if code is None:
        raise Unfit("its kind of number is not read")
    kind = np.dtype(code)
    if kind.itemsize > 1:
        order = str(header.get("endian", "")).strip().lower()
        if order not in {"little", "big"} and str(header["encoding"]).lower() not in _TEXT:
            raise Unfit("its byte order is not stated")
        kind = kind.newbyteorder("<" if order != "big" else ">")
    size = _size(header)
    encoding = str(header["encoding"]).strip().lower()
    is_raw = encoding == "raw"
    n = size[0] * size[1] * size[2]
    if any(int(header.get(key, 0)) != 0 for key in _LINE_SKIP):
        raise Unfit("lines are to be skipped before its numbers, which is not read")
    skips = [int(header[key]) for key in _BYTES_SKIP if key in header]
    n_skipped = skips[0] if skips else 0
    if n_skipped < 0 and is_raw:
        n_skipped = n_bytes - n * kind.itemsize  # by the standard: the numbers end the file
    if not 0 <= n_skipped <= n_bytes:
        raise Unfit("the bytes to be skipped before its numbers are out of range")
    check_grid(size, item_bytes=kind.itemsize, n_bytes=n_bytes - n_skipped if is_raw else None)
    if encoding in _TEXT:
        skip(stream, n_skipped)
        return read_text_numbers(stream, n=n, kind=kind, n_bytes=n_bytes)
    packed = InflatedStream(stream, window_bits=31) if encoding in _GZIP else None
    if encoding in _BZIP2:
        stream = _Bunzipped(stream)
    elif not is_raw and packed is None:
        raise Unfit("its encoding is not read", "Write it raw or packed with gzip")
    unpacked: Readable = packed or stream
    skip(unpacked, n_skipped)
    numbers = read_numbers(unpacked, n=n, kind=kind)
    if packed is not None:
        packed.check_end()
    return numbers


class _Bunzipped:
    """What a bzip2 stream unpacks to; its ratio is bounded by what is asked for."""

    def __init__(self, packed: Readable) -> None:
        self._packed = packed
        self._unpack = bz2.BZ2Decompressor()

    def read(self, n: int, /) -> bytes:
        """The next bytes, fewer only at the end."""
        parts = []
        while n > 0 and not self._unpack.eof:
            data = bytes(self._packed.read(64 * 1024)) if self._unpack.needs_input else b""
            try:
                part = self._unpack.decompress(data, n)
            except OSError:
                raise Unfit("its packed bytes are damaged") from None
            if not part and not data and self._unpack.needs_input:
                break
            parts.append(part)
            n -= len(part)
        return b"".join(parts)


def _affine(header: Mapping[str, Any]) -> tuple[Floats, list[str]]:
    """Voxel index to mm in the file's space."""
    notes = []
    affine = np.eye(4)
    directions = header.get("space directions")
    try:
        if directions is not None:
            affine[:3, :3] = np.array(directions, dtype=np.float64).reshape(3, 3).T
        elif "spacings" in header:
            affine[:3, :3] = np.diag(np.array(header["spacings"], dtype=np.float64).reshape(3))
            notes.append("it does not state where its voxels lie: only their spacing is taken")
        else:
            raise Unfit("its header states no spacing")
        origin = header.get("space origin")
        if origin is not None:
            affine[:3, 3] = np.array(origin, dtype=np.float64).reshape(3)
    except (TypeError, ValueError):
        raise Unfit("its directions, spacings or origin are not three numbers each") from None
    units = header.get("space units") or header.get("units") or []
    scales = {_LENGTH_UNITS.get(str(unit).strip('" ').lower()) for unit in units}
    scale = scales.pop() if scales else 1.0
    if scale is None or scales:
        raise Unfit("its unit of length is not read", "Write it in mm")
    affine[:3] *= scale
    if not units:
        notes.append("its unit of length is not stated: taken for mm")
    return affine, notes


def _axes(header: Mapping[str, Any]) -> tuple[str, bool]:
    """Convention of the file's space, and whether it is stated."""
    space = str(header.get("space", "")).strip().lower()
    word = "".join(_LETTERS.get(part, "?") for part in space.split("-")) if "-" in space else ""
    word = word if "?" not in word else ""
    word = word or space.upper()
    if word in axis_conventions():
        return word, True
    if space in {"", "3d-right-handed", "scanner-xyz"}:
        return "LPS", False
    raise Unfit("its space is not read", "Write it in left-posterior-superior")
