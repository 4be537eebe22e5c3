"""Readers: bone surfaces of every kind of file, scans and label maps, in LPS and mm."""

from rimwright.imaging.axis_convention import axis_conventions, name_axes
from rimwright.imaging.body_file import BodyFile, BodySummary, describe_bodies, describe_body
from rimwright.imaging.person import Person, SourceImage, read_person, read_source_images
from rimwright.imaging.read_bodies import read_bodies
from rimwright.imaging.scan import (
    LabelFile,
    SeriesFacts,
    VolumeFile,
    list_series,
    read_labels,
    read_volume,
)
from rimwright.imaging.scan.series_writing import write_ct_series
from rimwright.imaging.secondary_capture import (
    CapturePicture,
    check_vacant,
    write_secondary_capture,
)

__all__ = [
    "BodyFile",
    "BodySummary",
    "CapturePicture",
    "LabelFile",
    "Person",
    "SeriesFacts",
    "SourceImage",
    "VolumeFile",
    "axis_conventions",
    "check_vacant",
    "describe_bodies",
    "describe_body",
    "list_series",
    "name_axes",
    "read_bodies",
    "read_labels",
    "read_person",
    "read_source_images",
    "read_volume",
    "write_ct_series",
    "write_secondary_capture",
]
