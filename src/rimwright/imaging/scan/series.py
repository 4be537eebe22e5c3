"""Series of a DICOM folder: images that belong together, told apart, described, and judged."""

from __future__ import annotations

import hashlib
import warnings
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from rimwright.anatomy import Modality, Progress
from rimwright.errors import FileRefusal
from rimwright.imaging.scan.damage import DAMAGE, EXPORT_AGAIN, Unfit
from rimwright.imaging.scan.decoding import check_syntax
from rimwright.imaging.scan.dicom_header import DicomHeader, read_header
from rimwright.imaging.scan.limits import MAX_SERIES, MAX_SIDE, MAX_VOLUME_BYTES
from rimwright.imaging.scan.slice_image import (
    DICOMDIR,
    LABEL_MAP,
    SEGMENTATION,
    SliceImage,
    check_image_type,
    check_modality,
    modality_of,
    read_images,
)
from rimwright.imaging.scan.sources import Source
from rimwright.imaging.scan.stack import Stack, stack_slices
from rimwright.imaging.scan.volume_file import SeriesFacts

_SAME_DIRECTION = 1e-3
"""Largest difference of a direction's coordinates inside one stack: 0.06°, text rounds to 1e-6."""
_SAME_SPACING = 1e-3
"""Largest difference of spacings inside one stack, as a part of them."""
_KEY_LETTERS = 8


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Series:
    """
    A series, and the stack it makes where it makes one.

    Parameters
    ----------
    facts
        What is told of it.
    stack
        Its slices in order; None where it is not usable.
    frame_id
        As of `Volume`.
    remedy
        What to do where it is not usable.
    """

    facts: SeriesFacts
    stack: Stack | None
    frame_id: str
    remedy: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Study:
    """
    Everything DICOM in one place.

    Parameters
    ----------
    series
        In order.
    segmentations
        Headers of segmentations and label maps.
    n_files
        Files looked at.
    n_other
        Files that are not DICOM.
    damaged
        Places of files, from 1 in the order of their names, that begin as DICOM and cannot be
        understood, and the reason of the first.
    """

    series: tuple[Series, ...]
    segmentations: tuple[DicomHeader, ...]
    n_files: int
    n_other: int
    damaged: tuple[tuple[int, str], ...]


@dataclass(slots=True)
class _Group:
    """Images of one series while they are gathered."""

    headers: list[DicomHeader] = field(default_factory=list)
    images: list[SliceImage] = field(default_factory=list)
    faults: list[Unfit] = field(default_factory=list)


def read_study(sources: Sequence[Source], *, where: str, progress: Progress) -> Study:
    """
    Read the headers of all files and tell the series apart.

    Parameters
    ----------
    sources
        Files, DICOM or not.
    where
        What to call the place in a refusal.
    progress
        Told the part of headers read.

    Returns
    -------
    Study
        Series in a stable order: by number of slices, most first, then key.

    Raises
    ------
    FileRefusal
        More series than are told apart.
    """
    headers: list[DicomHeader] = []
    damaged: list[tuple[int, str]] = []
    n_other = 0
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # pydicom warns of what the checks here refuse by name
        for number, source in enumerate(sources):
            if number % 16 == 0:
                progress(number / len(sources), "reading headers")
            try:
                header = read_header(source)
            except Unfit as unfit:
                damaged.append((source.place, unfit.reason))
                continue
            except DAMAGE:
                damaged.append((source.place, "it cannot be read"))
                continue
            if header is None:
                n_other += 1
            elif header.elements.text("SOPClassUID") != DICOMDIR:
                headers.append(header)
        segmentations = {SEGMENTATION, LABEL_MAP}
        made = _make_series(
            [h for h in headers if h.elements.text("SOPClassUID") not in segmentations], where
        )
    return Study(
        series=made,
        segmentations=tuple(h for h in headers if h.elements.text("SOPClassUID") in segmentations),
        n_files=len(sources),
        n_other=n_other,
        damaged=tuple(damaged),
    )


def hash_identifier(identifier: str) -> str:
    """A short name for an identifier that does not give it away; '' for none."""
    if not identifier:
        return ""
    return hashlib.sha256(identifier.encode("utf-8", "replace")).hexdigest()[:_KEY_LETTERS]


def _make_series(headers: list[DicomHeader], where: str) -> tuple[Series, ...]:
    """Group by identifier and kind of image, then by orientation, size and spacing."""
    groups: dict[tuple[str, str, bool], _Group] = {}
    for header in headers:
        elements = header.elements
        is_localizer = b"LOCALIZER" in (elements.raw("ImageType") or b"").upper()
        key = elements.text("SeriesInstanceUID"), elements.text("SOPClassUID"), is_localizer
        _add(groups.setdefault(key, _Group()), header)
    found: list[tuple[str, _Group]] = []
    for (uid, _storage, _localizer), group in groups.items():
        found += [(uid, part) for part in _split(group)]
        if len(found) > MAX_SERIES:
            raise FileRefusal(
                f"holds too many series (got more than {MAX_SERIES})",
                where,
                "Name the folder of one series",
            )
    keyed = _with_keys(found)
    keyed.sort(key=lambda entry: (-_n_images(entry[1]), entry[0]))
    return tuple(
        _describe(group, number=number, key=key) for number, (key, group) in enumerate(keyed, 1)
    )


def _add(group: _Group, header: DicomHeader) -> None:
    """Take a file into its series, with its images or with the reason why it has none."""
    group.headers.append(header)
    modality = modality_of(header)
    try:
        check_modality(modality)
        check_image_type(header.elements.text("ImageType"), modality=modality)
        check_syntax(header.syntax)
        group.images += read_images(header)
    except Unfit as unfit:
        group.faults.append(unfit)


def _split(group: _Group) -> list[_Group]:
    """Parts of a series that differ in stack, size, direction or spacing."""
    if group.faults:
        return [group]
    parts: list[_Group] = []
    for image in group.images:
        for part in reversed(parts):
            if _is_alike(part.images[0], image):
                break
        else:
            part = _Group(headers=[image.header])
            parts.append(part)
            if len(parts) > MAX_SERIES:
                return [_Group(headers=group.headers, faults=[Unfit("no two images are alike")])]
        part.images.append(image)
    return [piece for part in parts for piece in _split_by_kind(part)]


def _split_by_kind(group: _Group) -> list[_Group]:
    """Parts that differ in echo, time or kind, where images would else stand at one place."""
    places = [tuple(round(c, 2) for c in image.position_mm) for image in group.images]
    if len(set(places)) == len(places):
        return [group]
    for which in range(len(group.images[0].kinds)):
        parts: dict[bytes | None, _Group] = {}
        for image in group.images:
            part = parts.setdefault(image.kinds[which], _Group(headers=[image.header]))
            part.images.append(image)
        if len(parts) > 1 and all(
            len(p.images) * len(parts) == len(places) for p in parts.values()
        ):
            return [piece for part in parts.values() for piece in _split_by_kind(part)]
    return [group]


def _is_alike(one: SliceImage, other: SliceImage) -> bool:
    """Whether two images can be slices of one stack."""
    return (
        one.stack == other.stack
        and one.layout.rows == other.layout.rows
        and one.layout.columns == other.layout.columns
        and all(
            abs(a - b) <= _SAME_SPACING * a
            for a, b in zip(one.spacing_mm, other.spacing_mm, strict=True)
        )
        and float(np.abs(one.row_direction - other.row_direction).max()) < _SAME_DIRECTION
        and float(np.abs(one.column_direction - other.column_direction).max()) < _SAME_DIRECTION
    )


def _with_keys(found: list[tuple[str, _Group]]) -> list[tuple[str, _Group]]:
    """A key for each: of its identifier, with a number where a series came apart."""
    count: dict[str, int] = {}
    for uid, _ in found:
        count[uid] = count.get(uid, 0) + 1
    ordered = sorted(found, key=lambda entry: (entry[0], -_n_images(entry[1]), _place(entry[1])))
    given: dict[str, int] = {}
    keyed = []
    for uid, group in ordered:
        given[uid] = given.get(uid, 0) + 1
        key = hash_identifier(uid) or "unnamed"
        keyed.append((key if count[uid] == 1 else f"{key}-{given[uid]}", group))
    return keyed


def _n_images(group: _Group) -> int:
    """Images of a group, or its files where it has no images."""
    return len(group.images) or len(group.headers)


def _place(group: _Group) -> tuple[float, ...]:
    """Something to sort parts by that no file name changes."""
    return min((image.position_mm for image in group.images), default=())


def _describe(group: _Group, *, number: int, key: str) -> Series:
    """Judge a group and put it into words."""
    header = group.headers[0]
    modality = modality_of(header)
    stack, reason, remedy = None, "", EXPORT_AGAIN
    try:
        stack = _stack_of(group, modality)
    except Unfit as unfit:
        reason, remedy = unfit.reason, unfit.remedy or EXPORT_AGAIN
    size, spacing = (0, 0, 0), (0.0, 0.0, 0.0)
    notes: list[str] = []
    if stack is not None:
        size, spacing = stack.size, stack.spacing_mm
        notes += stack.notes
        notes += _image_notes(group, stack)
    elif group.images:
        layout = group.images[0].layout
        size = layout.columns, layout.rows, len(group.images)
        spacing = (*group.images[0].spacing_mm, 0.0)
    facts = SeriesFacts(
        number=number,
        series_key=key,
        modality=modality,
        description=header.elements.words("SeriesDescription"),
        n_slices=_n_images(group),
        size=size,
        spacing_mm=spacing,
        slice_thickness_mm=group.images[0].thickness_mm if group.images else 0.0,
        coverage_mm=(size[0] * spacing[0], size[1] * spacing[1], size[2] * spacing[2]),
        gantry_tilt_deg=0.0 if stack is None else stack.tilt_deg,
        usable=stack is not None,
        reason=reason,
        notes=tuple(notes),
    )
    frame_id = hash_identifier(header.elements.text("FrameOfReferenceUID"))
    return Series(facts=facts, stack=stack, frame_id=frame_id, remedy=remedy)


def _stack_of(group: _Group, modality: Modality) -> Stack:
    """The stack of a group; Unfit with the first fault, and how many images have one."""
    if group.faults:
        first = group.faults[0]
        n_files = len(group.headers)
        same = len(group.faults) == n_files
        which = "" if same else f" in {len(group.faults)} of {n_files} files"
        raise Unfit(first.reason + which, first.remedy)
    stack = stack_slices(group.images)
    columns, rows, n_slices = stack.size
    n_bytes = columns * rows * n_slices * (2 if modality is Modality.CT else 4)
    if n_bytes > MAX_VOLUME_BYTES or n_slices > MAX_SIDE:
        raise Unfit(
            f"too large (got {n_bytes:,} bytes as a volume, need at most {MAX_VOLUME_BYTES:,})",
            "Reconstruct the region of the hips alone",
        )
    return stack


def _image_notes(group: _Group, stack: Stack) -> list[str]:
    """What the headers say of values and places that a reader of numbers should know."""
    notes = []
    n_twins = sum(len(twins) for twins in stack.twins)
    if n_twins:
        notes.append(f"{n_twins} slice{'s stand' if n_twins > 1 else ' stands'} twice")
    elements = group.headers[0].elements
    if elements.text("LossyImageCompression") == "01":
        notes.append("its pixels were once packed with loss")
    if elements.text("PhotometricInterpretation") == "MONOCHROME1":
        notes.append("made to be shown inverted; its values are taken as they are")
    normal = np.cross(stack.affine[:3, 0], stack.affine[:3, 1])
    axis = int(np.argmax(np.abs(normal)))
    if axis != 2:
        notes.append(("sagittal", "coronal")[axis] + " slices")
    return notes
