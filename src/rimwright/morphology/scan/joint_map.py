"""Head and socket surface between the voxels, on the map of rays, and what is not resolved."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import (
    binary_closing,
    binary_dilation,
    binary_fill_holes,
    binary_opening,
    gaussian_filter,
    median_filter,
)

from rimwright.anatomy import Floats, Mask
from rimwright.morphology.scan.blur import Plates, Scanner
from rimwright.morphology.scan.edge_model import fit_edges
from rimwright.morphology.scan.joint_trace import JointTrace
from rimwright.morphology.scan.oriented import OrientedGrid
from rimwright.morphology.scan.sampling import read_profiles
from rimwright.morphology.scan.unwrap import RayMap

SAMPLE_MM = 0.25
MARGIN_MM = 4.0
"""Bone on each side of the joint that is explained with it, mm."""
MOST_MISFIT = 3.0
"""A profile explained worse than this many NOISE_HU is not believed."""
MOST_APART_MM = 0.9
"""A ray this far off its neighbours' median is not believed, mm."""
UNRESOLVED_SIGMAS = 1.6
"""Two faces nearer than this many SD of the blur show one dip whose width is mostly belief."""
LEAST_RESOLVED_MM = 1.5
"""A joint narrower than this is called under resolution whatever the blur, mm."""
WEAK_SHARE = 0.3
"""A head whose edge has less of a full step is not seen: both bones touch, or it is the neck."""
DOUBT_RAYS = 13
"""Width of the neighbourhood of a weak ray in which a path is held against those around."""
WEAK_SD_MM = 0.4
"""How far a ray that sees no joint may leave what its neighbours say, SD, mm."""
LEAST_START_MM = 0.3
THICK_BLUR = 2.5
"""SD, in rays (0.8 mm), of the mean taken over both surfaces in thick slices."""
EDGE_BLUR = 1.6
"""SD, in rays, of the neighbourhood that tells how far inside the covered part a ray lies."""
MOST_COVERED_MM = 10.5
"""A socket further from the head than this is not told from what else lies there, mm."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JointMap:
    """
    Both surfaces of the joint, one radius for each ray.

    Parameters
    ----------
    rays
        About the head's middle.
    head_mm, socket_mm
        (n_polar, n_turns); the socket's is NaN where none lies.
    head_seen
        (n_polar, n_turns), an edge of the head was fitted; elsewhere it is drawn from beside.
    free
        (n_polar, n_turns), the head ends there and no bone follows.
    covered
        (n_polar, n_turns), the socket lies over the head.
    resolved
        (n_polar, n_turns), covered, fitted, and wider than the scan's blur can feign.
    """

    rays: RayMap
    head_mm: Floats
    socket_mm: Floats
    head_seen: Mask
    free: Mask
    covered: Mask
    resolved: Mask

    def depth(self) -> Floats:
        """Share of each ray's neighbourhood that is covered, (n_polar, n_turns), 0 to 1."""
        wide = _wrapped(self.covered.astype(float))
        return _unwrapped(gaussian_filter(wide, EDGE_BLUR, mode="nearest"))


def map_joint(scan: OrientedGrid, trace: JointTrace, scanner: Scanner, plates: Plates) -> JointMap:
    """
    Fit both surfaces on every ray and mend what could not be fitted from its neighbours.

    Parameters
    ----------
    scan
        The scan.
    trace
        Where both surfaces lie to half a millimetre.
    scanner
        Its blur.
    plates
        What its subchondral plates look like.

    Returns
    -------
    JointMap
        With radii in mm.
    """
    rays, paths = trace.rays, trace.paths
    sigma = scanner.sigma_along(scan, rays.directions)
    near = trace.covered & ~trace.metal & (paths.socket_mm - paths.head_mm < MOST_COVERED_MM)
    area = _joined(near | (trace.touching & ~trace.metal))
    start_head, start_socket, weak = _mended_start(trace, area & near, area)
    head = np.full(rays.shape, np.nan)
    socket = np.full(rays.shape, np.nan)
    single = ~area & ~trace.metal & (paths.head_step_hu > 0.3 * paths.full_step_hu)
    inside = area & np.isfinite(start_socket) & ~trace.metal
    if inside.any():
        fitted, misfit = _fit_joint(
            scan, rays, inside, start_head, start_socket, sigma, plates, weak[inside]
        )
        good = misfit < MOST_MISFIT
        head[inside] = np.where(good, fitted[:, 0], np.nan)
        socket[inside] = np.where(good, fitted[:, 5], np.nan)
    if single.any():
        fitted, misfit = _fit_single(scan, rays, single, paths.head_mm, sigma, plates)
        head[single] = np.where(misfit < MOST_MISFIT, fitted[:, 0], np.nan)
    radius = trace.sphere.radius_mm
    head = _without_outliers(head)
    socket = _without_outliers(socket)
    was_fitted = np.isfinite(socket) & np.isfinite(head) & ~weak
    head_seen = np.isfinite(head)
    # what was not fitted is drawn from beside; far from anything seen the head is its sphere
    head = _mended(head, fallback=radius)
    socket = np.where(area, _mended(socket, fallback=np.nan), np.nan)
    if max(scan.drawn) > 1:
        head, socket = _calmed(head), np.where(area, _calmed(socket), np.nan)
    socket = np.where(area, np.maximum(socket, head), np.nan)
    gap = socket - head
    least = np.maximum(LEAST_RESOLVED_MM, UNRESOLVED_SIGMAS * sigma)
    with np.errstate(invalid="ignore"):
        resolved = was_fitted & area & (gap >= least)
    return JointMap(
        rays=rays,
        head_mm=head,
        socket_mm=socket,
        head_seen=head_seen,
        free=trace.free,
        covered=area & np.isfinite(socket),
        resolved=resolved,
    )


def _mended_start(trace: JointTrace, near: Mask, area: Mask) -> tuple[Floats, Floats, Mask]:
    """
    Where to begin on each ray, and which rays see no joint at all.

    Where both bones touch, their plates show as one, and the path follows its far side: there
    the rays about the touching ones say where both surfaces lie.
    """
    paths = trace.paths
    weak = area & (paths.head_step_hu < WEAK_SHARE * paths.full_step_hu)
    doubtful = area & binary_dilation(weak, np.ones((DOUBT_RAYS, DOUBT_RAYS)))
    trusted = near & ~doubtful
    head = _mended(np.where(trusted, paths.head_mm, np.nan), fallback=trace.sphere.radius_mm)
    socket = _mended(np.where(trusted, paths.socket_mm, np.nan), fallback=np.nan)
    with np.errstate(invalid="ignore"):
        off = (paths.head_mm - head > 0.6) | (paths.socket_mm - socket > 0.8)
    off &= doubtful
    use = area & ~off & (paths.socket_mm - paths.head_mm < MOST_COVERED_MM)
    head = np.where(use, paths.head_mm, head)
    socket = np.where(use & ~weak, paths.socket_mm, socket)
    return head, np.maximum(socket, head + LEAST_START_MM), weak | off


def _fit_joint(
    scan: OrientedGrid,
    rays: RayMap,
    chosen: Mask,
    head_mm: Floats,
    socket_mm: Floats,
    sigma: Floats,
    plates: Plates,
    weak: Mask,
) -> tuple[Floats, Floats]:
    """Nine numbers for each covered ray; a ray that sees no joint stays near where it began."""
    head, socket = head_mm[chosen], socket_mm[chosen]
    first = head - MARGIN_MM
    count = np.ceil((socket + MARGIN_MM - first) / SAMPLE_MM).astype(int)
    profiles = _profiles(scan, rays, chosen, first, int(count.max()))
    n = len(profiles)
    start = np.empty((n, 9))
    start[:] = (0, plates.thickness_mm, 0, plates.plate_hu, plates.soft_hu, 0, plates.thickness_mm,
                plates.plate_hu, 0)  # fmt: skip
    start[:, 0], start[:, 5] = head, socket
    start[:, 2] = profiles[:, :4].mean(axis=1)
    start[:, 8] = profiles[np.arange(n), count - 2]
    sd = np.tile(plates.joint_sd(), (n, 1))
    sd[weak, 0] = sd[weak, 5] = WEAK_SD_MM
    return fit_edges(
        profiles,
        first_mm=first,
        step_mm=SAMPLE_MM,
        count=count,
        sigma_mm=sigma[chosen],
        start=start,
        mean=start,
        sd=sd,
    )


def _fit_single(
    scan: OrientedGrid,
    rays: RayMap,
    chosen: Mask,
    head_mm: Floats,
    sigma: Floats,
    plates: Plates,
) -> tuple[Floats, Floats]:
    """Five numbers for each ray that leaves the head for good."""
    head = head_mm[chosen]
    first = head - MARGIN_MM
    count = int((MARGIN_MM + 2.5) / SAMPLE_MM)
    profiles = _profiles(scan, rays, chosen, first, count)
    start = np.empty((len(profiles), 5))
    start[:] = (0, plates.thickness_mm, 0, plates.plate_hu, plates.soft_hu)
    start[:, 0], start[:, 2] = head, profiles[:, :4].mean(axis=1)
    return fit_edges(
        profiles,
        first_mm=first,
        step_mm=SAMPLE_MM,
        count=np.full(len(profiles), count),
        sigma_mm=sigma[chosen],
        start=start,
        mean=start,
        sd=np.array(plates.single_sd()),
    )


def _profiles(
    scan: OrientedGrid, rays: RayMap, chosen: Mask, first: Floats, n_samples: int
) -> Floats:
    """Fine profiles of some rays."""
    directions = rays.directions[chosen]
    return read_profiles(
        scan,
        np.broadcast_to(rays.centre_mm, directions.shape),
        directions,
        start_mm=first,
        step_mm=SAMPLE_MM,
        n_samples=n_samples,
    )


def _wrapped(field: Floats, width: int = 12) -> Floats:
    """A map with some turns repeated at both ends, so that filters see it closed."""
    return np.concatenate([field[:, -width:], field, field[:, :width]], axis=1)


def _unwrapped(field: Floats, width: int = 12) -> Floats:
    """The way back."""
    return field[:, width:-width]


def _mended(radius: Floats, *, fallback: float, blur: float = 1.2) -> Floats:
    """Missing radii drawn from beside, ring by ring of growing width."""
    out = radius.copy()
    for width in (blur, 2.0 * blur, 4.0 * blur):
        missing = ~np.isfinite(out)
        if not missing.any():
            break
        weight = _wrapped((~missing).astype(float))
        value = gaussian_filter(_wrapped(np.where(missing, 0.0, out)), width, mode="nearest")
        total = gaussian_filter(weight, width, mode="nearest")
        with np.errstate(invalid="ignore", divide="ignore"):
            guess = _unwrapped(np.where(total > 0.05, value / total, np.nan))
        out = np.where(missing, guess, out)
    return np.where(np.isfinite(out), out, fallback)


def _calmed(radius: Floats) -> Floats:
    """A surface without the rings that thick slices leave in it: a mean over THICK_BLUR rays."""
    seen = np.isfinite(radius)
    total = gaussian_filter(_wrapped(seen.astype(float)), THICK_BLUR, mode="nearest")
    value = gaussian_filter(_wrapped(np.where(seen, radius, 0.0)), THICK_BLUR, mode="nearest")
    with np.errstate(invalid="ignore", divide="ignore"):
        calm = _unwrapped(value / total)
    return np.where(seen, calm, np.nan)


def _without_outliers(radius: Floats) -> Floats:
    """NaN where a radius leaves its neighbours' median."""
    filled = _mended(radius, fallback=np.nan)
    level = np.nanmedian(filled) if np.isfinite(filled).any() else 0.0
    middle = _unwrapped(median_filter(_wrapped(np.where(np.isfinite(filled), filled, level)), 5))
    with np.errstate(invalid="ignore"):
        return np.where(np.abs(radius - middle) < MOST_APART_MM, radius, np.nan)


def _joined(seen: Mask) -> Mask:
    """The covered part of the map without specks, pinholes and islands."""
    turns = seen.shape[1] // 2
    wide = _wrapped(seen.astype(np.float64), turns) > 0.5
    closed = binary_closing(np.pad(wide, 8, mode="edge"), np.ones((7, 7)))
    opened = binary_opening(closed, np.ones((3, 3)))
    whole = binary_fill_holes(opened[7:])[1:-8, 8:-8]
    return _unwrapped(whole.astype(np.float64), turns) > 0.5
