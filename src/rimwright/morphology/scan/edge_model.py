"""
Where a blurred bone surface really lies: plateaus joined by edges of known blur, fitted.

A surface seen through a scanner is a step smeared over two or three voxels, and a plate thinner
than the smear looks both wider and paler than it is. So no threshold finds its surface. Here a
profile across it is explained as plateaus (spongy bone, plate, soft tissue, and the same again
across a joint) whose edges are all smeared by the scan's own blur, and the edges are moved until
the profile is explained. What the profile cannot tell is held by what the whole scan says of
plates.
"""

from __future__ import annotations

import math

import numpy as np
from numba import njit, prange

from rimwright.anatomy import Floats, Ints

N_STEPS, SETTLED_MM = 14, 2e-3
NOISE_HU = 45.0
"""Misfit that counts as one, HU: noise and what the plateaus cannot explain."""
LEAST_PLATE_MM, MOST_PLATE_MM = 0.25, 6.0
LEAST_GAP_MM = 0.0

_ROOT2 = math.sqrt(2.0)
_ROOT2PI = math.sqrt(2.0 * math.pi)


@njit(cache=True, nogil=True, inline="always")
def _phi(t):  # type: ignore[no-untyped-def]
    """The normal distribution's cumulative."""
    return 0.5 * (1.0 + math.erf(t / _ROOT2))


@njit(cache=True, nogil=True, inline="always")
def _bell(t):  # type: ignore[no-untyped-def]
    """The normal distribution's density."""
    return math.exp(-0.5 * t * t) / _ROOT2PI


@njit(cache=True, nogil=True)
def _explain(p, use, sigma, profile, first, step, n, mean, sd, is_joint, normal, pull):  # type: ignore[no-untyped-def]
    """
    Misfit of one profile under parameters p, with its normal equations.

    p is (r1, t1, a, c1, s) or, across a joint, (r1, t1, a, c1, s, r2, t2, c2, b): the plate's
    outer face and thickness, spongy bone, plate, soft tissue, and the opposite plate's face,
    thickness, plate and spongy bone.
    """
    m = use
    for i in range(m):
        pull[i] = 0.0
        for j in range(m):
            normal[i, j] = 0.0
    row = np.zeros(9)
    misfit = 0.0
    inverse = 1.0 / NOISE_HU
    for k in range(n):
        r = first + k * step
        t1 = (r - p[0] + p[1]) / sigma
        t2 = (r - p[0]) / sigma
        f1, f2 = _phi(t1), _phi(t2)
        g1, g2 = _bell(t1) / sigma, _bell(t2) / sigma
        value = p[2] + (p[3] - p[2]) * f1 + (p[4] - p[3]) * f2
        row[0] = -(p[3] - p[2]) * g1 - (p[4] - p[3]) * g2
        row[1] = (p[3] - p[2]) * g1
        row[2] = 1.0 - f1
        row[3] = f1 - f2
        row[4] = f2
        if is_joint:
            t3 = (r - p[5]) / sigma
            t4 = (r - p[5] - p[6]) / sigma
            f3, f4 = _phi(t3), _phi(t4)
            g3, g4 = _bell(t3) / sigma, _bell(t4) / sigma
            value += (p[7] - p[4]) * f3 + (p[8] - p[7]) * f4
            row[4] -= f3
            row[5] = -(p[7] - p[4]) * g3 - (p[8] - p[7]) * g4
            row[6] = -(p[8] - p[7]) * g4
            row[7] = f3 - f4
            row[8] = f4
        miss = (profile[k] - value) * inverse
        misfit += miss * miss
        for i in range(m):
            a = row[i] * inverse
            pull[i] += a * miss
            for j in range(i + 1):
                normal[i, j] += a * row[j] * inverse
    for i in range(m):
        weight = 1.0 / (sd[i] * sd[i])
        away = mean[i] - p[i]
        misfit += weight * away * away
        pull[i] += weight * away
        normal[i, i] += weight
    for i in range(m):
        for j in range(i):
            normal[j, i] = normal[i, j]
    return misfit


@njit(cache=True, nogil=True)
def _keep_sane(p, is_joint):  # type: ignore[no-untyped-def]
    """Hold thicknesses and the joint's order."""
    p[1] = min(max(p[1], LEAST_PLATE_MM), MOST_PLATE_MM)
    if is_joint:
        p[6] = min(max(p[6], LEAST_PLATE_MM), MOST_PLATE_MM)
        if p[5] < p[0] + LEAST_GAP_MM:
            middle = 0.5 * (p[5] + p[0])
            p[0] = middle - 0.5 * LEAST_GAP_MM
            p[5] = middle + 0.5 * LEAST_GAP_MM


@njit(cache=True, nogil=True)
def _solve(a, b, n, x):  # type: ignore[no-untyped-def]
    """Cholesky for a small positive system; False if it is not one."""
    low = np.zeros((9, 9))
    for i in range(n):
        for j in range(i + 1):
            total = a[i, j]
            for k in range(j):
                total -= low[i, k] * low[j, k]
            if i == j:
                if total <= 0.0:
                    return False
                low[i, i] = math.sqrt(total)
            else:
                low[i, j] = total / low[j, j]
    for i in range(n):
        total = b[i]
        for k in range(i):
            total -= low[i, k] * x[k]
        x[i] = total / low[i, i]
    for i in range(n - 1, -1, -1):
        total = x[i]
        for k in range(i + 1, n):
            total -= low[k, i] * x[k]
        x[i] = total / low[i, i]
    return True


@njit(cache=True, nogil=True, parallel=True)
def _fit(  # type: ignore[no-untyped-def]
    profiles,
    first,
    step,
    count,
    sigma,
    start,
    mean,
    sd,
    is_joint,
    n_steps,
    settled,
    out,
    quality,
):  # fmt: skip
    """Levenberg and Marquardt's steps for each profile."""
    use = 9 if is_joint else 5
    for ray in prange(len(profiles)):
        normal, trial = np.zeros((9, 9)), np.zeros((9, 9))
        pull, spare = np.zeros(9), np.zeros(9)
        move = np.zeros(9)
        p = start[ray].copy()
        q = p.copy()
        n = count[ray]
        now = _explain(
            p, use, sigma[ray], profiles[ray], first[ray], step, n, mean[ray], sd[ray], is_joint,
            normal, pull,
        )  # fmt: skip
        damping = 1e-2
        for _ in range(n_steps):
            for i in range(use):
                for j in range(use):
                    trial[i, j] = normal[i, j]
                trial[i, i] *= 1.0 + damping
            if not _solve(trial, pull, use, move):
                break
            size = 0.0
            for i in range(use):
                q[i] = p[i] + move[i]
            size = abs(move[0]) + (abs(move[5]) if is_joint else 0.0)
            _keep_sane(q, is_joint)
            after = _explain(
                q, use, sigma[ray], profiles[ray], first[ray], step, n, mean[ray], sd[ray],
                is_joint, trial, spare,
            )  # fmt: skip
            if after < now:
                gain = now - after
                now = after
                for i in range(use):
                    p[i] = q[i]
                    pull[i] = spare[i]
                    for j in range(use):
                        normal[i, j] = trial[i, j]
                damping = max(damping * 0.2, 1e-6)
                if size < settled or gain < 1e-3:
                    break
            else:
                damping *= 8.0
                if damping > 1e6:
                    break
        for i in range(use):
            out[ray, i] = p[i]
        quality[ray] = math.sqrt(now / max(n, 1))


def fit_edges(
    profiles: Floats,
    *,
    first_mm: Floats,
    step_mm: float,
    count: Ints | int,
    sigma_mm: Floats,
    start: Floats,
    mean: Floats,
    sd: Floats,
    n_steps: int = N_STEPS,
    settled_mm: float = SETTLED_MM,
) -> tuple[Floats, Floats]:
    """
    Fit plateaus and edges to profiles.

    Parameters
    ----------
    profiles
        (n, m) HU, from inside one bone outward.
    first_mm, step_mm, count
        Radius of each profile's first sample, (n,); distance of the samples; samples to use, (n,).
    sigma_mm
        (n,), SD of the blur along each profile, mm.
    start, mean, sd
        (n, 5) or (n, 9): where to begin, and what is believed of each parameter beforehand.
        Columns: outer face, thickness, spongy, plate, soft tissue; across a joint also the
        opposite face, its plate's thickness, plate and spongy.
    n_steps, settled_mm
        Steps at most, and the move of a face that ends them sooner.

    Returns
    -------
    parameters, misfit
        (n, 5) or (n, 9), and (n,) root mean square misfit in shares of NOISE_HU.
    """
    rows = len(profiles)
    is_joint = start.shape[1] == 9

    def whole(values: Floats) -> Floats:
        return np.ascontiguousarray(np.broadcast_to(values, (rows, start.shape[1])), np.float64)

    out = np.zeros((rows, start.shape[1]))
    quality = np.zeros(rows)
    _fit(
        np.ascontiguousarray(profiles, np.float32),
        np.ascontiguousarray(np.broadcast_to(first_mm, rows), np.float64),
        float(step_mm),
        np.ascontiguousarray(np.broadcast_to(count, rows), np.int64),
        np.ascontiguousarray(np.broadcast_to(sigma_mm, rows), np.float64),
        whole(start),
        whole(mean),
        whole(sd),
        is_joint,
        int(n_steps),
        float(settled_mm),
        out,
        quality,
    )
    return out, quality
