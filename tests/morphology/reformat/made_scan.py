"""A CT of a made femoral head and neck in its socket, voxel by voxel from the analytic surfaces."""

from __future__ import annotations

import numpy as np
from scipy.special import erf

from rimwright.anatomy import (
    MEASUREMENT_KEYS,
    ByHour,
    HipGeometry,
    Measurement,
    Modality,
    SphereFit,
    Volume,
    pelvic_frame_of_image,
)
from rimwright.phantom import HipShape, HipTruth

SOFT, SPONGY, CORTEX = 50.0, 280.0, 900.0
CORTEX_MM = 1.5


def step(distance_mm: np.ndarray, blur_mm: float) -> np.ndarray:
    """0 outside, 1 inside, smoothed as the scanner does."""
    return 0.5 * (1.0 + erf(distance_mm / (np.sqrt(2.0) * blur_mm)))


def scan_of_femur(
    shape: HipShape,
    *,
    spacing_mm: tuple[float, float, float] = (0.7, 0.7, 1.0),
    half_mm: float = 62.0,
    blur_mm: float = 0.6,
    noise_hu: float = 30.0,
    with_socket: bool = True,
    seed: int = 5,
) -> Volume:
    """
    A crop about the head: cortex over spongy bone in soft tissue, the socket as a shell.

    The femur's surface is the phantom's own distance from the head centre by direction, so the
    truth of its alpha angle holds for the scan without any mesh between.
    """
    truth = HipTruth(shape=shape)
    centre = truth.head_centre_mm
    n = [int(2 * half_mm / s) for s in spacing_mm]
    affine = np.diag([*spacing_mm, 1.0])
    affine[:3, 3] = centre - half_mm
    at = [affine[a, 3] + spacing_mm[a] * np.arange(n[a]) - centre[a] for a in range(3)]
    x, y, z = np.meshgrid(*at, indexing="ij", sparse=True)
    axes = truth.femoral_axes
    reach = np.sqrt(x * x + y * y + z * z)

    def along(direction: np.ndarray) -> np.ndarray:
        return direction[0] * x + direction[1] * y + direction[2] * z

    cosine = along(axes.neck_axis) / np.maximum(reach, 1e-9)
    polar = np.arccos(np.clip(cosine, -1.0, 1.0))
    angle = np.arctan2(along(axes.femoral_three), along(axes.femoral_twelve))
    inside = truth.femur_surface.distance_mm(polar, angle) - reach
    # Beside the neck a step along the ray is longer than one across the surface.
    density = SOFT + (CORTEX - SOFT) * step(inside, blur_mm)
    density -= (CORTEX - SPONGY) * step(inside - CORTEX_MM, blur_mm)
    if with_socket:
        shift = truth.socket_centre_mm - centre
        out = truth.opening_axis
        px, py, pz = x - shift[0], y - shift[1], z - shift[2]
        radius = np.sqrt(px * px + py * py + pz * pz)
        height = (out[0] * px + out[1] * py + out[2] * pz) / np.maximum(radius, 1e-9)
        cup = np.where(height < 0.05, radius - truth.socket_radius_mm, -10.0)
        wall = step(cup, blur_mm) * (1.0 - step(cup - 2.0, blur_mm))
        density = np.maximum(density, SOFT + (CORTEX - SOFT) * wall)
    rng = np.random.default_rng(seed)
    density += noise_hu * rng.standard_normal(density.shape)
    return Volume(values=np.round(density).astype(np.int16), affine=affine, modality=Modality.CT)


def true_hip(shape: HipShape) -> HipGeometry:
    """The hip of a shape with spheres, rim and axes by construction; nothing was measured."""
    truth = HipTruth(shape=shape)
    none = Measurement.refused("", "not taken here")
    hours = np.arange(0.0, 12.0, 0.25)
    return HipGeometry(
        side=shape.side,
        frame=pelvic_frame_of_image(shape.side),
        axes_assumed=False,
        head=SphereFit(centre_mm=truth.head_centre_mm, radius_mm=truth.head_radius_mm, rms_mm=0.0),
        socket=SphereFit(
            centre_mm=truth.socket_centre_mm, radius_mm=truth.socket_radius_mm, rms_mm=0.0
        ),
        opening_axis=truth.opening_axis,
        rim=truth.rim,
        faces=None,
        femur=truth.femoral_axes,
        landmarks_mm={},
        measurements=dict.fromkeys(MEASUREMENT_KEYS, none),
        by_hour=ByHour(
            hours=truth.rim.hours,
            coverage_deg=np.full(120, np.nan),
            joint_space_mm=np.full(120, np.nan),
            femoral_hours=hours,
            alpha_deg=truth.alpha_deg(hours, departure_mm=1.0),
        ),
        pelvis_bone=None,
        femur_bone=None,
    )


def mirrored_volume(volume: Volume) -> Volume:
    """The scan of the mirrored person: every point's x turned, no voxel moved in memory."""
    affine = volume.affine.copy()
    affine[0] *= -1.0
    return Volume(values=volume.values, affine=affine, modality=volume.modality)
