"""Progress of long work, and how it is cancelled."""

from __future__ import annotations

from collections.abc import Callable

Progress = Callable[[float, str], None]
"""Called with the fraction done, 0 to 1, and the stage in words; `Cancelled` stops the work."""


class Cancelled(Exception):
    """Raised from a progress callback to stop the work; nothing half written is left."""


def no_progress(fraction: float, stage: str) -> None:
    """Take no notice of progress."""
