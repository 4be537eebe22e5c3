"""The images of one DICOM file: how their pixels are stored, and where each of them lies."""

from __future__ import annotations

from dataclasses import dataclass

from rimwright.anatomy import Floats, Modality
from rimwright.imaging.scan.damage import Unfit
from rimwright.imaging.scan.dicom_header import DicomHeader
from rimwright.imaging.scan.elements import Elements
from rimwright.imaging.scan.functional_groups import FunctionalGroups, direction_pair
from rimwright.imaging.scan.pixel_layout import PixelLayout, read_layout

_STORAGE = "1.2.840.10008.5.1.4.1.1"
CT_SIMPLE, MR_SIMPLE = {f"{_STORAGE}.2"}, {f"{_STORAGE}.4"}
CT_CLASSES = CT_SIMPLE | {f"{_STORAGE}.2.1", f"{_STORAGE}.2.2"}
MR_CLASSES = MR_SIMPLE | {f"{_STORAGE}.4.1", f"{_STORAGE}.4.4"}
SEGMENTATION, LABEL_MAP = f"{_STORAGE}.66.4", f"{_STORAGE}.66.7"
DICOMDIR = "1.2.840.10008.1.3.10"

_HU_TYPES = {"", "HU", "US"}
"""Rescale types of a CT in Hounsfield units; US is 'unspecified', which scanners write for them."""
_PROJECTIONS = {"PROJECTION", "PROJECTION IMAGE", "MIP", "MINIP"}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class SliceImage:
    """
    One image and its place.

    Parameters
    ----------
    header
        File it is in.
    layout
        How its pixels are stored.
    index
        Its place in the file, from 0.
    position_mm
        (3,), middle of its first pixel, mm, image frame.
    row_direction, column_direction
        (3,) unit, along a row and along a column.
    spacing_mm
        Between neighbours along a row, and along a column, mm.
    thickness_mm
        As stated; 0 where it is not.
    slope, intercept
        From stored number to value.
    kinds
        What else tells images at the same place apart: kind of image, echo, time, acquisition.
    stack
        Name of the stack the file puts it in.
    """

    header: DicomHeader
    layout: PixelLayout
    index: int
    position_mm: tuple[float, float, float]
    row_direction: Floats
    column_direction: Floats
    spacing_mm: tuple[float, float]
    thickness_mm: float
    slope: float
    intercept: float
    kinds: tuple[bytes | None, ...]
    stack: str


def modality_of(header: DicomHeader) -> Modality:
    """What kind of image a file says it holds, by its storage class."""
    storage = header.elements.text("SOPClassUID")
    if storage in CT_CLASSES:
        return Modality.CT
    return Modality.MR if storage in MR_CLASSES else Modality.OTHER


def read_images(header: DicomHeader) -> tuple[SliceImage, ...]:
    """
    Read where the images of a CT or MR file lie.

    Parameters
    ----------
    header
        Of the file.

    Returns
    -------
    tuple[SliceImage, ...]
        One for each frame.

    Raises
    ------
    Unfit
        A tag that a volume needs is missing or says something impossible.
    """
    elements = header.elements
    if header.pixel_offset < 0:
        raise Unfit("it holds no pixels")
    layout = read_layout(elements)
    is_ct = modality_of(header) is Modality.CT
    if elements.text("SOPClassUID") in CT_SIMPLE | MR_SIMPLE:
        if layout.n_frames > 1:
            raise Unfit("several images in one file without a place for each of them")
        return (_read_image(header, layout, is_ct=is_ct),)
    return _read_frames(header, layout, is_ct=is_ct)


def checked_spacing(numbers: tuple[float, ...] | None) -> tuple[float, float]:
    """Spacing along a row and along a column, of the two numbers of PixelSpacing."""
    if numbers is None:
        raise Unfit("PixelSpacing is missing")
    if not all(1e-3 < number < 100 for number in numbers):
        raise Unfit(f"PixelSpacing is out of range (got {numbers[0]:g} and {numbers[1]:g} mm)")
    return numbers[1], numbers[0]


def check_modality(modality: Modality) -> None:
    """Refuse what is no CT or MR image: pictures, reports, other scanners."""
    if modality is Modality.OTHER:
        raise Unfit("neither CT nor MR images", "Give the CT or MR series itself")


def check_image_type(kind: str, *, modality: Modality) -> None:
    """Refuse scouts and projections: their pixels are not of a slice."""
    words = {word.strip() for word in kind.upper().split("\\")}
    if "LOCALIZER" in words:
        raise Unfit("a localizer")
    if words & _PROJECTIONS or (modality is Modality.CT and "SCOUT" in words):
        raise Unfit("a projection, not slices")


def _read_image(header: DicomHeader, layout: PixelLayout, *, is_ct: bool) -> SliceImage:
    """The image of a file that holds one."""
    elements = header.elements
    position = elements.decimals("ImagePositionPatient", 3)
    orientation = elements.decimals("ImageOrientationPatient", 6)
    if position is None or orientation is None:
        raise Unfit("ImagePositionPatient or ImageOrientationPatient is missing")
    row, column = direction_pair(orientation)
    slope, intercept = _rescale(elements, is_ct=is_ct)
    kinds = ("ImageType", "EchoTime", "TemporalPositionIdentifier", "AcquisitionNumber")
    return SliceImage(
        header=header,
        layout=layout,
        index=0,
        position_mm=(position[0], position[1], position[2]),
        row_direction=row,
        column_direction=column,
        spacing_mm=checked_spacing(elements.decimals("PixelSpacing", 2)),
        thickness_mm=_thickness(elements),
        slope=slope,
        intercept=intercept,
        kinds=tuple(elements.raw(name) for name in kinds),
        stack="",
    )


def _read_frames(
    header: DicomHeader, layout: PixelLayout, *, is_ct: bool
) -> tuple[SliceImage, ...]:
    """The images of a file that holds many, each with its functional groups."""
    elements = header.elements
    per_frame = elements.items("PerFrameFunctionalGroupsSequence")
    if len(per_frame) != layout.n_frames:
        raise Unfit(
            f"the frames and their descriptions differ in number (got {layout.n_frames} and "
            f"{len(per_frame)})"
        )
    shared = elements.items("SharedFunctionalGroupsSequence")[:1]
    groups = [FunctionalGroups(item, shared[0] if shared else None) for item in per_frame]
    images: list[SliceImage] = []
    for index, group in enumerate(groups):
        values = group.find("PixelValueTransformationSequence") or elements
        slope, intercept = _rescale(values, is_ct=is_ct)
        measures = group.needed("PixelMeasuresSequence")
        row, column = group.directions()
        content = group.find("FrameContentSequence")
        kind = group.find("CTImageFrameTypeSequence") or group.find("MRImageFrameTypeSequence")
        echo = group.find("MREchoSequence")
        if kind is not None:
            modality = Modality.CT if is_ct else Modality.MR
            check_image_type(kind.text("FrameType"), modality=modality)
        images.append(
            SliceImage(
                header=header,
                layout=layout,
                index=index,
                position_mm=group.position(),
                row_direction=row,
                column_direction=column,
                spacing_mm=checked_spacing(measures.decimals("PixelSpacing", 2)),
                thickness_mm=_thickness(measures),
                slope=slope,
                intercept=intercept,
                kinds=(
                    _raw(kind, "FrameType"),
                    _raw(echo, "EffectiveEchoTime"),
                    _raw(content, "TemporalPositionIndex"),
                    _raw(content, "FrameAcquisitionNumber"),
                ),
                stack=content.text("StackID") if content else "",
            )
        )
    return tuple(images)


def _raw(group: Elements | None, name: str) -> bytes | None:
    """Bytes of a value of a group that may be missing."""
    return None if group is None else group.raw(name)


def _thickness(elements: Elements) -> float:
    """Slice thickness as stated; 0 where it is not, or is not one."""
    thickness = elements.decimal("SliceThickness")
    return thickness if thickness is not None and 0 < thickness < 100 else 0.0


def _rescale(elements: Elements, *, is_ct: bool) -> tuple[float, float]:
    """Slope and intercept; a CT that states none is not in Hounsfield units for certain."""
    slope, intercept = elements.decimal("RescaleSlope"), elements.decimal("RescaleIntercept")
    if is_ct and (slope is None or intercept is None):
        raise Unfit("RescaleSlope or RescaleIntercept is missing: not known to be Hounsfield units")
    if is_ct and elements.text("RescaleType").upper() not in _HU_TYPES:
        raise Unfit("its values are not Hounsfield units")
    slope = 1.0 if slope is None else slope
    if not 1e-9 < abs(slope) < 1e6:
        raise Unfit(f"RescaleSlope is out of range (got {slope:g})")
    return slope, 0.0 if intercept is None else intercept
