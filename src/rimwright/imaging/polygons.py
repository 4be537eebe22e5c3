"""Polygons and strips cut into triangles."""

from __future__ import annotations

import numpy as np

from rimwright.anatomy import Floats, Ints, Points
from rimwright.errors import FileRefusal
from rimwright.imaging.limits import MAX_CONCAVE_CORNERS, MAX_CORNERS, MAX_POLYGON_CORNERS
from rimwright.imaging.raw_shell import DAMAGED, check_count

CONCAVE_FRACTION = 1e-6
"""A corner turns in when it does so by more than this fraction of the area of its polygon: less is
the rounding of float32."""


def split_counted(cells: Ints, *, n_cells: int, where: str) -> tuple[Ints, Ints]:
    """
    Take apart a list of cells, each written as its size and then its corners.

    Parameters
    ----------
    cells
        (k,), size, corners, size, corners …
    n_cells
        Cells declared.
    where
        The file, for the refusal.

    Returns
    -------
    tuple[Ints, Ints]
        Corners of all cells in a row, and the size of each cell, (n_cells,).

    Raises
    ------
    FileRefusal
        The sizes do not add up to the list.
    """
    if n_cells == 0 and len(cells) == 0:
        return cells, np.zeros(0, dtype=np.int64)
    if n_cells > 0 and len(cells) % n_cells == 0:
        rows = cells.reshape(n_cells, -1)
        if rows.shape[1] > 1 and (rows[:, 0] == rows.shape[1] - 1).all():
            return rows[:, 1:].ravel(), rows[:, 0].copy()
    check_count(len(cells), need=MAX_CORNERS, what="corners", where=where)
    flat = cells.tolist()
    is_corner = np.ones(len(flat), dtype=bool)
    sizes = []
    at = 0
    for _ in range(min(n_cells, len(flat))):
        if at >= len(flat) or not 0 <= flat[at] < len(flat) - at:
            break
        is_corner[at] = False
        sizes.append(flat[at])
        at += flat[at] + 1
    if len(sizes) != n_cells or at != len(flat):
        raise FileRefusal(
            f"the sizes of its {n_cells:,} polygons do not add up to the {len(flat):,} numbers "
            "that are there",
            where,
            DAMAGED,
        )
    return cells[is_corner], np.array(sizes, dtype=np.int64)


def sizes_of_offsets(offsets: Ints, *, n_corners: int, where: str) -> Ints:
    """
    Size of each cell from where the cells end in the list of corners.

    Parameters
    ----------
    offsets
        (n,) ends of the cells, without a leading 0.
    n_corners
        Length of the list of corners.
    where
        The file, for the refusal.

    Returns
    -------
    Ints
        (n,) sizes; they add up to n_corners.

    Raises
    ------
    FileRefusal
        The offsets fall, begin below 0, or do not end at n_corners.
    """
    in_range = len(offsets) == 0 or (offsets.min() >= 0 and offsets.max() <= n_corners)
    last = int(offsets[-1]) if len(offsets) else 0
    sizes = np.diff(offsets, prepend=0) if in_range else offsets
    if not in_range or last != n_corners or (sizes < 0).any():
        raise FileRefusal(
            f"the offsets of its {len(offsets):,} polygons do not fit their {n_corners:,} corners",
            where,
            DAMAGED,
        )
    return sizes


def cut_polygons(vertices: Points, corners: Ints, *, sizes: Ints, where: str) -> Ints:
    """
    Cut polygons into triangles of the same winding.

    Parameters
    ----------
    vertices
        (n, 3), any unit.
    corners
        Corners of all polygons in a row; out of range is left for the shell to refuse.
    sizes
        Corners of each polygon; fewer than three (points, lines) are passed over.
    where
        The file, for the refusal.

    Returns
    -------
    Ints
        (m, 3), in the order of the polygons; a convex polygon becomes a fan, another loses one
        ear after the other.

    Raises
    ------
    FileRefusal
        A polygon that is not convex has too many corners.
    """
    if not len(sizes):
        return np.zeros((0, 3), dtype=np.int64)
    if (sizes == 3).all():
        return corners.reshape(-1, 3)
    starts = np.cumsum(sizes) - sizes
    all_in_range = bool(((corners >= 0) & (corners < len(vertices))).all())
    pieces: list[Ints] = []
    ranks: list[Ints] = []
    n_concave_corners = 0
    order = np.argsort(sizes, kind="stable")
    present, first_of_size = np.unique(sizes[order], return_index=True)
    for size, which in zip(present, np.split(order, first_of_size[1:]), strict=True):
        if size < 3:
            continue
        step = np.arange(1, size - 1)
        fan = np.column_stack([np.zeros_like(step), step, step + 1])
        polygons = corners[starts[which][:, None] + np.arange(size)]
        turned_in = _turned_in(vertices, polygons) if size > 3 and all_in_range else None
        if turned_in is not None and size == 4:  # a fan from the corner that turns in is exact
            first = np.argmax(turned_in, axis=1)
            polygons = np.take_along_axis(polygons, (first[:, None] + np.arange(4)) % 4, axis=1)
        triangles = polygons[:, fan]
        if turned_in is not None and size > 4:
            concave = np.flatnonzero(turned_in.any(axis=1))
            n_concave_corners += int(size) * len(concave)
            if len(concave) and (
                size > MAX_POLYGON_CORNERS or n_concave_corners > MAX_CONCAVE_CORNERS
            ):
                raise FileRefusal(
                    f"polygons that are not convex have too many corners (got {size} in one and "
                    f"{n_concave_corners:,} in all, need at most {MAX_POLYGON_CORNERS} and "
                    f"{MAX_CONCAVE_CORNERS:,})",
                    where,
                    "Export the surface as triangles",
                )
            for index in concave:
                triangles[index] = _cut_ears(vertices, polygons[index])
        pieces.append(triangles.reshape(-1, 3))
        ranks.append(np.repeat(which, size - 2))
    if not pieces:
        return np.zeros((0, 3), dtype=np.int64)
    by_polygon = np.argsort(np.concatenate(ranks), kind="stable")
    return np.concatenate(pieces)[by_polygon]


def cut_strips(corners: Ints, *, sizes: Ints) -> Ints:
    """
    Cut triangle strips; every second triangle is turned so that all wind alike.

    Parameters
    ----------
    corners
        Corners of all strips in a row.
    sizes
        Corners of each strip.

    Returns
    -------
    Ints
        (m, 3); a strip of s corners gives s − 2 triangles.
    """
    if not len(sizes):
        return np.zeros((0, 3), dtype=np.int64)
    starts = np.cumsum(sizes) - sizes
    n_of_strip = np.maximum(sizes - 2, 0)
    strip = np.repeat(np.arange(len(sizes)), n_of_strip)
    step = np.arange(len(strip)) - np.repeat(np.cumsum(n_of_strip) - n_of_strip, n_of_strip)
    first = starts[strip] + step
    odd = step % 2
    return np.column_stack([corners[first], corners[first + 1 + odd], corners[first + 2 - odd]])


def _turned_in(vertices: Points, polygons: Ints) -> Ints:
    """Whether each corner of each polygon turns against the rest, (p, s) bool."""
    places = vertices[polygons]
    places = places - places[:, :1]
    with np.errstate(all="ignore"):  # NaN and overflow are refused later, by name
        following = np.roll(places, -1, axis=1)
        area = np.cross(places, following).sum(axis=1)
        turns = np.cross(places - np.roll(places, 1, axis=1), following - places)
        against = np.einsum("psk,pk->ps", turns, area)
        return against < -CONCAVE_FRACTION * (area**2).sum(axis=1)[:, None]


def _cut_ears(vertices: Points, polygon: Ints) -> Ints:
    """Triangles of one polygon that is not convex, (s − 2, 3), by cutting off its ears."""
    places = vertices[polygon]
    flat = _in_plane(places)
    left = list(range(len(polygon)))
    triangles = []
    while len(left) > 3:
        ear = _find_ear(flat[left])
        triangles.append([left[ear - 1], left[ear], left[(ear + 1) % len(left)]])
        del left[ear]
    triangles.append(left)
    return polygon[np.array(triangles, dtype=np.int64)]


def _in_plane(places: Points) -> Floats:
    """Corners of a polygon in its own plane, (s, 2), counter-clockwise."""
    places = places - places[0]
    area = np.cross(places, np.roll(places, -1, axis=0)).sum(axis=0)
    drop = int(np.argmax(np.abs(area)))
    keep = [(drop + 1) % 3, (drop + 2) % 3]
    flat = places[:, keep]
    return flat if area[drop] >= 0 else flat * np.array([-1.0, 1.0])


def _find_ear(flat: Floats) -> int:
    """Corner whose triangle turns with the polygon and holds no other corner; else the first."""
    before, after = np.roll(flat, 1, axis=0), np.roll(flat, -1, axis=0)
    turns = _cross(flat - before, after - flat)
    for ear in np.flatnonzero(turns > 0):
        a, b, c = before[ear], flat[ear], after[ear]
        inside = (
            (_cross(b - a, flat - a) >= 0)
            & (_cross(c - b, flat - b) >= 0)
            & (_cross(a - c, flat - c) >= 0)
        )
        is_other = (flat != a).any(axis=1) & (flat != b).any(axis=1) & (flat != c).any(axis=1)
        if not (inside & is_other).any():
            return int(ear)
    return 0


def _cross(one: Floats, other: Floats) -> Floats:
    """Cross product of vectors in a plane."""
    return one[..., 0] * other[..., 1] - one[..., 1] * other[..., 0]
