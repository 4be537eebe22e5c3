"""DICOM segmentations become label maps, with names; overlap is refused."""

from __future__ import annotations

from pathlib import Path

import highdicom as hd
import numpy as np
import pytest
from highdicom.sr.coding import CodedConcept
from pydicom.uid import ExplicitVRLittleEndian, RLELossless

from imaging.scan.scan_slices import (
    COLUMNS,
    N_SLICES,
    ROWS,
    SECRET,
    affine_of,
    block,
    save,
    slices,
    uid,
    write_series,
)
from rimwright.errors import FileRefusal
from rimwright.imaging import read_labels, read_volume

pytestmark = pytest.mark.oracle
"""highdicom 0.28 writes, from the source images, each segmentation that is read here."""
KINDS = hd.seg.SegmentationTypeValues


def labels() -> np.ndarray:
    """(nk, nj, ni), three segments in part of the slices; bits of a frame end inside a byte."""
    made = np.zeros((N_SLICES, ROWS, COLUMNS), dtype=np.uint8)
    made[2:5, 3:9, 2:11] = 1
    made[5:7, 20:31, 5:8] = 2
    made[2:4, 12:15, 14:33] = 3
    return made


def segmentation(
    folder: Path,
    pixels: np.ndarray,
    *,
    kind: KINDS = KINDS.BINARY,
    syntax: str = ExplicitVRLittleEndian,
    omit: bool = True,
) -> Path:
    """A segmentation of an invented series, written by highdicom."""
    source = slices(block()[:, : pixels.shape[1], : pixels.shape[2]])
    for ds in source:
        save(ds, folder / "scratch")
        ds.PatientSex, ds.StudyTime = "O", "000000"
        ds.SeriesNumber, ds.SeriesTime = 1, "000000"
    concept = CodedConcept("272673000", "SCT", "Bone")
    described = [
        hd.seg.SegmentDescription(
            segment_number=number,
            segment_label=name,
            segmented_property_category=CodedConcept("91723000", "SCT", "Anatomical Structure"),
            segmented_property_type=concept,
            algorithm_type=hd.seg.SegmentAlgorithmTypeValues.MANUAL,
        )
        for number, name in ((1, "hip bone"), (2, "femur"), (3, "sacrum"))
    ]
    made = hd.seg.Segmentation(
        source_images=source,
        pixel_array=pixels,
        segmentation_type=kind,
        segment_descriptions=described,
        series_instance_uid=uid(55),
        series_number=2,
        sop_instance_uid=uid(56),
        instance_number=1,
        manufacturer="none",
        manufacturer_model_name="none",
        software_versions="0",
        device_serial_number="0",
        transfer_syntax_uid=syntax,
        omit_empty_frames=omit,
    )
    (folder / "scratch").unlink()
    made.save_as(folder / "seg.dcm", enforce_file_format=True)
    return folder / "seg.dcm"


@pytest.mark.parametrize("omit", [True, False], ids=["sparse", "all frames"])
@pytest.mark.parametrize(
    ("kind", "syntax"),
    [
        (KINDS.BINARY, ExplicitVRLittleEndian),
        (KINDS.LABELMAP, ExplicitVRLittleEndian),
        (KINDS.LABELMAP, RLELossless),
    ],
    ids=["bits", "numbers", "packed numbers"],
)
def test_segments_lie_where_they_were_drawn(
    kind: KINDS, syntax: str, omit: bool, tmp_path: Path
) -> None:
    """Each voxel has the number of its segment at the point where it was drawn."""
    drawn = labels()
    if syntax == RLELossless:  # the encoder that highdicom takes ends the process at odd sizes
        drawn = drawn[:, : ROWS // 2 * 2, : COLUMNS // 2 * 2]
    file = read_labels(segmentation(tmp_path, drawn, kind=kind, syntax=syntax, omit=omit))
    expected = drawn.transpose(2, 1, 0)
    index = np.argwhere(expected > 0).astype(float)
    points = index @ affine_of()[:3, :3].T + affine_of()[:3, 3]
    inverse = np.linalg.inv(file.labels.affine)
    found = points @ inverse[:3, :3].T + inverse[:3, 3]
    np.testing.assert_allclose(found, np.rint(found), atol=1e-4)
    at = tuple(np.rint(found).astype(int).T)
    np.testing.assert_array_equal(file.labels.values[at], expected[expected > 0])
    assert (file.labels.values > 0).sum() == (expected > 0).sum()
    assert dict(file.labels.names) == {1: "hip bone", 2: "femur", 3: "sacrum"}


def test_labels_and_images_share_their_frame_without_telling_it(tmp_path: Path) -> None:
    """Equal frame for labels and volume of one scan; neither holds the identifier."""
    labelled = read_labels(segmentation(tmp_path, labels())).labels
    scan = read_volume(write_series(slices(block()), tmp_path / "s")).volume
    assert labelled.frame_id == scan.frame_id != ""
    assert str(uid(99)) not in labelled.frame_id
    assert SECRET not in str(labelled.names)


@pytest.mark.fault
def test_segments_that_overlap_are_refused(tmp_path: Path) -> None:
    """A voxel of two segments has no one label."""
    stacked = np.stack([labels() == number for number in (1, 2, 3)], axis=-1)
    stacked[2, 4, 4, 2] = True
    path = segmentation(tmp_path, stacked.astype(np.uint8))
    with pytest.raises(FileRefusal, match=r"segments 1 and 3 overlap: a voxel can have one label"):
        read_labels(path)


@pytest.mark.fault
def test_fractions_are_refused(tmp_path: Path) -> None:
    """A probability is not a label."""
    stacked = np.stack([labels() == number for number in (1, 2, 3)], axis=-1) * 0.5
    path = segmentation(tmp_path, stacked, kind=KINDS.FRACTIONAL)
    with pytest.raises(FileRefusal, match="its segments are not bits"):
        read_labels(path)


@pytest.mark.fault
def test_images_are_not_labels_and_labels_not_images(tmp_path: Path) -> None:
    """Each is refused in the place of the other, with what to do."""
    path = segmentation(tmp_path, labels())
    with pytest.raises(FileRefusal, match=r"a segmentation, not images\. Give it as labels\."):
        read_volume(path)
    folder = write_series(slices(block()), tmp_path / "s")
    with pytest.raises(FileRefusal, match="holds no segmentation"):
        read_labels(folder)
