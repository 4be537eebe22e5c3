"""Which scan a hip is measured in, and the digest that tells whether it changed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from rimwright.anatomy import Side, Vector
from rimwright.casework.case import Case
from rimwright.casework.content_digest import content_digest
from rimwright.errors import CaseRefusal


@dataclass(frozen=True, slots=True, kw_only=True)
class ScanFiles:
    """
    The scan of a person and how it is to be read.

    Parameters
    ----------
    image
        A folder, an archive or a file.
    labels
        A label map of the same scan; None where the bones are to be found in the image.
    series
        Number from 1 or key of the series to take; None takes the only one of use.
    axes
        None takes what the file states.
    landmarks_mm
        Points picked by a person, name to (3,) mm, image frame.
    """

    image: Path
    labels: Path | None = None
    series: str | None = None
    axes: str | None = None
    landmarks_mm: Mapping[str, Vector] = field(default_factory=dict)

    def same_scan(self, other: ScanFiles) -> bool:
        """Whether both name one scan read in one way; landmarks are of a side, not of a scan."""
        return (self.image, self.labels, self.series, self.axes) == (
            other.image,
            other.labels,
            other.series,
            other.axes,
        )


def scan_files_of(case: Case) -> ScanFiles:
    """
    The scan a case names.

    Parameters
    ----------
    case
        Its sources, with an image, and landmarks.

    Returns
    -------
    ScanFiles
        Both paths exist.

    Raises
    ------
    CaseRefusal
        It names no image, or a file that is not there.
    """
    sources = case.sources
    if sources.image is None:
        raise CaseRefusal("missing", f"{case.where}, [sources], image", "Name the image")
    for key in ("image", "labels"):
        path = getattr(sources, key)
        if path is not None and not path.exists():
            raise CaseRefusal(
                f"no such file or folder (looked for {path})",
                f"{case.where}, [sources], {key}",
                "Paths are relative to the folder of the case file",
            )
    return ScanFiles(
        image=sources.image,
        labels=sources.labels,
        series=sources.series,
        axes=sources.axes,
        landmarks_mm=case.landmarks_mm,
    )


def contents_of(files: ScanFiles) -> tuple[str | None, str | None]:
    """Digests of what image and labels hold; '' for labels not given, None for what is not told."""
    labels = "" if files.labels is None else content_digest(files.labels)
    return content_digest(files.image), labels


def digest_of_scan(
    files: ScanFiles, side: Side, *, contents: tuple[str | None, str | None]
) -> str | None:
    """
    Digest of everything a hip measured in a scan rests on but the code.

    Parameters
    ----------
    files, side
        As for measuring.
    contents
        As `contents_of` gives them.

    Returns
    -------
    str or None
        sha256, hex; None where one of the contents is not told.
    """
    if None in contents:
        return None
    inputs = {
        "scan": contents,
        "series": files.series,
        "axes": files.axes,
        "side": str(side),
        "landmarks": {
            name: [float(number) for number in point]
            for name, point in sorted(files.landmarks_mm.items())
        },
    }
    return hashlib.sha256(json.dumps(inputs, sort_keys=True).encode()).hexdigest()
