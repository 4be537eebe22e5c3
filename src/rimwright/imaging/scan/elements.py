"""Values of DICOM elements from their raw bytes: quick, strict, and blind to everything else.

Only the tags listed here are read at all; none of them says who the person is.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from rimwright.imaging.scan.damage import DAMAGE, Unfit

if TYPE_CHECKING:
    from pydicom.dataset import Dataset

NAMES = {
    0x00041220: "DirectoryRecordSequence",
    0x00080005: "SpecificCharacterSet",
    0x00080008: "ImageType",
    0x00080016: "SOPClassUID",
    0x00080060: "Modality",
    0x0008103E: "SeriesDescription",
    0x00180050: "SliceThickness",
    0x00180081: "EchoTime",
    0x00180088: "SpacingBetweenSlices",
    0x0020000E: "SeriesInstanceUID",
    0x00200012: "AcquisitionNumber",
    0x00200032: "ImagePositionPatient",
    0x00200037: "ImageOrientationPatient",
    0x00200052: "FrameOfReferenceUID",
    0x00200100: "TemporalPositionIdentifier",
    0x00280002: "SamplesPerPixel",
    0x00280004: "PhotometricInterpretation",
    0x00280008: "NumberOfFrames",
    0x00280010: "Rows",
    0x00280011: "Columns",
    0x00280030: "PixelSpacing",
    0x00280100: "BitsAllocated",
    0x00280101: "BitsStored",
    0x00280102: "HighBit",
    0x00280103: "PixelRepresentation",
    0x00280120: "PixelPaddingValue",
    0x00280121: "PixelPaddingRangeLimit",
    0x00281052: "RescaleIntercept",
    0x00281053: "RescaleSlope",
    0x00281054: "RescaleType",
    0x00282110: "LossyImageCompression",
    0x00620001: "SegmentationType",
    0x00620002: "SegmentSequence",
    0x52009229: "SharedFunctionalGroupsSequence",
    0x52009230: "PerFrameFunctionalGroupsSequence",
}
TAGS = {name: tag for tag, name in NAMES.items()}
TAGS |= {
    "ReferencedFileID": 0x00041500,
    "EffectiveEchoTime": 0x00189082,
    "FrameType": 0x00089007,
    "PixelValueTransformationSequence": 0x00289145,
    "PixelMeasuresSequence": 0x00289110,
    "PlanePositionSequence": 0x00209113,
    "PlaneOrientationSequence": 0x00209116,
    "FrameContentSequence": 0x00209111,
    "StackID": 0x00209056,
    "TemporalPositionIndex": 0x00209128,
    "FrameAcquisitionNumber": 0x00209156,
    "MREchoSequence": 0x00189114,
    "CTImageFrameTypeSequence": 0x00189329,
    "MRImageFrameTypeSequence": 0x00189226,
    "SegmentIdentificationSequence": 0x0062000A,
    "ReferencedSegmentNumber": 0x0062000B,
    "SegmentNumber": 0x00620004,
    "SegmentLabel": 0x00620005,
}
SPECIFIC_TAGS: list[Any] = list(NAMES)
MAX_NAME_LETTERS = 64
"""Longest name or description that DICOM allows."""
_CONTROL = frozenset(range(32)) - {0x1B}
"""Bytes that no name holds; escape, which changes the alphabet, may stand in one."""


class Elements:
    """
    The elements of one data set or sequence item, by keyword.

    Parameters
    ----------
    dataset
        As parsed; its values still raw. It is not kept.
    is_little_endian
        Byte order of its numbers.
    """

    __slots__ = ("order", "raw_elements")

    def __init__(self, dataset: Dataset, *, is_little_endian: bool) -> None:
        # plain numbers as keys: pydicom's own tags compare in Python, a hundred times a slice
        self.raw_elements: dict[int, Any] = {int(tag): e for tag, e in dataset.items()}
        self.order: Any = "little" if is_little_endian else "big"

    def raw(self, name: str) -> bytes | None:
        """Bytes of a value; None where it is missing or empty."""
        element = self.raw_elements.get(TAGS[name])
        value = element.value if element is not None and element.is_raw else None
        return value if isinstance(value, bytes) and value else None

    def text(self, name: str) -> str:
        """A short code or identifier; '' where it is missing."""
        value = self.raw(name)
        return "" if value is None else value.decode("latin-1").strip(" \0")

    def words(self, name: str) -> str:
        """A name for people to read, of one line; '' where it is missing or damaged."""
        value = (self.raw(name) or b"").strip(b" \0")
        if len(value) > 4 * MAX_NAME_LETTERS or any(byte in _CONTROL for byte in value):
            return ""  # a damaged length would take in the tags that follow, of the person too
        from pydicom.charset import convert_encodings, decode_bytes

        charset = self.text("SpecificCharacterSet").split("\\")
        try:
            text = decode_bytes(value, convert_encodings(charset), set())
        except DAMAGE:
            text = value.decode("latin-1")
        text = "".join(letter if letter.isprintable() else " " for letter in text)
        return " ".join(text.split())[:MAX_NAME_LETTERS]

    def decimals(self, name: str, n: int) -> tuple[float, ...] | None:
        """N finite numbers written as text; None where missing, Unfit where they are not."""
        value = self.raw(name)
        if value is None or not value.strip(b" \0"):
            return None
        try:
            numbers = tuple(float(part.strip(b" \0")) for part in value.split(b"\\"))
        except ValueError:
            raise Unfit(f"{name} is not made of numbers") from None
        if len(numbers) != n:
            raise Unfit(f"{name} has the wrong length (got {len(numbers)} numbers, need {n})")
        if not all(math.isfinite(number) and abs(number) < 1e9 for number in numbers):
            raise Unfit(f"{name} is out of range")
        return numbers

    def decimal(self, name: str) -> float | None:
        """One finite number written as text."""
        numbers = self.decimals(name, 1)
        return None if numbers is None else numbers[0]

    def count(self, name: str) -> int | None:
        """A 16-bit count; None where missing."""
        value = self.raw(name)
        if value is None:
            return None
        if len(value) != 2:
            raise Unfit(f"{name} has the wrong length (got {len(value)} bytes, need 2)")
        return int.from_bytes(value, self.order)

    def whole(self, name: str) -> int | None:
        """A whole number written as text; None where missing."""
        number = self.decimal(name)
        if number is None:
            return None
        if number != int(number):
            raise Unfit(f"{name} is not a whole number")
        return int(number)

    def items(self, name: str) -> list[Elements]:
        """Items of a sequence; empty where it is missing, Unfit where it is damaged."""
        from pydicom.dataelem import convert_raw_data_element

        element = self.raw_elements.get(TAGS[name])
        if element is None:
            return []
        try:
            if element.is_raw:
                element = convert_raw_data_element(element)
            is_little = self.order == "little"
            return [Elements(item, is_little_endian=is_little) for item in element.value or ()]
        except DAMAGE:
            raise Unfit(f"{name} is damaged") from None
