"""Readers of bone surfaces: every kind of file to bodies in LPS and mm."""

from rimwright.imaging.axis_convention import axis_conventions, name_axes
from rimwright.imaging.body_file import BodyFile, BodySummary, describe_bodies, describe_body
from rimwright.imaging.person import Person, read_person
from rimwright.imaging.read_bodies import read_bodies
from rimwright.imaging.scan.series_writing import write_ct_series

__all__ = [
    "BodyFile",
    "BodySummary",
    "Person",
    "axis_conventions",
    "describe_bodies",
    "describe_body",
    "name_axes",
    "read_bodies",
    "read_person",
    "write_ct_series",
]
