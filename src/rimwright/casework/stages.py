"""Progress of a part of the work as progress of the whole."""

from __future__ import annotations

from rimwright.anatomy import Progress


def within(tell: Progress, start: float, share: float) -> Progress:
    """
    Progress of a part of the work as progress of the whole.

    Parameters
    ----------
    tell
        Of the whole.
    start, share
        Where the part begins, and how much of the whole it is.

    Returns
    -------
    Progress
        For the part.
    """

    def inner(fraction: float, stage: str) -> None:
        tell(min(start + share * fraction, 1.0), stage)

    return inner
