"""Bodies with a known inside, for the tests of made scans."""

from __future__ import annotations

import numpy as np
import trimesh
from scipy.special import erf

from rimwright.anatomy import TriangleMesh
from rimwright.phantom.ct import BodySection, CtLook

QUIET = CtLook(noise_hu=0.0)
WIDE = BodySection(centre_mm=[0, 0], half_mm=[500, 500], corner_mm=1.0)
"""Soft tissue as far as any of the tests looks."""


def ball(radius_mm, centre_mm=(0, 0, 0)):
    """A ball of 20,480 triangles: their middles lie less than 2e-4 of the radius inside it."""
    made = trimesh.creation.icosphere(subdivisions=5, radius=radius_mm)
    return mesh_of(made.vertices + np.asarray(centre_mm, dtype=float), made.faces)


def brick(low_mm, high_mm):
    """A rectangular block."""
    made = trimesh.creation.box(bounds=[low_mm, high_mm])
    return mesh_of(made.vertices, made.faces)


def mesh_of(vertices, faces):
    """Our record of a mesh."""
    return TriangleMesh(vertices_mm=np.asarray(vertices), triangles=np.asarray(faces))


def moved(mesh, turn, shift_mm):
    """The body turned and then moved."""
    return mesh_of(mesh.vertices_mm @ np.asarray(turn).T + shift_mm, mesh.triangles)


def mesh_volume_mm3(mesh):
    """Volume by the divergence theorem."""
    a, b, c = np.moveaxis(mesh.corners_mm(), 1, 0)
    return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6.0)


def blurred_ball(distance_mm, radius_mm, sigma_mm):
    """
    A ball of ones folded with a Gaussian, at distances from its middle: closed form.

    The Gaussian integral over a ball in polar coordinates; checked against quadrature in
    `test_oracles_of_the_tests`.
    """
    r, s = np.maximum(distance_mm, 1e-6), np.sqrt(2.0) * sigma_mm
    inside = 0.5 * (erf((radius_mm - r) / s) + erf((radius_mm + r) / s))
    edges = np.exp(-(((r - radius_mm) / s) ** 2)) - np.exp(-(((r + radius_mm) / s) ** 2))
    return inside - sigma_mm / (r * np.sqrt(2.0 * np.pi)) * edges


def voxel_mean(function, points_mm, steps_mm):
    """Mean of a function of points over voxels with edges `steps_mm` (3, 3, rows), 5³ nodes."""
    nodes, weights = np.polynomial.legendre.leggauss(5)
    total = np.zeros(len(points_mm))
    for i in range(5):
        for j in range(5):
            for k in range(5):
                shift = 0.5 * np.array([nodes[i], nodes[j], nodes[k]]) @ steps_mm
                weight = weights[i] * weights[j] * weights[k] / 8.0
                total += weight * function(points_mm + shift)
    return total


def all_points(volume):
    """Middles of all voxels, (n, 3) mm, in the order of `values.ravel()`."""
    return volume.to_mm(np.argwhere(np.ones(volume.values.shape, dtype=bool)))
