"""Refits of the head: their scatter is that of the surface."""

from __future__ import annotations

import numpy as np

from morphology.femur.bones import head_on_neck
from rimwright.anatomy import Side, TriangleMesh, pelvic_frame_of_image
from rimwright.morphology.femur.head import FoundHead, find_head
from rimwright.morphology.femur.head_refit import refit_head
from rimwright.morphology.femur.surface import prepare_surface


def head_of(mesh: TriangleMesh) -> FoundHead:
    """The head of a left femur."""
    return find_head(prepare_surface(mesh, frame=pelvic_frame_of_image(Side.LEFT)))


def test_refits_scatter_as_the_surface_does() -> None:
    """Refits of a noisy head scatter about it; those of a smooth one hardly do."""
    mesh = head_on_neck()
    noise = np.random.default_rng(10).normal(scale=0.3, size=mesh.vertices_mm.shape)
    noisy = TriangleMesh(vertices_mm=mesh.vertices_mm + noise, triangles=mesh.triangles)
    rough, _ = refit_head(head_of(noisy), n_refits=64, seed=1)
    smooth, _ = refit_head(head_of(mesh), n_refits=64, seed=1)
    assert np.abs(rough.mean(axis=0)).max() < 0.02  # the fit stands in their middle
    assert rough.std(axis=0).min() > 3.0 * smooth.std(axis=0).max()
