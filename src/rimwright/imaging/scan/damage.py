"""What damaged bytes make a parser raise, and the reason why a thing is no volume."""

from __future__ import annotations

import struct
import zipfile
import zlib

DAMAGE = (
    ArithmeticError,
    AttributeError,
    EOFError,
    LookupError,
    MemoryError,
    OSError,
    RuntimeError,  # NotImplementedError and RecursionError are among them
    TypeError,
    ValueError,
    struct.error,
    zipfile.BadZipFile,
    zlib.error,
)
"""Raised by libraries that meet bytes they do not expect; never shown to a user as they are."""
EXPORT_AGAIN = "Export the series again"


class Unfit(Exception):
    """
    Why something is no volume, caught inside the readers.

    Parameters
    ----------
    reason
        In words, without where.
    remedy
        What to do; '' leaves it to the reader of that kind of file.
    """

    def __init__(self, reason: str, remedy: str = "") -> None:
        super().__init__(reason, remedy)
        self.reason = reason
        self.remedy = remedy
