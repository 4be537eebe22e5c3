"""The header of one DICOM file: found by few bytes, parsed for the tags listed and no other."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import BinaryIO, Literal

from rimwright.imaging.scan.byte_streams import InflatedStream, Joined, Readable, skip
from rimwright.imaging.scan.damage import DAMAGE, Unfit
from rimwright.imaging.scan.elements import SPECIFIC_TAGS, Elements
from rimwright.imaging.scan.limits import HEADER_STEPS, MAX_ARCHIVE_RATIO
from rimwright.imaging.scan.sources import Source

IMPLICIT_LITTLE = "1.2.840.10008.1.2"
EXPLICIT_LITTLE = "1.2.840.10008.1.2.1"
DEFLATED = "1.2.840.10008.1.2.1.99"
EXPLICIT_BIG = "1.2.840.10008.1.2.2"
NATIVE = {IMPLICIT_LITTLE, EXPLICIT_LITTLE, DEFLATED, EXPLICIT_BIG}

_PREAMBLE = 128
_MARK = b"DICM"
_LONG_LENGTHS = {b"OB", b"OD", b"OF", b"OL", b"OV", b"OW", b"SQ", b"UC", b"UN", b"UR", b"UT"}
_TRANSFER_SYNTAX = 0x00020010
_PIXEL_GROUP = 0x7FE0
_PIXEL_DATA = 0x7FE00010
_UNDEFINED = 0xFFFFFFFF
_MAX_META_BYTES = 64 * 1024


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class DicomHeader:
    """
    What stands before the pixels of one file.

    Parameters
    ----------
    source
        The file.
    syntax
        Its transfer syntax.
    elements
        The tags asked for.
    start
        Bytes before the data set.
    pixel_offset
        First byte of the pixels, counted from the start of the data set, unpacked; −1: none.
    pixel_bytes
        Their length; −1 where they stand in fragments.
    """

    source: Source
    syntax: str
    elements: Elements
    start: int
    pixel_offset: int
    pixel_bytes: int

    @property
    def is_little_endian(self) -> bool:
        """Byte order of its numbers."""
        return self.syntax != EXPLICIT_BIG

    def data_set(self, file: Readable) -> Readable:
        """The data set of the file opened anew, unpacked where it is deflated."""
        skip(file, self.start)
        return _inflated(file) if self.syntax == DEFLATED else file


def read_header(source: Source) -> DicomHeader | None:
    """
    Read the header of a file.

    Parameters
    ----------
    source
        Any file.

    Returns
    -------
    DicomHeader | None
        None where the file is not DICOM.

    Raises
    ------
    Unfit
        It begins as DICOM and cannot be understood.
    OSError
        The file cannot be opened.
    """
    with source.open() as file:
        head = file.read(HEADER_STEPS[0])
        found = _find_start(head)
        if found is None:
            return None
        start, syntax = found
        return _parse(source, file, head, start=start, syntax=syntax)


def _parse(source: Source, file: BinaryIO, head: bytes, *, start: int, syntax: str) -> DicomHeader:
    """Take in more of the file until the pixels are reached or the file ends."""
    rest: Readable = file
    data = head[start:]
    if syntax == DEFLATED:
        rest = _inflated(Joined(head[start:], file))
        data = rest.read(HEADER_STEPS[0])
    for limit in HEADER_STEPS:
        data += rest.read(max(0, limit - len(data)))
        is_whole = len(data) < limit
        parsed = _try(data, syntax)
        if parsed is not None and (parsed[1] >= 0 or is_whole):
            elements, offset, n_bytes = parsed
            return DicomHeader(
                source=source,
                syntax=syntax,
                elements=elements,
                start=start,
                pixel_offset=offset,
                pixel_bytes=n_bytes,
            )
        if is_whole:
            break
    raise Unfit("its header is damaged or cut short")


def _inflated(packed: Readable) -> InflatedStream:
    """A deflated data set, unpacked under the limit of archives."""
    return InflatedStream(packed, window_bits=-15, max_ratio=MAX_ARCHIVE_RATIO)


def _find_start(head: bytes) -> tuple[int, str] | None:
    """Where the data set begins and how it is written; None where it is no DICOM."""
    if head[_PREAMBLE : _PREAMBLE + 4] == _MARK:
        return _read_meta(head)
    # Files older than the preamble begin with group 8 and are little-endian.
    if head[:2] == b"\x08\x00" and head[3:4] == b"\x00" and len(head) > _PREAMBLE:
        is_explicit = head[4:6].isalpha() and head[4:6].isupper()
        return 0, EXPLICIT_LITTLE if is_explicit else IMPLICIT_LITTLE
    return None


def _read_meta(head: bytes) -> tuple[int, str]:
    """The group before the data set, always explicit and little-endian."""
    position, syntax = _PREAMBLE + 4, ""
    while head[position : position + 2] == b"\x02\x00" and position < _MAX_META_BYTES:
        tag = 0x00020000 | int.from_bytes(head[position + 2 : position + 4], "little")
        is_long = head[position + 4 : position + 6] in _LONG_LENGTHS
        at, size = (position + 8, 4) if is_long else (position + 6, 2)
        length = int.from_bytes(head[at : at + size], "little")
        value = at + size
        if tag == _TRANSFER_SYNTAX:
            syntax = head[value : value + length].decode("latin-1").strip(" \0")
        position = value + length
    if not syntax:
        raise Unfit("its transfer syntax is missing")
    if position >= len(head):
        raise Unfit("its header is damaged or cut short")
    return position, syntax


def _try(data: bytes, syntax: str) -> tuple[Elements, int, int] | None:
    """Elements, offset and length of the pixels; None where the bytes cannot be parsed."""
    from pydicom.filereader import read_dataset

    stream = io.BytesIO(data)
    is_little = syntax != EXPLICIT_BIG
    try:
        dataset = read_dataset(
            stream,
            syntax == IMPLICIT_LITTLE,
            is_little,
            stop_when=lambda tag, _vr, _length: tag >> 16 >= _PIXEL_GROUP,
            specific_tags=SPECIFIC_TAGS,
        )
    except DAMAGE:
        return None
    elements = Elements(dataset, is_little_endian=is_little)
    position = stream.tell()
    if position > len(data):
        return None
    return elements, *_find_pixels(data, position, is_little=is_little)


def _find_pixels(data: bytes, position: int, *, is_little: bool) -> tuple[int, int]:
    """Offset of the first byte of the pixels and their length; −1, −1 where there are none."""
    order: Literal["little", "big"] = "little" if is_little else "big"
    head = data[position : position + 12]
    if len(head) < 12:
        return -1, -1
    tag = int.from_bytes(head[:2], order) << 16 | int.from_bytes(head[2:4], order)
    if tag >> 16 == _PIXEL_GROUP and tag != _PIXEL_DATA:
        raise Unfit("its pixels are written as floating point, which is not read")
    if tag != _PIXEL_DATA:
        return -1, -1
    if head[4:6] in {b"OB", b"OW", b"UN"}:
        offset, length = position + 12, int.from_bytes(head[8:12], order)
    else:
        offset, length = position + 8, int.from_bytes(head[4:8], order)
    return offset, -1 if length == _UNDEFINED else length
