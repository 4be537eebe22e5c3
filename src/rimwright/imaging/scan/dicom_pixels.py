"""Pixels of a stack into one volume: each file read once, straight to its place."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from rimwright.anatomy import Modality, Progress
from rimwright.imaging.scan.byte_streams import Digests, Readable, skip
from rimwright.imaging.scan.damage import DAMAGE, Unfit
from rimwright.imaging.scan.decoding import decode_frame, is_near_lossless, split_frames
from rimwright.imaging.scan.dicom_header import NATIVE, DicomHeader
from rimwright.imaging.scan.limits import MAX_MEMBER_BYTES
from rimwright.imaging.scan.pixel_layout import PixelLayout
from rimwright.imaging.scan.slice_image import SliceImage
from rimwright.imaging.scan.stack import Stack
from rimwright.imaging.scan.stored_values import stored_type, write_hounsfield, write_signal


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FilledVolume:
    """
    The voxels of a stack.

    Parameters
    ----------
    values
        (ni, nj, nk), a view turned round of an array that lies slice after slice in memory.
    digest
        As of `VolumeFile`.
    notes
        What was cut, padded or dropped.
    """

    values: npt.NDArray[Any]
    digest: str
    notes: tuple[str, ...]


def fill_volume(stack: Stack, *, modality: Modality, progress: Progress) -> FilledVolume:
    """
    Read and convert all slices of a stack.

    Parameters
    ----------
    stack
        In order, evenly spaced.
    modality
        CT becomes int16 HU, everything else float32.
    progress
        Told the part of slices read.

    Returns
    -------
    FilledVolume
        Values and the digest of the files.

    Raises
    ------
    Unfit
        A file is cut short or damaged, or two slices at one place differ.
    """
    columns, rows, n_slices = stack.size
    is_ct = modality is Modality.CT
    # the memory is only taken as slices are written: a file that promises more than it holds
    # fails before that
    values = np.empty((n_slices, rows, columns), dtype=np.int16 if is_ct else np.float32)
    twins: dict[int, list[npt.NDArray[Any]]] = {}
    n_padded = n_cut = n_done = 0
    with Digests() as digests, warnings.catch_warnings():
        warnings.simplefilter("ignore")  # decoders warn of what is checked here
        for header, places in _by_file(stack):
            try:
                with header.source.open() as file:
                    stream = digests.stream(file, n_bytes=header.source.n_bytes)
                    wanted = {image.index: (k, image, is_twin) for k, image, is_twin in places}
                    layout = places[0][1].layout
                    for index, raw in _frames(header, layout, stream, wanted=set(wanted)):
                        k, image, is_twin = wanted[index]
                        out = np.empty_like(values[k]) if is_twin else values[k]
                        write = write_hounsfield if is_ct else write_signal
                        padded, cut = write(raw, image, out)
                        n_padded, n_cut, n_done = n_padded + padded, n_cut + cut, n_done + 1
                        if is_twin:
                            twins.setdefault(k, []).append(out)
                        if n_done % 8 == 0:
                            progress(min(1.0, n_done / n_slices), "reading slices")
                    stream.finish()
            except Unfit as unfit:
                raise Unfit(_in_file(unfit.reason, places, n_slices), unfit.remedy) from None
            except DAMAGE:
                reason = _in_file("it cannot be read", places, n_slices)
                raise Unfit(reason) from None
        digest = digests.total()
    for k, others in twins.items():
        if any(not np.array_equal(values[k], other) for other in others):
            raise Unfit(
                f"two different slices stand at one place (slice {k + 1} of {n_slices})",
                "Send the series alone, without a second reconstruction or phase",
            )
    notes = []
    if twins:
        notes.append("slices that stand twice are equal: one of each was taken")
    if n_padded:
        notes.append(f"{n_padded:,} voxels outside the scanner's field were taken for air")
    if n_cut:
        notes.append(f"{n_cut:,} voxels past the range of 16 bits were cut to it")
    if is_near_lossless(stack.images[0].header.syntax):
        notes.append("packed in a way that may lose detail")
    return FilledVolume(values=values.T, digest=digest, notes=tuple(notes))


_Places = list[tuple[int, SliceImage, bool]]


def _by_file(stack: Stack) -> list[tuple[DicomHeader, _Places]]:
    """Each file with the places its images go to, in the order of the first of them."""
    files: dict[int, tuple[DicomHeader, _Places]] = {}
    for k, image in enumerate(stack.images):
        for one, is_twin in ((image, False), *((twin, True) for twin in stack.twins[k])):
            entry = files.setdefault(id(one.header), (one.header, []))
            entry[1].append((k, one, is_twin))
    return list(files.values())


def _frames(
    header: DicomHeader, layout: PixelLayout, file: Readable, *, wanted: set[int]
) -> Iterator[tuple[int, npt.NDArray[Any]]]:
    """Stored numbers of the images wanted, with their place in the file."""
    data_set = header.data_set(file)
    skip(data_set, header.pixel_offset)
    if header.syntax not in NATIVE:
        fragments = bytes(data_set.read(MAX_MEMBER_BYTES))
        frames = split_frames(fragments, n_frames=layout.n_frames)
        for index, frame in enumerate(frames):
            if index in wanted:
                yield index, decode_frame(frame, syntax=header.syntax, layout=layout)
        return
    kind = stored_type(layout, is_little_endian=header.is_little_endian)
    n_pixels = layout.rows * layout.columns
    frame_bytes = n_pixels * kind.itemsize
    if not 0 <= header.pixel_bytes - layout.n_frames * frame_bytes <= 1:
        raise Unfit(
            f"its pixels have the wrong length (got {header.pixel_bytes:,} bytes, need "
            f"{layout.n_frames * frame_bytes:,})"
        )
    for index in range(layout.n_frames):
        data = data_set.read(frame_bytes)
        if len(data) < frame_bytes:
            raise Unfit("its pixels are cut short")
        if index in wanted:
            raw = np.frombuffer(data, dtype=kind).reshape(layout.rows, layout.columns)
            yield index, raw if header.is_little_endian else raw.astype(kind.newbyteorder("="))


def _in_file(reason: str, places: _Places, n_slices: int) -> str:
    """A reason with the slice it was met at; file names are not told."""
    return f"{reason} (slice {places[0][0] + 1} of {n_slices})"
