"""Label maps from DICOM segmentations: bits per segment, or one number per voxel."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from rimwright.anatomy import Floats, LabelMap, Progress
from rimwright.errors import FileRefusal
from rimwright.imaging.scan.byte_streams import Digests, Readable, skip
from rimwright.imaging.scan.damage import DAMAGE, EXPORT_AGAIN, Unfit
from rimwright.imaging.scan.decoding import check_syntax, decode_frame, split_frames
from rimwright.imaging.scan.dicom_header import NATIVE, DicomHeader
from rimwright.imaging.scan.elements import Elements
from rimwright.imaging.scan.functional_groups import FunctionalGroups
from rimwright.imaging.scan.limits import MAX_MEMBER_BYTES, MAX_SIDE, MAX_VOLUME_BYTES
from rimwright.imaging.scan.pixel_layout import PixelLayout, read_layout
from rimwright.imaging.scan.series import hash_identifier, read_study
from rimwright.imaging.scan.slice_image import LABEL_MAP, checked_spacing
from rimwright.imaging.scan.sources import open_sources
from rimwright.imaging.scan.stored_values import stored_type
from rimwright.imaging.scan.volume_file import LabelFile

_OFF_GRID_FRACTION = 0.02
"""How far a frame may lie beside the grid of its slices, as a part of the step."""
_SIDEWAYS_MM = 0.1
"""How far frames may be shifted sideways against each other, mm."""
_MAX_SEGMENTS = 1000
_OTHERS_ALONE = "Give the segmentation file itself"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Frame:
    """One frame: its segment (0: its pixels are labels), and the place of its first pixel."""

    segment: int
    position_mm: Floats
    row: Floats
    column: Floats
    spacing_mm: tuple[float, float]
    step_mm: float


def read_dicom_labels(path: Path, *, where: str, progress: Progress) -> LabelFile:
    """
    Read the one segmentation of a DICOM place.

    Parameters
    ----------
    path
        A file, or a folder or archive with one segmentation in it.
    where
        What to call it in a refusal.
    progress
        Told the part done.

    Returns
    -------
    LabelFile
        In LPS and mm; slices between that the file leaves out are empty.

    Raises
    ------
    FileRefusal
        No segmentation or several, of fractions, with segments that overlap, or damaged.
    """
    with open_sources(path) as sources:
        study = read_study(sources, where=where, progress=progress)
        if not study.segmentations:
            if study.damaged and not study.series:
                reason = study.damaged[0][1]
                raise FileRefusal(f"begins as DICOM, but {reason}", where, EXPORT_AGAIN)
            raise FileRefusal("holds no segmentation", where, _OTHERS_ALONE)
        if len(study.segmentations) > 1:
            raise FileRefusal(
                f"holds several segmentations (got {len(study.segmentations)}, need 1)",
                where,
                _OTHERS_ALONE,
            )
        header = study.segmentations[0]
        try:
            with warnings.catch_warnings():
                warnings.simplefilter("ignore")
                labels, digest = _read(header, progress)
        except Unfit as unfit:
            raise FileRefusal(unfit.reason, where, unfit.remedy or EXPORT_AGAIN) from None
        except DAMAGE as error:
            raise FileRefusal(
                f"cannot be understood as a segmentation ({type(error).__name__})",
                where,
                EXPORT_AGAIN,
            ) from error
    return LabelFile(
        labels=labels,
        digest=digest,
        warnings=(),
        axes="LPS",
        axes_assumed=False,
        kind="DICOM segmentation",
    )


def _read(header: DicomHeader, progress: Progress) -> tuple[LabelMap, str]:
    """Labels of one file and its digest."""
    elements = header.elements
    check_syntax(header.syntax)
    is_map = elements.text("SOPClassUID") == LABEL_MAP
    kind = elements.text("SegmentationType").upper()
    if not is_map and kind != "BINARY":
        raise Unfit("its segments are not bits", "Export it as a binary segmentation")
    layout = read_layout(
        elements, bits={8, 16} if is_map else {1, 8}, shown_as={"", "MONOCHROME2", "PALETTE COLOR"}
    )
    names = _names(elements)
    frames = _frames(elements, layout, is_map=is_map)
    affine, slots = _grid(frames)
    values = _empty(layout, n_slices=max(slots) + 1)
    with Digests() as digests, header.source.open() as file:
        stream = digests.stream(file, n_bytes=header.source.n_bytes)
        for index, pixels in enumerate(_pixels(header, layout, stream)):
            _mark(values[slots[index]], pixels, frames[index].segment, names)
            progress((index + 1) / layout.n_frames, "reading labels")
        stream.finish()
        digest = digests.total()
    if not values.any():
        raise Unfit("holds no label: every voxel is 0", "Give a segmentation with labels in it")
    frame_id = hash_identifier(elements.text("FrameOfReferenceUID"))
    return LabelMap(values=values.T, affine=affine, names=names, frame_id=frame_id), digest


def _names(elements: Elements) -> dict[int, str]:
    """Number to name of each segment."""
    names: dict[int, str] = {}
    for item in elements.items("SegmentSequence"):
        number = item.count("SegmentNumber")
        if number is None or number in names or len(names) >= _MAX_SEGMENTS:
            raise Unfit("its segments are not numbered one by one")
        names[number] = item.words("SegmentLabel")
    names.pop(0, None)  # a label map may name its background
    if not names:
        raise Unfit("it names no segment")
    return names


def _frames(elements: Elements, layout: PixelLayout, *, is_map: bool) -> list[_Frame]:
    """Place and segment of each frame."""
    per_frame = elements.items("PerFrameFunctionalGroupsSequence")
    if len(per_frame) != layout.n_frames:
        raise Unfit(
            f"the frames and their descriptions differ in number (got {layout.n_frames} and "
            f"{len(per_frame)})"
        )
    shared = elements.items("SharedFunctionalGroupsSequence")[:1]
    frames = []
    for item in per_frame:
        group = FunctionalGroups(item, shared[0] if shared else None)
        segment = 0
        if not is_map:
            number = group.needed("SegmentIdentificationSequence").count("ReferencedSegmentNumber")
            if not number:
                raise Unfit("a frame does not say which segment it is of")
            segment = number
        measures = group.needed("PixelMeasuresSequence")
        row, column = group.directions()
        step = measures.decimal("SpacingBetweenSlices") or measures.decimal("SliceThickness")
        frames.append(
            _Frame(
                segment=segment,
                position_mm=np.array(group.position()),
                row=row,
                column=column,
                spacing_mm=checked_spacing(measures.decimals("PixelSpacing", 2)),
                step_mm=abs(step or 0.0),
            )
        )
    return frames


def _grid(frames: list[_Frame]) -> tuple[Floats, list[int]]:
    """The grid that the frames lie on, and the slice that each of them is."""
    first = frames[0]
    for frame in frames:
        turned = max(np.abs(frame.row - first.row).max(), np.abs(frame.column - first.column).max())
        if turned > 1e-3 or not np.allclose(frame.spacing_mm, first.spacing_mm, rtol=1e-3):
            raise Unfit("its frames differ in direction or spacing")
    normal = np.cross(first.row, first.column)
    positions = np.array([frame.position_mm for frame in frames])
    along = positions @ normal
    origin = positions[int(np.argmin(along))]
    beside = positions - origin - np.outer(along - along.min(), normal)
    if np.abs(beside).max() > _SIDEWAYS_MM:
        raise Unfit("its frames are shifted sideways against each other")
    distinct = np.unique(np.round(along - along.min(), 3))
    gaps = np.diff(distinct)
    step = float(gaps[gaps > 0.01].min()) if (gaps > 0.01).any() else first.step_mm
    if 0 < first.step_mm < step * 0.98:
        step = first.step_mm  # frames without a label are left out: the file states the step
    if not 0.01 < step < 100:
        raise Unfit("the distance of its slices is not stated")
    steps = (along - along.min()) / step
    slots = np.rint(steps).astype(int)
    if slots.max():
        step *= float((steps @ slots) / (slots @ slots))  # rounded positions add up otherwise
    if np.abs((along - along.min()) / step - slots).max() > _OFF_GRID_FRACTION:
        raise Unfit("its frames do not lie on an even grid")
    if slots.max() >= MAX_SIDE:
        raise Unfit("its frames lie too far apart for one grid")
    affine = np.eye(4)
    affine[:3, 0] = first.row * first.spacing_mm[0]
    affine[:3, 1] = first.column * first.spacing_mm[1]
    affine[:3, 2] = normal * step
    affine[:3, 3] = origin
    return affine, slots.tolist()


def _empty(layout: PixelLayout, *, n_slices: int) -> npt.NDArray[np.uint16]:
    """No label anywhere; memory is taken as slices are marked."""
    n_bytes = 2 * n_slices * layout.rows * layout.columns
    if n_bytes > MAX_VOLUME_BYTES:
        raise Unfit(f"too large (got {n_bytes:,} bytes, need at most {MAX_VOLUME_BYTES:,})")
    return np.zeros((n_slices, layout.rows, layout.columns), dtype=np.uint16)


def _mark(
    target: npt.NDArray[np.uint16],
    pixels: npt.NDArray[Any],
    segment: int,
    names: dict[int, str],
) -> None:
    """Write one frame into its slice; a voxel of two segments is refused."""
    inside = pixels != 0
    taken = target[inside]
    values = pixels[inside].astype(np.uint16) if segment == 0 else np.uint16(segment)
    clash = (taken != 0) & (taken != values)
    if clash.any():
        other = int(taken[clash][0])
        raise Unfit(
            f"segments {other} and {segment} overlap: a voxel can have one label",
            "Export segments that do not overlap",
        )
    if segment and segment not in names:
        raise Unfit(f"a frame is of segment {segment}, which is not described")
    target[inside] = values


def _pixels(header: DicomHeader, layout: PixelLayout, file: Readable) -> Iterator[npt.NDArray[Any]]:
    """Stored numbers of each frame."""
    if header.pixel_offset < 0:
        raise Unfit("it holds no pixels")
    data_set = header.data_set(file)
    skip(data_set, header.pixel_offset)
    if header.syntax not in NATIVE:
        for frame in split_frames(bytes(data_set.read(MAX_MEMBER_BYTES)), n_frames=layout.n_frames):
            yield decode_frame(frame, syntax=header.syntax, layout=layout)
        return
    n_pixels = layout.rows * layout.columns
    n_bits = n_pixels * layout.bits_allocated
    needed = -(-n_bits * layout.n_frames // 8)
    if not 0 <= header.pixel_bytes - needed <= 1:
        raise Unfit(
            f"its pixels have the wrong length (got {header.pixel_bytes:,} bytes, need {needed:,})"
        )
    kind = np.dtype("u1")
    if layout.bits_allocated > 1:
        kind = stored_type(layout, is_little_endian=header.is_little_endian)
    carried, n_carried = b"", 0
    for index in range(layout.n_frames):
        # bits of a frame may begin inside a byte: the last byte of one is the first of the next
        first, end = index * n_bits, (index + 1) * n_bits
        n_wanted = -(-end // 8) - n_carried
        data = bytes(data_set.read(n_wanted))
        if len(data) < n_wanted:
            raise Unfit("its pixels are cut short")
        n_carried += n_wanted
        data = carried + data
        if layout.bits_allocated == 1:
            at = first - 8 * (n_carried - len(data))
            bits = np.unpackbits(np.frombuffer(data, np.uint8), bitorder="little")
            yield bits[at : at + n_pixels].reshape(layout.rows, layout.columns)
            carried = data[-1:] if end % 8 else b""
        else:
            yield np.frombuffer(data, kind).reshape(layout.rows, layout.columns)
