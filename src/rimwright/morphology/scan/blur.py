"""A scanner's blur and the look of its plates, learned from the head's free surface."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rimwright.anatomy import Floats
from rimwright.morphology.scan.edge_model import fit_edges
from rimwright.morphology.scan.joint_trace import JointTrace
from rimwright.morphology.scan.oriented import OrientedGrid
from rimwright.morphology.scan.sampling import read_profiles

TRIED_MM = np.array([0.2, 0.35, 0.5, 0.65, 0.8, 1.0, 1.25])
"""SD of the blur beyond that of the voxels, tried in turn, mm."""
USUAL_MM = 0.6
"""Blur taken where too little free surface is seen to learn it, mm (from memory: bone kernels of
body scanners resolve about 1 line pair a mm)."""
DRAWN_SHARE = 0.2
"""Variance of a thick slice drawn finer, in squares of its thickness: above its own 1/12, as what
lies between two slices is not seen but drawn (chosen on a made scan of 3 mm slices)."""
LEAST_RAYS, MOST_RAYS = 60, 900
SAMPLE_MM = 0.25
INSIDE_MM, OUTSIDE_MM = 5.0, 3.0
USUAL_PLATE_MM, USUAL_PLATE_HU = 1.2, 900.0
"""Where a scan tells nothing of its plates (from memory, for a scan without a free head)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scanner:
    """
    Blur of a scan.

    Parameters
    ----------
    blur_mm
        SD of the smear beyond that of voxels and of reading between them, mm, alike all round.
    learned
        Whether the scan told it.
    """

    blur_mm: float
    learned: bool

    def sigma_along(self, scan: OrientedGrid, directions: Floats) -> Floats:
        """SD of the whole smear along unit directions, (..., 3) to (...), mm."""
        axes = scan.step / scan.spacing_mm
        parts = np.asarray(directions) @ np.linalg.inv(axes).T
        # a scanner's voxel has a variance of h²/12; reading straight between voxels adds h²/6
        voxel = np.where(np.array(scan.drawn) > 1, DRAWN_SHARE, 1.0 / 12.0) * scan.voxel_mm**2
        smear = voxel + scan.spacing_mm**2 / 6.0
        grown: Floats = np.sqrt(self.blur_mm**2 + parts**2 @ smear)
        return grown


@dataclass(frozen=True, slots=True, kw_only=True)
class Plates:
    """
    What subchondral plates look like in a scan.

    Parameters
    ----------
    thickness_mm, plate_hu
        Median thickness and brightness.
    soft_hu
        What lies outside.
    marrow_hu
        What lies inside.
    """

    thickness_mm: float
    plate_hu: float
    soft_hu: float
    marrow_hu: float

    def single_sd(self) -> tuple[float, ...]:
        """Doubt about each of five numbers beforehand."""
        return (1.5, 0.5, 400.0, 0.35 * self.plate_hu, 80.0)

    def joint_sd(self) -> tuple[float, ...]:
        """Doubt about each of nine numbers beforehand; the joint's own tissue is well known."""
        plate = 0.2 * self.plate_hu
        return (2.0, 0.3, 400.0, plate, 35.0, 2.0, 0.3, plate, 400.0)


def learn_scanner(scan: OrientedGrid, trace: JointTrace) -> tuple[Scanner, Plates]:
    """
    Learn blur and plates from the free part of a head, where one plate borders soft tissue.

    Parameters
    ----------
    scan
        The scan.
    trace
        A hip in it.

    Returns
    -------
    scanner, plates
        The blur is the one that explains the profiles best, between those tried by a parabola.
    """
    chosen = np.argwhere(trace.free & ~trace.metal)
    if len(chosen) < LEAST_RAYS:
        return Scanner(blur_mm=USUAL_MM, learned=False), Plates(
            thickness_mm=USUAL_PLATE_MM, plate_hu=USUAL_PLATE_HU, soft_hu=50.0, marrow_hu=200.0
        )
    chosen = chosen[:: max(1, len(chosen) // MOST_RAYS)]
    at = tuple(chosen.T)
    directions = trace.rays.directions[at]
    head = trace.paths.head_mm[at]
    first = head - INSIDE_MM
    n_samples = int((INSIDE_MM + OUTSIDE_MM) / SAMPLE_MM)
    profiles = read_profiles(
        scan,
        np.broadcast_to(trace.rays.centre_mm, directions.shape),
        directions,
        start_mm=first,
        step_mm=SAMPLE_MM,
        n_samples=n_samples,
    )
    soft = float(np.median(profiles[:, -4:]))
    top = float(np.quantile(profiles.max(axis=1), 0.8))
    start = np.empty((len(profiles), 5))
    start[:] = (0, 1.5, 0, top, soft)
    start[:, 0], start[:, 2] = head, profiles[:, :6].mean(axis=1)
    believed = start.copy()
    believed[:, 3] = 1.2 * top
    sd = np.array([2.0, 1.2, 400.0, 0.8 * top, 80.0])
    misfit = np.empty(len(TRIED_MM))
    results = []
    for k, blur in enumerate(TRIED_MM):
        sigma = Scanner(blur_mm=float(blur), learned=True).sigma_along(scan, directions)
        found, quality = fit_edges(
            profiles,
            first_mm=first,
            step_mm=SAMPLE_MM,
            count=n_samples,
            sigma_mm=sigma,
            start=start,
            mean=believed,
            sd=sd,
        )
        misfit[k] = float(np.mean(np.minimum(quality, 3.0) ** 2))
        results.append(found)
    best = int(np.argmin(misfit))
    blur = float(TRIED_MM[best])
    if 0 < best < len(TRIED_MM) - 1:
        near = slice(best - 1, best + 2)
        a, b, _ = np.polyfit(TRIED_MM[near], misfit[near], 2)
        if a > 0:
            blur = float(np.clip(-b / (2.0 * a), TRIED_MM[best - 1], TRIED_MM[best + 1]))
    weight = np.interp(blur, TRIED_MM, np.arange(len(TRIED_MM)))
    low = min(int(weight), len(TRIED_MM) - 2)
    share = weight - low
    middle = (1 - share) * np.median(results[low], axis=0) + share * np.median(
        results[low + 1], axis=0
    )
    return Scanner(blur_mm=blur, learned=True), Plates(
        thickness_mm=float(np.clip(middle[1], 0.4, 3.0)),
        plate_hu=float(max(middle[3], middle[4] + 150.0)),
        soft_hu=float(middle[4]),
        marrow_hu=float(middle[2]),
    )
