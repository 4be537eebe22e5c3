"""A hip from a rough ball: both surfaces traced, the head's sphere settled, rays sorted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats, Mask, Side, Vector
from rimwright.morphology.scan.coupled_surfaces import (
    PAIRED_DEG,
    STEP_MM,
    CoupledPaths,
    trace_surfaces,
)
from rimwright.morphology.scan.head_sphere import RoughSphere, fit_head_sphere
from rimwright.morphology.scan.oriented import OrientedGrid
from rimwright.morphology.scan.unwrap import RayMap, map_rays, unwrap

N_ROUNDS = 3
SETTLED_MM = 0.15
INSIDE_MM, OUTSIDE_MM = 6.0, 5.0
"""How far inside and outside of its sphere a head's surface is looked for: fovea, cam."""
BEFORE_MM, N_SAMPLES = 9.0, 76
"""Profiles begin so far inside the sphere and end 28.5 mm outside."""
FREE_BEYOND_MM = 19.0
"""A ray is free of the socket if no bone follows within this distance, mm."""
BONE_HU = 150.0
"""Brighter is bone to a free ray, HU: muscle and fluid stay under 100."""
TOUCH_MM = 2.5
"""Bone all the way from the head to this far beyond it: both bones touch there, mm."""
MOST_JOINT_MM = 6.0
"""A socket further from the head than this says nothing of the head's sphere: the fossa, mm."""
METAL_HU = 2000.0
"""Brighter than cortex, HU."""
LEAST_SEEN = 150
"""Fewer rays with an edge make no sphere."""
COVER_POLAR_DEG = 90.0


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JointTrace:
    """
    Both surfaces of a hip on the steps tried, and what each ray sees.

    Parameters
    ----------
    rays
        About the head's middle.
    paths
        Radii of both surfaces.
    free
        (n_polar, n_turns), the head ends there and nothing follows.
    covered
        (n_polar, n_turns), the socket follows the head.
    touching
        (n_polar, n_turns), towards the pole: bone follows, and no gap is seen between.
    metal
        (n_polar, n_turns), metal lies on the ray.
    sphere
        The head's.
    """

    rays: RayMap
    paths: CoupledPaths
    free: Mask
    covered: Mask
    touching: Mask
    metal: Mask
    sphere: RoughSphere

    @property
    def cover(self) -> float:
        """Share of the half of the head about the pole that a socket is seen to cover."""
        weight = self.rays.solid_angles()
        half = self.rays.polar_deg < COVER_POLAR_DEG
        near = self.covered & (self.paths.socket_mm - self.paths.head_mm < MOST_JOINT_MM)
        return float((weight * near)[half].sum() / weight[half].sum())


def trace_joint(
    scan: OrientedGrid,
    *,
    centre_mm: Vector,
    radius_mm: float,
    side: Side,
    stride: int = 1,
    n_rounds: int = N_ROUNDS,
) -> JointTrace:
    """
    Settle a rough ball as a femoral head in its socket.

    Parameters
    ----------
    scan
        The scan.
    centre_mm, radius_mm
        Rough to some mm.
    side
        Tells which way the socket lies.
    stride, n_rounds
        Every so manieth ray and fewer rounds, for a first look.

    Returns
    -------
    JointTrace
        Whatever is there; `sphere.share` tells how much of it is a head.
    """
    centre, radius = np.asarray(centre_mm, dtype=np.float64), radius_mm
    for _ in range(n_rounds):
        rays = map_rays(centre, side=side, stride=stride)
        start = radius - BEFORE_MM
        profiles = unwrap(scan, rays, start_mm=start, step_mm=STEP_MM, n_samples=N_SAMPLES)
        paths = trace_surfaces(
            profiles,
            polar_deg=rays.polar_deg,
            start_mm=start,
            radius_mm=radius,
            inside_mm=INSIDE_MM,
            outside_mm=OUTSIDE_MM,
        )
        free, covered, touching, metal = _sorted_rays(profiles, start, paths, rays.polar_deg)
        seen = (free | (covered & (paths.socket_mm - paths.head_mm < MOST_JOINT_MM))) & ~metal
        if np.count_nonzero(seen) * stride**2 < LEAST_SEEN:
            sphere = RoughSphere(centre_mm=centre, radius_mm=radius, rms_mm=np.inf, share=0.0)
            break
        sphere = fit_head_sphere(
            rays.points_mm(paths.head_mm).reshape(-1, 3),
            rays.solid_angles().ravel(),
            seen.ravel(),
        )
        moved = float(np.linalg.norm(sphere.centre_mm - centre))
        if moved > BEFORE_MM or not 10.0 < sphere.radius_mm < 40.0:
            break
        centre, radius = sphere.centre_mm, sphere.radius_mm
        if moved < SETTLED_MM:
            break
    return JointTrace(
        rays=rays,
        paths=paths,
        free=free,
        covered=covered,
        touching=touching,
        metal=metal,
        sphere=sphere,
    )


def _sorted_rays(
    profiles: Floats, start_mm: float, paths: CoupledPaths, polar_deg: Floats
) -> tuple[Mask, Mask, Mask, Mask]:
    """Rays free of the socket, that it covers, on which it touches, and through metal."""
    full = paths.full_step_hu
    at = np.round((paths.head_mm - start_mm) / STEP_MM).astype(int)
    samples = np.arange(profiles.shape[2])
    beyond = (samples > at[..., None] + 2) & (samples < at[..., None] + FREE_BEYOND_MM / STEP_MM)
    brightest = np.where(beyond, profiles, -np.inf).max(axis=2)
    free = (brightest < BONE_HU) & (paths.head_step_hu > 0.5 * full)
    covered = (paths.socket_step_hu > 0.5 * full) & (paths.head_step_hu > 0.15 * full)
    just = (samples >= at[..., None]) & (samples <= at[..., None] + TOUCH_MM / STEP_MM)
    darkest = np.where(just, profiles, np.inf).min(axis=2)
    touching = (darkest > BONE_HU) & (polar_deg[:, None] < PAIRED_DEG)
    near = (samples > at[..., None] - 16) & (samples < at[..., None] + 24)
    metal = np.where(near, profiles, -np.inf).max(axis=2) > METAL_HU
    return free, covered & ~free, touching & ~free & ~covered, metal
