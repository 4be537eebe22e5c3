"""What a hip is measured from, whichever it is: surfaces of bones or a scan."""

from __future__ import annotations

from collections.abc import Sequence

from rimwright.anatomy import Progress, Side
from rimwright.casework.bone_files import BoneFiles, bone_files_of, digest_of_bones
from rimwright.casework.case import Case
from rimwright.casework.measured_hip import MeasuredHip
from rimwright.casework.scan_files import ScanFiles, contents_of, digest_of_scan, scan_files_of

HipFiles = BoneFiles | ScanFiles
"""Surface files, or a scan."""


def hip_files_of(case: Case) -> HipFiles | None:
    """
    The files a case wants its hip measured from.

    Parameters
    ----------
    case
        Its sources and landmarks.

    Returns
    -------
    BoneFiles, ScanFiles or None
        None where it names neither bones nor an image.

    Raises
    ------
    CaseRefusal
        A file it names is not there.
    """
    if case.sources.image is not None:
        return scan_files_of(case)
    return bone_files_of(case) if case.sources.has_bones else None


def input_digest(files: HipFiles, side: Side) -> str | None:
    """
    The digest of the inputs of a hip, without reading them as bones or images.

    Parameters
    ----------
    files
        As for measuring.
    side
        The hip asked for.

    Returns
    -------
    str or None
        Equal to that of `MeasuredHip` while nothing has changed. None where it cannot be told: a
        file cannot be read, or points to others; then the hip is measured again.
    """
    if isinstance(files, ScanFiles):
        return digest_of_scan(files, side, contents=contents_of(files))
    return digest_of_bones(files, side)


def measure_files(
    files: HipFiles, sides: Sequence[Side], *, progress: Progress | None = None
) -> tuple[MeasuredHip, ...]:
    """
    Read the files once and measure each side asked for.

    Parameters
    ----------
    files
        Bones or a scan.
    sides
        One or two.
    progress
        Told the stages; may raise to cancel.

    Returns
    -------
    tuple of MeasuredHip
        In the order asked for.

    Raises
    ------
    Refusal
        A file cannot be read, or does not hold the hip or side asked for.
    """
    if isinstance(files, ScanFiles):
        from rimwright.casework.scans import measure_scan_sides

        return measure_scan_sides(files, sides, progress=progress)
    from rimwright.casework.bones import measure_sides

    return measure_sides(files, sides, progress=progress)
