"""Label maps: told by where bones meet, never by number or name; refused where nothing meets."""

from __future__ import annotations

import numpy as np
import pytest

from morphology.scan.kept import Kept
from morphology.scan.made_hips import PLAIN, measured, plain_scan
from morphology.scan.orders import all_orders, reordered_labels
from rimwright.anatomy import LabelMap, Side
from rimwright.errors import BoneRefusal
from rimwright.morphology.scan import measure_scan, survey_scan
from rimwright.morphology.scan.label_bones import find_labelled_hips
from rimwright.morphology.scan.oriented import orient
from rimwright.phantom import make_hip
from rimwright.phantom.ct import CtGrid, CtLook, make_ct

NO_PAIR = (
    "label map: no two labels of the map meet as a femoral head and its socket. Give a map with a "
    "number of its own for each femur and each hip bone, on this scan."
)
SOLID = CtLook(cortex_hu=1000.0, spongy_hu=1000.0, soft_hu=0.0, blur_mm=0.3, noise_hu=0.0)


def labels_of(kept: Kept, femur: int = 7, hip_bone: int = 3) -> LabelMap:
    """The plain hip's bones, each voxel that is more than half bone."""
    volume = plain_scan(kept)

    def make() -> list[np.ndarray]:
        hip = make_hip(PLAIN)
        grid = CtGrid(
            shape=volume.values.shape,
            spacing_mm=volume.spacing_mm,
            origin_mm=volume.affine[:3, 3],
            directions=volume.affine[:3, :3] / volume.spacing_mm,
        )
        return [
            make_ct([bone], look=SOLID, grid=grid, sample_mm=0.6).values > 500
            for bone in (hip.femur, hip.hip_bone)
        ]

    first, second = kept.get("plain-labels", make)
    values = np.where(first, femur, np.where(second, hip_bone, 0)).astype(np.uint16)
    return LabelMap(values=values, affine=volume.affine)


@pytest.mark.parametrize(("femur", "hip_bone"), [(7, 3), (1, 2), (2, 1), (60_000, 11)])
def test_bones_are_told_by_where_they_meet(kept: Kept, femur: int, hip_bone: int) -> None:
    """Any numbers: the ball is the femur; centre within 0.6 mm, radius within 0.8 mm.

    Surfaces of a map are steps of 1.2 mm; a voxel is labelled from half on.
    """
    labels = labels_of(kept, femur, hip_bone)
    (found,) = find_labelled_hips(labels, orient(plain_scan(kept))).hips
    assert (found.femur_label, found.hip_bone_label) == (femur, hip_bone)
    assert found.side is Side.LEFT
    truth = make_hip(PLAIN).truth
    assert np.linalg.norm(found.centre_mm - truth.head_centre_mm) < 0.6
    assert found.radius_mm == pytest.approx(PLAIN.head_radius_mm, abs=0.8)


@pytest.mark.slow
@pytest.mark.oracle
def test_with_labels_as_without(kept: Kept) -> None:
    """The same scan by map and by search: head within 0.1 mm, angles within 2 degrees; and said.

    Away from the joint a bone's wall is the map's, which is coarser.
    """
    volume, labels = plain_scan(kept), labels_of(kept)
    found = measured(kept, "plain", PLAIN, volume).scan.hip
    labelled = kept.get(
        "plain-labelled", lambda: measure_scan(volume, side=Side.LEFT, labels=labels)
    ).hip
    assert "the bones were told apart by the label map, not by search" in labelled.warnings
    assert found.head is not None
    assert labelled.head is not None
    assert np.linalg.norm(found.head.centre_mm - labelled.head.centre_mm) < 0.1
    for key in (
        "lateral_centre_edge_angle",
        "acetabular_version_central",
        "acetabular_version_cranial",
    ):
        wanted = labelled.measurements[key].value
        assert wanted is not None
        assert found.measurements[key].value == pytest.approx(wanted, abs=2.0), key


def test_a_map_in_another_memory_order(kept: Kept) -> None:
    """A map need not lie in memory as its scan does."""
    labels, scan = labels_of(kept), orient(plain_scan(kept))
    (wanted,) = find_labelled_hips(labels, scan).hips
    for order in list(all_orders())[3::9]:
        (found,) = find_labelled_hips(reordered_labels(labels, order), scan).hips
        np.testing.assert_allclose(found.centre_mm, wanted.centre_mm, atol=1e-6)


def refused(kept: Kept, labels: LabelMap, side: Side = Side.LEFT) -> str:
    """The sentence."""
    with pytest.raises(BoneRefusal) as caught:
        measure_scan(plain_scan(kept), side=side, labels=labels)
    return str(caught.value)


@pytest.mark.fault
def test_one_label_alone_is_refused(kept: Kept) -> None:
    """Femur only, hip bone only, both under one number, and an empty map."""
    labels = labels_of(kept)
    for values in (
        np.where(labels.values == 7, 7, 0),
        np.where(labels.values == 3, 3, 0),
        np.where(labels.values > 0, 5, 0),
        np.zeros_like(labels.values),
    ):
        broken = LabelMap(values=values.astype(np.uint16), affine=labels.affine)
        assert refused(kept, broken) == NO_PAIR
    assert survey_scan(plain_scan(kept), labels=broken).reason == (
        "no two labels of the map meet as a femoral head and its socket"
    )


@pytest.mark.fault
def test_labels_that_do_not_meet_are_refused(kept: Kept) -> None:
    """Only the shaft and the wing are left: nothing within 8 mm of the other."""
    labels = labels_of(kept)
    values = labels.values.copy()
    index = np.argwhere(values > 0)
    centre = make_hip(PLAIN).truth.head_centre_mm
    away = index @ labels.affine[:3, :3].T + labels.affine[:3, 3] - centre
    values[tuple(index[np.linalg.norm(away, axis=1) < 36.0].T)] = 0
    assert {3, 7} <= set(np.unique(values))
    assert refused(kept, LabelMap(values=values, affine=labels.affine)) == NO_PAIR


@pytest.mark.fault
def test_labels_that_are_not_on_the_scan_are_refused(kept: Kept) -> None:
    """A map of another scan: its labels lie outside the field."""
    labels = labels_of(kept)
    affine = labels.affine.copy()
    affine[2, 3] += 500.0
    assert refused(kept, LabelMap(values=labels.values, affine=affine)) == NO_PAIR


@pytest.mark.fault
def test_a_map_that_lies_beside_its_bones_is_doubted(kept: Kept) -> None:
    """Moved by 7 mm: the head is traced in the scan, and its distance from the map said."""
    labels = labels_of(kept)
    affine = labels.affine.copy()
    affine[1, 3] += 7.0
    moved = LabelMap(values=labels.values, affine=affine)
    hip = measure_scan(plain_scan(kept), side=Side.LEFT, labels=moved).hip
    assert any(
        text.startswith("the head traced in the scan lies ")
        and text.endswith("mm from its label: check the label map")
        for text in hip.warnings
    )


@pytest.mark.fault
def test_the_wrong_side_of_a_map_is_refused(kept: Kept) -> None:
    """A right hip asked of a map that holds a left one."""
    assert refused(kept, labels_of(kept), Side.RIGHT) == (
        "label map: no right hip was found (a left one was). Check side and series; a hip that "
        "cannot be found may be given as surfaces."
    )
