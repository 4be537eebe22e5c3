"""Which body is the hip bone asked for: told by its socket, its side and its pubis."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Side, SphereFit, TriangleMesh
from rimwright.errors import BoneRefusal
from rimwright.morphology.socket_search import LunateFit, find_hollow_spheres, fit_lunate

LEAST_OPENING = 0.15
"""Least left-right part of the direction a socket's lunate opens to that tells a side."""
LEAST_EXTENT_MM = 90.0
"""Least extent of a body that may be a hip bone, mm (adults: about 200; a cut one: over 100)."""
LEAST_SHARE = 0.15
"""Least part of its sphere that a hip's lunate covers; a sacrum's hollow had 0.11, hips 0.2 on."""
APART_MM = 60.0
"""Two sockets of one body (a fused pelvis) lie further apart than this, mm."""
PUBIS_QUANTILE = 0.1
"""The most medial part of the bone below the socket is pubis."""
LEAST_FRONT_MM = -5.0
"""Least distance of the pubis in front of the mean of the bone below the socket, mm. Real hips
turned by 10 degrees any way have 20 on, the same back to front -20; one cut by the field near 0."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HipBone:
    """
    A body with a socket.

    Parameters
    ----------
    body_index
        Its place in the file, from 0.
    side
        Side by geometry.
    lunate
        First fit of its lunate surface.
    """

    body_index: int
    side: Side
    lunate: LunateFit


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ChosenBones:
    """
    The bodies to measure.

    Parameters
    ----------
    hip_bone, other_hip_bone
        Hip bone of the side asked for, and of the other side if there is one.
    seed, other_seed
        Rough socket spheres of the two.
    """

    hip_bone: TriangleMesh
    other_hip_bone: TriangleMesh | None
    seed: SphereFit
    other_seed: SphereFit | None


def find_hip_bones(bodies: Sequence[TriangleMesh], *, where: str) -> tuple[HipBone, ...]:
    """
    Every socket in a row of bodies, with its side.

    Parameters
    ----------
    bodies
        Image frame, LPS, mm.
    where
        What to call the file in a refusal.

    Returns
    -------
    tuple of HipBone
        In the order of the bodies; a fused pelvis gives two for one body.

    Raises
    ------
    BoneRefusal
        No body has a socket; the reason of the likeliest one.
    """
    found: list[HipBone] = []
    reason: BoneRefusal | None = None
    for index, body in enumerate(bodies):
        extent = np.ptp(body.vertices_mm, axis=0)
        if extent.max() < LEAST_EXTENT_MM:
            continue
        for sphere in find_hollow_spheres(body):
            if any(
                other.body_index == index
                and np.linalg.norm(other.lunate.sphere.centre_mm - sphere.centre_mm) < APART_MM
                for other in found
            ):
                continue
            try:
                lunate = fit_lunate(
                    body, centre_mm=sphere.centre_mm, radius_mm=sphere.radius_mm, where=where
                )
            except BoneRefusal as refusal:
                if reason is None or "coarse" in refusal.wrong:
                    reason = refusal
                continue
            opening = -lunate.pole[0]
            if lunate.share < LEAST_SHARE or abs(opening) < LEAST_OPENING:
                continue
            side = Side.LEFT if opening > 0 else Side.RIGHT
            found.append(HipBone(body_index=index, side=side, lunate=lunate))
    if not found:
        raise reason or BoneRefusal(
            "no hip bone found (no body has a hollow spherical zone of 17 to 33 mm radius)",
            where,
            "Give the hip bone here; a femur goes under --femur, and lengths are in mm unless told",
        )
    return tuple(found)


def choose_hip_bone(
    bodies: Sequence[TriangleMesh], side: Side, *, part: int | None = None, where: str
) -> ChosenBones:
    """
    Pick the hip bone of a side from a file's bodies.

    Parameters
    ----------
    bodies
        Image frame, LPS, mm.
    side
        Side asked for.
    part
        Body to take, from 1; None = by geometry.
    where
        What to call the file in a refusal.

    Returns
    -------
    ChosenBones
        The hip bone, and the one of the other side where the file has it.

    Raises
    ------
    BoneRefusal
        No socket, the wrong side, turned axes, or several bones of one side and no part given.
    """
    if part is not None and not 1 <= part <= len(bodies):
        raise BoneRefusal(
            f"no such part (got {part}, the file holds {len(bodies)} bodies)",
            where,
            f"Give --part 1 to {len(bodies)}",
        )
    all_found = find_hip_bones(bodies, where=where)
    found = all_found
    if part is not None:
        found = tuple(item for item in all_found if item.body_index == part - 1)
        if not found:
            raise BoneRefusal(f"part {part} has no hip socket", where, "Choose another part")
    for item in found:
        _check_axes(bodies[item.body_index], item, side, where)
    own = [item for item in found if item.side is side]
    if not own:
        raise BoneRefusal(
            f"this is a {side.other} hip bone (its socket opens to the {side.other}), "
            f"not a {side} one",
            where,
            f"Check the side; if it is the {side}, the axes of the file are not what was said "
            "(see --axes)",
        )
    if len(own) > 1:
        parts = ", ".join(str(item.body_index + 1) for item in own)
        raise BoneRefusal(
            f"several {side} hip bones (parts {parts})", where, "Choose one with --part"
        )
    others = [item for item in all_found if item.side is not side]
    other = others[0] if len(others) == 1 else None
    return ChosenBones(
        hip_bone=bodies[own[0].body_index],
        other_hip_bone=bodies[other.body_index] if other else None,
        seed=own[0].lunate.sphere,
        other_seed=other.lunate.sphere if other else None,
    )


def _check_axes(body: TriangleMesh, item: HipBone, side: Side, where: str) -> None:
    """Refuse a bone whose pubis lies behind or whose ilium lies below."""
    relative = body.vertices_mm - item.lunate.sphere.centre_mm
    outward = relative[:, 0] * item.side.lateral_x_lps
    # a fused pelvis reaches past the midline: keep to this bone's half
    own = relative[outward > -110.0]
    height, forward, outward = own[:, 2], -own[:, 1], own[:, 0] * item.side.lateral_x_lps
    if height.max() < -height.min():
        raise BoneRefusal(
            "the bone stands on its head (more of it lies below the socket than above)",
            where,
            "Say which way the file's axes run (--axes LPS, RAS, y-up …)",
        )
    low = height < 0
    pubis = low & (outward < np.quantile(outward[low], PUBIS_QUANTILE))
    if forward[pubis].mean() - forward[low].mean() < LEAST_FRONT_MM:
        raise BoneRefusal(
            f"the pubis lies behind the socket, so front and back are turned "
            f"(asked for the {side} hip)",
            where,
            "Say which way the file's axes run (--axes RAS turns a half-turn back)",
        )
