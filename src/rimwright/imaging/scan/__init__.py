"""Readers of scans: DICOM, NIfTI, NRRD and MetaImage to volumes and label maps in LPS and mm."""

from rimwright.imaging.scan.reading import list_series, read_labels, read_volume
from rimwright.imaging.scan.volume_file import LabelFile, SeriesFacts, VolumeFile

__all__ = [
    "LabelFile",
    "SeriesFacts",
    "VolumeFile",
    "list_series",
    "read_labels",
    "read_volume",
]
