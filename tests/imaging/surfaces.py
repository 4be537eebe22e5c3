"""Closed surfaces of known shape for the tests of the readers."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray


class Surface(NamedTuple):
    """Vertices (n, 3), exact in float32, and triangles (m, 3), outward."""

    vertices: NDArray[np.float64]
    triangles: NDArray[np.int64]

    @property
    def volume(self) -> float:
        """Volume enclosed, by the divergence theorem."""
        a, b, c = (self.vertices - self.vertices.mean(axis=0))[self.triangles].transpose(1, 0, 2)
        return float((a * np.cross(b, c)).sum() / 6)

    def moved(self, *offset: float) -> Surface:
        """The same surface elsewhere."""
        return Surface(single(self.vertices + offset), self.triangles)

    def scaled(self, factor: float) -> Surface:
        """The same surface larger."""
        return Surface(single(self.vertices * factor), self.triangles)

    def turned(self) -> Surface:
        """The same surface inside out."""
        return Surface(self.vertices, self.triangles[:, ::-1])


def single(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Values that float32 holds exactly."""
    return values.astype(np.float32).astype(np.float64)


def join(*surfaces: Surface) -> Surface:
    """Several surfaces as one list of vertices and triangles."""
    offsets = np.cumsum([0, *(len(s.vertices) for s in surfaces)])
    return Surface(
        np.concatenate([s.vertices for s in surfaces]),
        np.concatenate([s.triangles + o for s, o in zip(surfaces, offsets, strict=False)]),
    )


def box(x: float = 60.0, y: float = 40.0, z: float = 30.0) -> Surface:
    """A box with a corner at the origin: 8 vertices, 12 triangles."""
    corners = np.array([[i, j, k] for k in (0, z) for j in (0, y) for i in (0, x)], dtype=float)
    triangles = [
        [0, 2, 1], [1, 2, 3], [4, 5, 6], [5, 7, 6], [0, 1, 4], [1, 5, 4],
        [2, 6, 3], [3, 6, 7], [0, 4, 2], [2, 4, 6], [1, 3, 5], [3, 7, 5],
    ]  # fmt: skip
    return Surface(single(corners), np.array(triangles))


def box_quads() -> list[list[int]]:
    """The six faces of `box` as polygons."""
    return [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]]


def ball(radius: float = 40.0, *, steps: int = 2) -> Surface:
    """An octahedron divided and pushed on to a sphere, with a dent that takes its symmetry."""
    vertices = np.array(
        [[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0], [0, 0, 1], [0, 0, -1]], dtype=float
    )
    triangles = np.array(
        [[0, 2, 4], [2, 1, 4], [1, 3, 4], [3, 0, 4], [2, 0, 5], [1, 2, 5], [3, 1, 5], [0, 3, 5]]
    )
    for _ in range(steps):
        ends = np.sort(triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2), axis=1)
        edges, which = np.unique(ends, axis=0, return_inverse=True)
        which = which.reshape(-1, 3) + len(vertices)
        vertices = np.concatenate([vertices, vertices[edges].mean(axis=1)])
        vertices /= np.linalg.norm(vertices, axis=1, keepdims=True)
        (a, b, c), (ab, bc, ca) = triangles.T, which.T
        triangles = np.concatenate(
            [np.column_stack(t) for t in ((a, ab, ca), (ab, b, bc), (ca, bc, c), (ab, bc, ca))]
        )
    dent = 1 - 0.2 * np.exp(-8 * ((vertices - [0.6, 0.48, 0.64]) ** 2).sum(axis=1))
    return Surface(single(radius * vertices * dent[:, None]), triangles)


def ring_strips(n_round: int = 16, n_tube: int = 8) -> tuple[Surface, list[list[int]]]:
    """A ring (torus) as triangles, and the same as one strip for each step round the tube."""
    round_ = 2 * np.pi * np.arange(n_round) / n_round
    tube = 2 * np.pi * np.arange(n_tube) / n_tube
    u, v = np.meshgrid(round_, tube, indexing="ij")
    reach = 40 + 15 * np.cos(v)
    vertices = np.stack([reach * np.cos(u), reach * np.sin(u), 15 * np.sin(v)], axis=-1)
    index = np.arange(n_round * n_tube).reshape(n_round, n_tube)
    strips, triangles = [], []
    for k in range(n_tube):
        low, high = index[:, k], index[:, (k + 1) % n_tube]
        strip = np.column_stack([high, low]).ravel().tolist()
        strip += strip[:2]
        strips.append([int(i) for i in strip])
        for i in range(len(strip) - 2):
            a, b, c = strip[i : i + 3]
            triangles.append([a, b, c] if i % 2 == 0 else [a, c, b])
    return Surface(single(vertices.reshape(-1, 3)), np.array(triangles)), strips


TIPS_MM = {"L": 60.0, "P": 40.0, "S": 30.0}
"""A body labelled by anatomy: one tip to the left, one behind, one above a common corner."""
_OPPOSITE = {"L": "R", "P": "A", "S": "I"}


def tips_in(axes: str) -> Surface:
    """The labelled body written in a three-letter convention, faces outward as drawn there."""
    places = np.zeros((4, 3))
    for tip, (letter, length) in enumerate(TIPS_MM.items(), start=1):
        if letter in axes:
            places[tip, axes.index(letter)] = length
        else:
            places[tip, axes.index(_OPPOSITE[letter])] = -length
    surface = Surface(places, np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]))
    return surface if surface.volume > 0 else surface.turned()


def corner_rows(vertices: NDArray[np.float64], triangles: NDArray[np.int64]) -> NDArray[np.float64]:
    """Triangles as rows of nine numbers, in an order of their own: equal for equal surfaces."""
    corners = vertices[triangles]
    first = np.array([min(range(3), key=lambda k: tuple(c[k])) for c in corners])
    turned = np.stack([corners[np.arange(len(corners)), (first + k) % 3] for k in range(3)], axis=1)
    rows = turned.reshape(len(corners), 9)
    return rows[np.lexsort(rows.T[::-1])]
