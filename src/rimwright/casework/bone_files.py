"""Which bone files a hip is measured from, and the digest that tells whether they changed."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from rimwright.anatomy import Side, Vector
from rimwright.casework.case import Case
from rimwright.errors import CaseRefusal
from rimwright.units import LengthUnit


@dataclass(frozen=True, slots=True, kw_only=True)
class BoneFiles:
    """
    The bone files of a person and how their coordinates are to be read.

    Parameters
    ----------
    pelvis, femur
        At least one.
    unit, axes
        None takes what the file states, else mm and LPS.
    part
        Body of the pelvis file, from 1; None lets geometry choose.
    landmarks_mm
        Points picked by a person, name to (3,) mm, image frame.
    """

    pelvis: Path | None = None
    femur: Path | None = None
    unit: LengthUnit | None = None
    axes: str | None = None
    part: int | None = None
    landmarks_mm: Mapping[str, Vector] = field(default_factory=dict)


def bone_files_of(case: Case) -> BoneFiles:
    """
    The bone files a case names.

    Parameters
    ----------
    case
        Its sources and landmarks.

    Returns
    -------
    BoneFiles
        May name none.

    Raises
    ------
    CaseRefusal
        It names a file that is not there.
    """
    sources = case.sources
    for key in ("pelvis", "femur"):
        path = getattr(sources, key)
        if path is not None and not path.is_file():
            raise CaseRefusal(
                f"no such file (looked for {path})",
                f"{case.where}, [sources], {key}",
                "Paths are relative to the folder of the case file",
            )
    return BoneFiles(
        pelvis=sources.pelvis,
        femur=sources.femur,
        unit=sources.unit,
        axes=sources.axes,
        part=sources.part,
        landmarks_mm=case.landmarks_mm,
    )


def digest_of_bones(files: BoneFiles, side: Side) -> str | None:
    """
    The digest of the inputs of a hip, without reading the bones as bones.

    Parameters
    ----------
    files
        As for measuring.
    side
        The hip asked for.

    Returns
    -------
    str or None
        Equal to that of `MeasuredHip` for files that stand alone; one that refers to others
        never matches and is measured again. None where a file cannot be read.
    """
    digests = []
    for path in (files.pelvis, files.femur):
        if path is None:
            digests.append("")
            continue
        try:
            if not path.is_file():
                return None
            digests.append(hashlib.sha256(path.read_bytes()).hexdigest())
        except OSError:
            return None
    return digest_of_inputs(files, side, digests=tuple(digests))


def digest_of_inputs(files: BoneFiles, side: Side, *, digests: tuple[str, ...]) -> str:
    """
    Digest of everything a measured hip rests on but the code.

    Parameters
    ----------
    files, side
        As for measuring.
    digests
        Of the pelvis file and the femur file, hex; '' for one not given.

    Returns
    -------
    str
        sha256, hex.
    """
    inputs = {
        "files": digests,
        "side": str(side),
        "unit": None if files.unit is None else str(files.unit),
        "axes": files.axes,
        "part": files.part,
        "landmarks": {
            name: [float(number) for number in point]
            for name, point in sorted(files.landmarks_mm.items())
        },
    }
    return hashlib.sha256(json.dumps(inputs, sort_keys=True).encode()).hexdigest()
