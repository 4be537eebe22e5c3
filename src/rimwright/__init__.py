"""Rimwright: plan the preservation of a hip's labrum, from bones to the table."""

__version__ = "0.1.0"
