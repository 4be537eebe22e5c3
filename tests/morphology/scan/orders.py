"""The 48 memory orders of one volume."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np

from rimwright.anatomy import LabelMap, Volume

Order = tuple[tuple[int, int, int], tuple[int, int, int]]


def all_orders() -> Iterator[Order]:
    """Every exchange and reversal of axes."""
    for axes in itertools.permutations(range(3)):
        for signs in itertools.product((1, -1), repeat=3):
            yield axes, signs  # type: ignore[misc]


def reordered(volume: Volume, order: Order) -> Volume:
    """The same scan stored in another order; no voxel moves in space."""
    values, affine = _reordered(volume.values, volume.affine, order)
    return Volume(values=values, affine=affine, modality=volume.modality)


def reordered_labels(labels: LabelMap, order: Order) -> LabelMap:
    """The same for a label map."""
    values, affine = _reordered(labels.values, labels.affine, order)
    return LabelMap(values=values, affine=affine)


def _reordered(values: np.ndarray, affine: np.ndarray, order: Order) -> tuple:
    """Values and affine after an exchange and reversals."""
    axes, signs = order
    values = values.transpose(axes)
    matrix = affine.copy()
    matrix[:3, :3] = affine[:3, list(axes)]
    for axis, sign in enumerate(signs):
        if sign < 0:
            values = np.flip(values, axis)
            matrix[:3, 3] += matrix[:3, axis] * (values.shape[axis] - 1)
            matrix[:3, axis] *= -1.0
    return values, matrix


def mirrored(volume: Volume) -> Volume:
    """The scan of the mirrored person: every place's x turned."""
    affine = volume.affine.copy()
    affine[0] *= -1.0
    return Volume(values=volume.values, affine=affine, modality=volume.modality)
