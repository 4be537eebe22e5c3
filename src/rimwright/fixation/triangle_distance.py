"""Exact distances between points, segments and triangles, as compiled kernels."""

from __future__ import annotations

from numba import njit

# Below this squared length (mm²) a segment counts as a point and a denominator as zero:
# a thousandth of a micrometre, far under any mesh's own accuracy.
_TINY = 1e-18


@njit(cache=True, nogil=True, inline="always")
def clamp01(value: float) -> float:
    """Clip to [0, 1]."""
    return min(max(value, 0.0), 1.0)


@njit(cache=True, nogil=True)
def point_triangle_mm2(
    px: float,
    py: float,
    pz: float,
    ax: float,
    ay: float,
    az: float,
    bx: float,
    by: float,
    bz: float,
    cx: float,
    cy: float,
    cz: float,
) -> float:
    """Squared distance of a point from a triangle, by the region the point's foot falls in."""
    abx, aby, abz = bx - ax, by - ay, bz - az
    acx, acy, acz = cx - ax, cy - ay, cz - az
    apx, apy, apz = px - ax, py - ay, pz - az
    d1 = abx * apx + aby * apy + abz * apz
    d2 = acx * apx + acy * apy + acz * apz
    if d1 <= 0.0 and d2 <= 0.0:
        return apx * apx + apy * apy + apz * apz
    bpx, bpy, bpz = px - bx, py - by, pz - bz
    d3 = abx * bpx + aby * bpy + abz * bpz
    d4 = acx * bpx + acy * bpy + acz * bpz
    if d3 >= 0.0 and d4 <= d3:
        return bpx * bpx + bpy * bpy + bpz * bpz
    vc = d1 * d4 - d3 * d2
    if vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0 and d1 - d3 > _TINY:
        s = d1 / (d1 - d3)
        qx, qy, qz = apx - s * abx, apy - s * aby, apz - s * abz
        return qx * qx + qy * qy + qz * qz
    cpx, cpy, cpz = px - cx, py - cy, pz - cz
    d5 = abx * cpx + aby * cpy + abz * cpz
    d6 = acx * cpx + acy * cpy + acz * cpz
    if d6 >= 0.0 and d5 <= d6:
        return cpx * cpx + cpy * cpy + cpz * cpz
    vb = d5 * d2 - d1 * d6
    if vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0 and d2 - d6 > _TINY:
        s = d2 / (d2 - d6)
        qx, qy, qz = apx - s * acx, apy - s * acy, apz - s * acz
        return qx * qx + qy * qy + qz * qz
    va = d3 * d6 - d5 * d4
    along = (d4 - d3) + (d5 - d6)
    if va <= 0.0 and d4 >= d3 and d5 >= d6 and along > _TINY:
        s = (d4 - d3) / along
        qx = bpx - s * (cx - bx)
        qy = bpy - s * (cy - by)
        qz = bpz - s * (cz - bz)
        return qx * qx + qy * qy + qz * qz
    total = va + vb + vc
    if total <= _TINY:  # a sliver without area: its corners stand for it
        return min(
            apx * apx + apy * apy + apz * apz,
            bpx * bpx + bpy * bpy + bpz * bpz,
            cpx * cpx + cpy * cpy + cpz * cpz,
        )
    v = vb / total
    w = vc / total
    qx = apx - v * abx - w * acx
    qy = apy - v * aby - w * acy
    qz = apz - v * abz - w * acz
    return qx * qx + qy * qy + qz * qz


@njit(cache=True, nogil=True)
def segment_segment_mm2(
    px: float,
    py: float,
    pz: float,
    ux: float,
    uy: float,
    uz: float,
    qx: float,
    qy: float,
    qz: float,
    vx: float,
    vy: float,
    vz: float,
) -> float:
    """Squared distance of the segments p + s·u and q + t·v, s and t in [0, 1]."""
    wx, wy, wz = px - qx, py - qy, pz - qz
    a = ux * ux + uy * uy + uz * uz
    e = vx * vx + vy * vy + vz * vz
    f = vx * wx + vy * wy + vz * wz
    if a <= _TINY and e <= _TINY:
        return wx * wx + wy * wy + wz * wz
    if a <= _TINY:
        s = 0.0
        t = clamp01(f / e)
    else:
        c = ux * wx + uy * wy + uz * wz
        if e <= _TINY:
            t = 0.0
            s = clamp01(-c / a)
        else:
            b = ux * vx + uy * vy + uz * vz
            denominator = a * e - b * b
            s = clamp01((b * f - c * e) / denominator) if denominator > _TINY * a * e else 0.0
            t = (b * s + f) / e
            if t < 0.0:
                t = 0.0
                s = clamp01(-c / a)
            elif t > 1.0:
                t = 1.0
                s = clamp01((b - c) / a)
    dx = wx + s * ux - t * vx
    dy = wy + s * uy - t * vy
    dz = wz + s * uz - t * vz
    return dx * dx + dy * dy + dz * dz


@njit(cache=True, nogil=True)
def ray_triangle_mm(
    px: float,
    py: float,
    pz: float,
    dx: float,
    dy: float,
    dz: float,
    ax: float,
    ay: float,
    az: float,
    bx: float,
    by: float,
    bz: float,
    cx: float,
    cy: float,
    cz: float,
) -> float:
    """Distance along the unit direction d to the triangle, −1 where the line misses it.

    A distance may be negative only by −1: hits behind the start count as misses.
    """
    e1x, e1y, e1z = bx - ax, by - ay, bz - az
    e2x, e2y, e2z = cx - ax, cy - ay, cz - az
    hx = dy * e2z - dz * e2y
    hy = dz * e2x - dx * e2z
    hz = dx * e2y - dy * e2x
    det = e1x * hx + e1y * hy + e1z * hz
    if det * det <= _TINY:
        return -1.0
    inverse = 1.0 / det
    sx, sy, sz = px - ax, py - ay, pz - az
    u = inverse * (sx * hx + sy * hy + sz * hz)
    if u < 0.0 or u > 1.0:
        return -1.0
    gx = sy * e1z - sz * e1y
    gy = sz * e1x - sx * e1z
    gz = sx * e1y - sy * e1x
    v = inverse * (dx * gx + dy * gy + dz * gz)
    if v < 0.0 or u + v > 1.0:
        return -1.0
    t = inverse * (e2x * gx + e2y * gy + e2z * gz)
    return t if t >= 0.0 else -1.0


@njit(cache=True, nogil=True)
def segment_triangle_mm2(
    px: float,
    py: float,
    pz: float,
    dx: float,
    dy: float,
    dz: float,
    length: float,
    ax: float,
    ay: float,
    az: float,
    bx: float,
    by: float,
    bz: float,
    cx: float,
    cy: float,
    cz: float,
) -> float:
    """Squared distance of the segment p + t·d, t in [0, length], d unit, from a triangle.

    Zero where they cross; else the least over both ends against the face and the segment
    against the three edges.
    """
    t = ray_triangle_mm(px, py, pz, dx, dy, dz, ax, ay, az, bx, by, bz, cx, cy, cz)
    if 0.0 <= t <= length:
        return 0.0
    ux, uy, uz = length * dx, length * dy, length * dz
    best = point_triangle_mm2(px, py, pz, ax, ay, az, bx, by, bz, cx, cy, cz)
    best = min(
        best,
        point_triangle_mm2(px + ux, py + uy, pz + uz, ax, ay, az, bx, by, bz, cx, cy, cz),
    )
    best = min(
        best,
        segment_segment_mm2(px, py, pz, ux, uy, uz, ax, ay, az, bx - ax, by - ay, bz - az),
    )
    best = min(
        best,
        segment_segment_mm2(px, py, pz, ux, uy, uz, bx, by, bz, cx - bx, cy - by, cz - bz),
    )
    return min(
        best,
        segment_segment_mm2(px, py, pz, ux, uy, uz, cx, cy, cz, ax - cx, ay - cy, az - cz),
    )
