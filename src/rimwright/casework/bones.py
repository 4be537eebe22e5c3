"""From bone files to a measured hip: reading, choosing the bodies of a side, measuring."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from rimwright.anatomy import HipGeometry, Progress, Side, TriangleMesh, Vector, no_progress
from rimwright.casework.bone_files import BoneFiles, digest_of_inputs
from rimwright.casework.measured_hip import MeasuredHip
from rimwright.casework.stages import within
from rimwright.errors import BoneRefusal, FileRefusal, LayoutRefusal, Refusal
from rimwright.imaging import BodyFile, read_bodies
from rimwright.morphology import ChosenBones, choose_hip_bone, measure_hip


def measure_sides(
    files: BoneFiles, sides: Sequence[Side], *, progress: Progress | None = None
) -> tuple[MeasuredHip, ...]:
    """
    Read the bones once and measure each side asked for.

    Parameters
    ----------
    files
        Pelvis, femur or both.
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
        A file cannot be read, or is not the bone or side claimed; with two sides asked for, either
        one missing is a refusal.
    """
    tell = progress or no_progress
    if files.pelvis is None and files.femur is None:
        raise LayoutRefusal(
            "no bone given (need a hip bone, a femur or both)",
            "measure",
            "Give a pelvis file, a femur file or both",
        )
    tell(0.0, "reading the bones")
    pelvis = _read(files.pelvis, files)
    femur = _read(files.femur, files)
    assumed = any(file.axes_assumed for file in (pelvis, femur) if file)
    notes = _notes(files, pelvis, femur)
    measured = []
    for number, side in enumerate(sides):
        start, share = 0.2 + 0.8 * number / len(sides), 0.8 / len(sides)
        tell(start, f"finding the {side} hip bone")
        chosen = _chosen(pelvis, side, files)
        body = _femur_of(femur, side, chosen=chosen, sides=sides, where=_name(files.femur))
        hip = _measured(
            files,
            side,
            chosen=chosen,
            femur=body,
            assumed=assumed,
            tell=within(tell, start, share),
        )
        digests = tuple(file.digest if file else "" for file in (pelvis, femur))
        measured.append(
            MeasuredHip(
                hip=replace(hip, warnings=(*notes, *hip.warnings)),
                input_digest=digest_of_inputs(files, side, digests=digests),
            )
        )
    tell(1.0, "measured")
    return tuple(measured)


def _measured(
    files: BoneFiles,
    side: Side,
    *,
    chosen: ChosenBones | None,
    femur: TriangleMesh | None,
    assumed: bool,
    tell: Progress,
) -> HipGeometry:
    """Measure one side; a refusal names the file, as the reader knows the bones by it."""
    try:
        return measure_hip(
            side=side,
            hip_bone=chosen.hip_bone if chosen else None,
            other_hip_bone=chosen.other_hip_bone if chosen else None,
            femur=femur,
            seed=chosen.seed if chosen else None,
            other_seed=chosen.other_seed if chosen else None,
            axes_assumed=assumed,
            landmarks_mm=files.landmarks_mm,
            progress=tell,
        )
    except Refusal as refusal:
        named = {"femur": files.femur, "hip bone": files.pelvis}.get(refusal.where)
        if named is None:
            raise
        raise type(refusal)(refusal.wrong, named.name, refusal.remedy) from None


def _read(path: Path | None, files: BoneFiles) -> BodyFile | None:
    """The bodies of a file, if one is named."""
    if path is None:
        return None
    read = read_bodies(path, unit=files.unit, axes=files.axes)
    if not read.bodies:
        raise FileRefusal("holds no surface", path.name, "Export the bone again")
    return read


def _chosen(pelvis: BodyFile | None, side: Side, files: BoneFiles) -> ChosenBones | None:
    """The hip bone of a side, if a pelvis was given."""
    if pelvis is None:
        return None
    return choose_hip_bone(pelvis.bodies, side, part=files.part, where=_name(files.pelvis))


def _femur_of(
    femur: BodyFile | None,
    side: Side,
    *,
    chosen: ChosenBones | None,
    sides: Sequence[Side],
    where: str,
) -> TriangleMesh | None:
    """The femur of a side: the only body, else the one at the socket, else the one on that side."""
    if femur is None:
        return None
    bodies = femur.bodies
    if len(bodies) == 1:
        if len(sides) == 1:
            return bodies[0]
        if chosen is None:
            raise BoneRefusal(
                "one femur for two sides (got 1 body, need 2)", where, "Ask for one side"
            )
        return bodies[0] if _is_nearer(bodies[0], chosen) else None
    if chosen is not None:
        seat = chosen.seed.centre_mm
        return min(bodies, key=lambda body: _distance_mm(body, seat))
    if len(bodies) == 2:
        ranked = sorted(bodies, key=lambda body: _middle_mm(body)[0] * side.lateral_x_lps)
        return ranked[-1]
    raise BoneRefusal(
        f"several bodies (got {len(bodies)}, need one femur a side)",
        where,
        "Keep the femora alone in this file, or give the pelvis too",
    )


def _is_nearer(body: TriangleMesh, chosen: ChosenBones) -> bool:
    """Whether a lone femur sits at this socket rather than at the other one."""
    if chosen.other_seed is None:
        return True
    own = _distance_mm(body, chosen.seed.centre_mm)
    return own <= _distance_mm(body, chosen.other_seed.centre_mm)


def _distance_mm(body: TriangleMesh, point_mm: Vector) -> float:
    """Distance of a point from the nearest vertex of a body, mm."""
    return float(np.sqrt(((body.vertices_mm - point_mm) ** 2).sum(axis=1).min()))


def _middle_mm(body: TriangleMesh) -> Vector:
    """Middle of the box of a body, (3,) mm."""
    return 0.5 * (body.vertices_mm.min(axis=0) + body.vertices_mm.max(axis=0))


def _name(path: Path | None) -> str:
    """Name of a file as the reader knows it."""
    return "" if path is None else path.name


def _notes(files: BoneFiles, *read: BodyFile | None) -> tuple[str, ...]:
    """What the readers said, with the file it was said of."""
    named = zip((files.pelvis, files.femur), read, strict=True)
    return tuple(
        f"{_name(path)}: {warning}" for path, file in named if file for warning in file.warnings
    )
