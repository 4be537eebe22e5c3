"""The femoral head: found on any femur, never on condyles, shaft or another bone."""

from __future__ import annotations

import numpy as np
import pytest

from morphology.femur.bones import HEAD_CENTRE, HEAD_MM, femur_of, head_on_neck
from rimwright.anatomy import PelvicFrame, Side, TriangleMesh, pelvic_frame_of_image
from rimwright.errors import BoneRefusal
from rimwright.morphology.femur.head import FoundHead, find_head
from rimwright.morphology.femur.surface import prepare_surface
from rimwright.phantom import HipShape

LEFT: PelvicFrame = pelvic_frame_of_image(Side.LEFT)


def head_of(mesh: TriangleMesh) -> FoundHead:
    """The head of a left femur."""
    return find_head(prepare_surface(mesh, frame=LEFT))


def test_ball_on_a_neck_is_found_exactly() -> None:
    """Vertices on a sphere of known centre give it back; its cover is that of its cap."""
    head = head_of(head_on_neck())
    centre = LEFT.pelvic_from_image.points(HEAD_CENTRE)
    assert np.abs(head.sphere.centre_mm - centre).max() < 1e-3  # ring at the junction off by less
    assert head.sphere.radius_mm == pytest.approx(HEAD_MM, abs=1e-3)
    cap = (1.0 + np.sqrt(1.0 - (15.0 / 24.0) ** 2)) / 2.0  # sphere beyond the neck's circle
    assert head.cover_fraction == pytest.approx(cap, abs=0.06)  # ring of evened normals is lost


@pytest.mark.parametrize("cam_start_deg", [50.0, 65.0, 80.0])
def test_the_aspheric_part_does_not_pull_the_sphere(cam_start_deg: float) -> None:
    """A cam of 3 mm leaves the centre within 0.1 mm of where it was built."""
    mesh, truth = femur_of(HipShape(cam_start_deg=cam_start_deg, cam_height_mm=3.0))
    head = head_of(mesh)
    centre = LEFT.pelvic_from_image.points(truth.head_centre_mm)
    assert np.linalg.norm(head.sphere.centre_mm - centre) < 0.1
    assert head.sphere.radius_mm == pytest.approx(truth.head_radius_mm, abs=0.1)


@pytest.mark.oracle
def test_real_head(real_femur: TriangleMesh) -> None:
    """The real femur's head is 21.5 mm within 0.3 mm, as measured by hand beforehand."""
    head = head_of(real_femur)
    assert head.sphere.radius_mm == pytest.approx(21.5, abs=0.3)
    assert head.sphere.rms_mm < 0.4


def test_a_rough_surface_still_shows_its_head(real_femur: TriangleMesh) -> None:
    """Noise of 0.8 mm on edges of 2 mm moves the centre by less than 0.5 mm."""
    noise = np.random.default_rng(9).normal(scale=0.8, size=real_femur.vertices_mm.shape)
    rough = TriangleMesh(vertices_mm=real_femur.vertices_mm + noise, triangles=real_femur.triangles)
    clean = head_of(real_femur).sphere
    shaken = head_of(rough).sphere
    assert np.linalg.norm(shaken.centre_mm - clean.centre_mm) < 0.5


def test_a_hole_in_the_head_moves_it_little(real_femur: TriangleMesh) -> None:
    """A hole of 16 mm across on top of the head moves the centre by less than 0.15 mm."""
    clean = head_of(real_femur).sphere
    top = LEFT.pelvic_from_image.inverse().points(clean.centre_mm + np.array([-8.0, 20.0, 0.0]))
    far = np.linalg.norm(real_femur.centroids_mm() - top, axis=1) > 8.0
    holed = TriangleMesh(vertices_mm=real_femur.vertices_mm, triangles=real_femur.triangles[far])
    assert np.linalg.norm(head_of(holed).sphere.centre_mm - clean.centre_mm) < 0.15


@pytest.mark.fault
def test_condyles_alone_are_no_head(real_femur: TriangleMesh) -> None:
    """The distal half of a real femur is refused."""
    low = real_femur.centroids_mm()[:, 2] < -200.0
    distal = TriangleMesh(vertices_mm=real_femur.vertices_mm, triangles=real_femur.triangles[low])
    with pytest.raises(BoneRefusal, match=r"no femoral head found .* need 50 %"):
        head_of(distal)


@pytest.mark.fault
def test_a_hip_bone_is_no_femur(real_hip_bone: TriangleMesh) -> None:
    """A hip bone is refused in one line that says so."""
    with pytest.raises(BoneRefusal, match="this is not a femur with its head"):
        head_of(real_hip_bone)


@pytest.mark.unit
def test_a_seed_chooses_among_balls() -> None:
    """With a seed near the head, the head is found as without one."""
    mesh, truth = femur_of(HipShape())
    seed = LEFT.pelvic_from_image.points(truth.head_centre_mm) + 2.0
    surface = prepare_surface(mesh, frame=LEFT)
    seeded, free = find_head(surface, seed_mm=seed), find_head(surface)
    assert np.array_equal(seeded.sphere.centre_mm, free.sphere.centre_mm)


@pytest.mark.parametrize("cam_height_mm", [1.0, 2.0, 4.0])
def test_a_cam_over_half_the_dial_does_not_draw_the_sphere_over(cam_height_mm: float) -> None:
    """A cam from 9 to 5 o'clock that begins beyond the equator leaves the centre within 0.1 mm."""
    shape = HipShape(cam_start_deg=100.0, cam_height_mm=cam_height_mm, cam_sharpness=0.6)
    mesh, truth = femur_of(shape)
    centre = LEFT.pelvic_from_image.points(truth.head_centre_mm)
    assert np.linalg.norm(head_of(mesh).sphere.centre_mm - centre) < 0.1
