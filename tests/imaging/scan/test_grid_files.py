"""NIfTI, NRRD and MetaImage: the same value at the same point as another reader puts it."""

from __future__ import annotations

import gzip
import itertools
from pathlib import Path

import nibabel as nib
import nrrd
import numpy as np
import pytest
import SimpleITK

from rimwright.anatomy import Modality
from rimwright.errors import FileRefusal, Refusal
from rimwright.imaging import list_series, read_labels, read_volume

SHAPE = (9, 8, 7)
TURN = np.array([[0.6, -0.8, 0.0], [0.8, 0.6, 0.0], [0.0, 0.0, 1.0]])
SPACING = np.array([0.7, 0.8, 1.5])
ORIGIN = np.array([11.0, -22.0, 33.0])
FLIP = np.diag([-1.0, -1.0, 1.0, 1.0])
"""Between RAS, the axes of NIfTI, and LPS. Source: NIfTI-1 data format, nifti1.h."""
SINGLE_MM = 1e-5
"""NIfTI keeps places in single precision."""
NAMES = ("a.mha", "a.mhd", "packed.mha", "packed.mhd", "b.nrrd", "b.nhdr", "packed.nrrd",
         "packed.nhdr", "c.nii", "c.nii.gz")  # fmt: skip


def ct(seed: int = 0) -> np.ndarray:
    """(ni, nj, nk), int16, with the air and bone of a CT."""
    values = np.random.default_rng(seed).integers(-1020, 1800, SHAPE).astype(np.int16)
    values[:2] = -1000
    return values


def affine() -> np.ndarray:
    """Oblique, LPS."""
    matrix = np.eye(4)
    matrix[:3, :3] = TURN * SPACING
    matrix[:3, 3] = ORIGIN
    return matrix


def itk_image(values: np.ndarray) -> SimpleITK.Image:
    """The same by SimpleITK, whose points are LPS."""
    image = SimpleITK.GetImageFromArray(values.T)
    image.SetSpacing(SPACING.tolist())
    image.SetOrigin(ORIGIN.tolist())
    image.SetDirection(TURN.ravel().tolist())
    return image


def write_nifti(values: np.ndarray, matrix_ras: np.ndarray, path: Path, **codes: int) -> Path:
    """A NIfTI file with sform and qform of given codes, in mm."""
    image = nib.Nifti1Image(values, matrix_ras)
    image.set_sform(matrix_ras, code=codes.get("sform", 1))
    image.set_qform(matrix_ras, code=codes.get("qform", 1))
    image.header.set_xyzt_units("mm")
    nib.save(image, path)
    return path


@pytest.mark.oracle
@pytest.mark.parametrize("kind", [np.int16, np.float32, np.float64, np.int32])
@pytest.mark.parametrize("name", NAMES)
def test_values_and_places_are_those_of_another_writer(
    name: str, kind: type, tmp_path: Path
) -> None:
    """Written by SimpleITK 2.5 (`WriteImage`), read here: values, points, axes."""
    values = ct()
    path = tmp_path / name
    SimpleITK.WriteImage(itk_image(values.astype(kind)), str(path), name.startswith("packed"))
    file = read_volume(path)
    assert file.volume.modality is Modality.CT
    np.testing.assert_array_equal(file.volume.values, values)
    np.testing.assert_allclose(file.volume.affine, affine(), atol=SINGLE_MM)
    assert not file.axes_assumed
    assert file.axes == ("RAS" if "nii" in name else "LPS")


@pytest.mark.property
@pytest.mark.parametrize("flips", list(itertools.product([1, -1], repeat=3)))
@pytest.mark.parametrize("order", list(itertools.permutations(range(3))))
def test_all_48_orders_of_axes_hold_the_same_body(
    order: tuple[int, ...], flips: tuple[int, ...], tmp_path: Path
) -> None:
    """However the voxels are ordered in the file, each point of the room has its value."""
    values, matrix = ct(), FLIP @ affine()
    stored = values.transpose(order)
    turn = np.zeros((4, 4))
    turn[3, 3] = 1
    for new, old in enumerate(order):
        turn[old, new] = flips[new]
        turn[old, 3] = SHAPE[old] - 1 if flips[new] < 0 else 0
        if flips[new] < 0:
            stored = np.flip(stored, axis=new)
    path = write_nifti(np.ascontiguousarray(stored), matrix @ turn, tmp_path / "a.nii", qform=0)
    volume = read_volume(path).volume
    index = np.array(list(np.ndindex(*SHAPE)), dtype=float)
    points = index @ affine()[:3, :3].T + affine()[:3, 3]
    found = np.rint(volume.to_index(points)).astype(int)
    np.testing.assert_allclose(volume.to_index(points), found, atol=1e-4)
    np.testing.assert_array_equal(volume.values[tuple(found.T)], values.ravel())


def test_sform_goes_before_qform(tmp_path: Path) -> None:
    """Where both stand and differ the sform is taken, and that is said; alone the qform is."""
    matrix = FLIP @ affine()
    image = nib.Nifti1Image(ct(), matrix)
    image.set_sform(matrix, code=1)
    other = matrix.copy()
    other[0, 3] += 40
    image.set_qform(other, code=1)
    nib.save(image, tmp_path / "both.nii")
    file = read_volume(tmp_path / "both.nii")
    np.testing.assert_allclose(file.volume.affine, affine(), atol=SINGLE_MM)
    assert "its sform and qform differ: the sform was taken" in file.warnings
    path = write_nifti(ct(), matrix, tmp_path / "q.nii", sform=0)
    np.testing.assert_allclose(read_volume(path).volume.affine, affine(), atol=SINGLE_MM)


def test_a_file_without_axes_is_read_as_asked_or_as_usual_and_told(tmp_path: Path) -> None:
    """Neither sform nor qform: the spacing alone, in RAS unless the caller names other axes."""
    path = write_nifti(ct(), FLIP @ affine(), tmp_path / "a.nii", sform=0, qform=0)
    assumed, named = read_volume(path), read_volume(path, axes="lps")
    assert (assumed.axes, assumed.axes_assumed) == ("RAS", True)
    assert (named.axes, named.axes_assumed) == ("LPS", False)
    np.testing.assert_allclose(assumed.volume.affine, np.diag([-0.7, -0.8, 1.5, 1]), atol=1e-6)
    np.testing.assert_allclose(named.volume.affine, np.diag([0.7, 0.8, 1.5, 1]), atol=1e-6)
    assert "it does not state its axes: RAS was taken, as is usual" in assumed.warnings


def test_axes_that_contradict_the_header_are_told(tmp_path: Path) -> None:
    """The caller's word wins over the header's, and the warning names both."""
    path = write_nifti(ct(), affine(), tmp_path / "a.nii")
    file = read_volume(path, axes="LPS")
    np.testing.assert_allclose(file.volume.affine, affine(), atol=SINGLE_MM)
    assert "its header states RAS, read as LPS as asked" in file.warnings


@pytest.mark.parametrize(("unit", "scale"), [("meter", 1000.0), ("micron", 0.001)])
def test_units_of_nifti_become_mm(unit: str, scale: float, tmp_path: Path) -> None:
    """Metres and micrometres are stated by the header and converted."""
    small = FLIP @ affine()
    small[:3] /= scale
    image = nib.Nifti1Image(ct(), small)
    image.header.set_xyzt_units(unit)
    nib.save(image, tmp_path / "a.nii")
    found = read_volume(tmp_path / "a.nii").volume.affine
    np.testing.assert_allclose(found, affine(), rtol=1e-5, atol=SINGLE_MM)


@pytest.mark.oracle
@pytest.mark.parametrize("order", ["<", ">"])
@pytest.mark.parametrize("maker", [nib.Nifti1Image, nib.Nifti2Image])
def test_scaled_nifti_of_either_byte_order(maker: type, order: str, tmp_path: Path) -> None:
    """Slope and intercept are applied as nibabel 5.4 applies them (`get_fdata`)."""
    stored = np.arange(np.prod(SHAPE), dtype=np.int16).reshape(SHAPE)
    image = maker(stored.astype(f"{order}i2"), FLIP @ affine())
    image = maker(image.dataobj, FLIP @ affine(), header=image.header.as_byteswapped(order))
    image.header.set_slope_inter(5.5, -1050.0)
    image.header["scl_slope"], image.header["scl_inter"] = 5.5, -1050.0
    data = bytearray(image.to_bytes())
    (tmp_path / "a.nii").write_bytes(bytes(data))
    expected = np.rint(nib.load(tmp_path / "a.nii").get_fdata())
    np.testing.assert_array_equal(read_volume(tmp_path / "a.nii").volume.values, expected)


@pytest.mark.oracle
@pytest.mark.parametrize("encoding", ["raw", "gzip", "bzip2", "ascii"])
@pytest.mark.parametrize(
    ("space", "sign"),
    [("left-posterior-superior", (1, 1)), ("RAS", (-1, -1)), ("left-anterior-superior", (1, -1))],
)
def test_nrrd_in_every_space_and_encoding(
    space: str, sign: tuple[int, int], encoding: str, tmp_path: Path
) -> None:
    """Written by pynrrd 1.1 (`nrrd.write`): directions are columns turned from the space."""
    turn = np.diag([*sign, 1.0])
    header = {
        "space": space,
        "space directions": (turn @ affine()[:3, :3]).T,
        "space origin": turn @ ORIGIN,
        "space units": ["mm", "mm", "mm"],
        "encoding": encoding,
    }
    nrrd.write(str(tmp_path / "a.nrrd"), ct(), header)
    file = read_volume(tmp_path / "a.nrrd")
    np.testing.assert_array_equal(file.volume.values, ct())
    np.testing.assert_allclose(file.volume.affine, affine(), atol=1e-9)
    assert not file.axes_assumed


def test_nrrd_with_spacings_alone(tmp_path: Path) -> None:
    """No space: LPS is assumed, and told."""
    nrrd.write(str(tmp_path / "a.nrrd"), ct(), {"spacings": [0.7, 0.8, 1.5]})
    file = read_volume(tmp_path / "a.nrrd")
    assert file.axes_assumed
    np.testing.assert_allclose(file.volume.affine, np.diag([0.7, 0.8, 1.5, 1]))


def test_metaimage_states_its_axes_by_agreeing_with_its_matrix(tmp_path: Path) -> None:
    """The word for the orientation makes LPS sure; without it, or against it, it is assumed."""
    SimpleITK.WriteImage(itk_image(ct()), str(tmp_path / "a.mha"))
    data = (tmp_path / "a.mha").read_bytes()
    (tmp_path / "none.mha").write_bytes(data.replace(b"AnatomicalOrientation = ALI\n", b""))
    (tmp_path / "other.mha").write_bytes(data.replace(b"Orientation = ALI", b"Orientation = PRI"))
    assert b"AnatomicalOrientation = ALI" in data
    assert not read_volume(tmp_path / "a.mha").axes_assumed
    assert read_volume(tmp_path / "none.mha").axes_assumed
    other = read_volume(tmp_path / "other.mha")
    assert other.axes_assumed
    assert "its word for the orientation of its voxels contradicts its matrix" in other.warnings


def test_only_what_looks_like_hounsfield_units_is_a_ct(tmp_path: Path) -> None:
    """Air and bone make a CT; signals from 0 are something else, in single precision."""
    ras = FLIP @ affine()
    taken = read_volume(write_nifti(ct(), ras, tmp_path / "ct.nii"))
    assert any("taken for a CT" in warning for warning in taken.warnings)
    signal = np.abs(ct()).astype(np.int16)
    other = read_volume(write_nifti(signal, ras, tmp_path / "mr.nii"))
    assert other.volume.modality is Modality.OTHER
    assert other.volume.values.dtype == np.float32
    np.testing.assert_array_equal(other.volume.values, signal)
    assert any("not taken for a CT" in warning for warning in other.warnings)


def test_fractions_of_a_hounsfield_unit_are_rounded_and_told(tmp_path: Path) -> None:
    """A resampled CT has decimals; int16 has none."""
    path = write_nifti(ct().astype(np.float32) + 0.25, FLIP @ affine(), tmp_path / "a.nii")
    file = read_volume(path)
    np.testing.assert_array_equal(file.volume.values, ct())
    assert "rounded to whole Hounsfield units" in file.warnings


def test_a_single_volume_is_a_list_of_one(tmp_path: Path) -> None:
    """Number 1, key from the digest; the series may be named 1."""
    path = write_nifti(ct(), FLIP @ affine(), tmp_path / "a.nii.gz")
    (fact,) = list_series(path)
    file = read_volume(path, series="1")
    assert fact == file.facts
    assert fact.size == SHAPE
    assert file.digest.startswith(fact.series_key)
    with pytest.raises(FileRefusal, match="holds one volume, not series"):
        read_volume(path, series="2")


@pytest.mark.parametrize("name", ["l.nii.gz", "l.nrrd", "l.mha"])
@pytest.mark.parametrize("kind", [np.uint8, np.int16, np.uint16, np.float32])
def test_label_maps_keep_their_numbers(kind: type, name: str, tmp_path: Path) -> None:
    """Whole numbers of any type; on the grid of the file."""
    labels = np.random.default_rng(3).integers(0, 5, SHAPE).astype(kind)
    SimpleITK.WriteImage(itk_image(labels), str(tmp_path / name), True)
    file = read_labels(tmp_path / name)
    assert file.labels.values.dtype == np.uint16
    np.testing.assert_array_equal(file.labels.values, labels)
    np.testing.assert_allclose(file.labels.affine, affine(), atol=SINGLE_MM)


@pytest.mark.fault
@pytest.mark.parametrize(
    ("values", "sentence"),
    [
        (np.full(SHAPE, 0.5, np.float32), "its values are not whole numbers: not a label map"),
        (np.full(SHAPE, np.nan, np.float32), "its values are not whole numbers: not a label map"),
        (np.full(SHAPE, -3, np.int16), "its values are out of range for labels (got -3 to -3"),
        (np.full(SHAPE, 70000, np.int32), "its values are out of range for labels"),
        (np.zeros(SHAPE, np.uint8), "holds no label: every voxel is 0"),
    ],
)
def test_what_is_no_label_map_is_refused(values: np.ndarray, sentence: str, tmp_path: Path) -> None:
    """An image given as labels, or labels of nothing."""
    path = write_nifti(values, FLIP @ affine(), tmp_path / "l.nii")
    with pytest.raises(FileRefusal) as caught:
        read_labels(path)
    assert sentence in str(caught.value)


@pytest.mark.fault
@pytest.mark.parametrize("kind", [np.float32, np.float64])
@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_values_that_are_not_numbers_are_refused(bad: float, kind: type, tmp_path: Path) -> None:
    """One NaN in a volume is not passed on to what measures."""
    values = ct().astype(kind)
    values[4, 4, 4] = bad
    path = write_nifti(values, FLIP @ affine(), tmp_path / "a.nii")
    with pytest.raises(FileRefusal, match="not numbers"):
        read_volume(path)


@pytest.mark.fault
def test_numbers_elsewhere_than_beside_the_header_are_refused(tmp_path: Path) -> None:
    """A header may not lead to any other file of the machine."""
    for name, field in (("b.nhdr", "data file: "), ("a.mhd", "ElementDataFile = ")):
        folder = tmp_path / name
        folder.mkdir()
        SimpleITK.WriteImage(itk_image(ct()), str(folder / name))
        text = (folder / name).read_bytes()
        (data,) = (p.name for p in folder.iterdir() if p.name != name)
        (tmp_path / data).write_bytes((folder / data).read_bytes())
        for trick in ("../" + data, str(tmp_path / data), "LIST", "a%d.raw 1 3 1", "C:\\x.raw",
                      "missing.raw"):  # fmt: skip
            made = text.replace((field + data).encode(), (field + trick).encode())
            assert made != text
            (folder / name).write_bytes(made)
            with pytest.raises(Refusal, match="beside it"):
                read_volume(folder / name)


@pytest.mark.fault
def test_a_packed_stream_must_end_as_it_says(tmp_path: Path) -> None:
    """The checksum of gzip is held, and numbers behind the last are no accident."""
    whole = write_nifti(ct(), FLIP @ affine(), tmp_path / "a.nii").read_bytes()
    packed = bytearray(gzip.compress(whole))
    packed[-6] ^= 1  # of the checksum
    (tmp_path / "a.nii.gz").write_bytes(bytes(packed))
    with pytest.raises(FileRefusal):
        read_volume(tmp_path / "a.nii.gz")
    (tmp_path / "c.nii.gz").write_bytes(gzip.compress(whole)[:-4])
    with pytest.raises(FileRefusal, match="its packed numbers are damaged or cut short"):
        read_volume(tmp_path / "c.nii.gz")
    (tmp_path / "b.nii.gz").write_bytes(gzip.compress(whole + bytes(10_000)))
    with pytest.raises(FileRefusal, match="holds more numbers than its header declares"):
        read_volume(tmp_path / "b.nii.gz")


def test_real_scan_and_its_labels_lie_on_one_grid(shared_data: Path) -> None:
    """The facts told with the real CT: size, spacing, and labels on the same grid."""
    file = read_volume(shared_data / "ct-3mm" / "example_ct.nii.gz")
    found = read_labels(shared_data / "ct-3mm" / "example_seg_fast_force_split.nii.gz")
    assert file.volume.values.shape == (122, 101, 112)
    np.testing.assert_allclose(file.volume.spacing_mm, 3.0)
    assert file.volume.modality is Modality.CT
    np.testing.assert_allclose(found.labels.affine, file.volume.affine)
    assert {75, 76, 77, 78, 25} <= set(np.unique(found.labels.values).tolist())
    # left of the body is +x in LPS: the left femur (75) lies there of the right one (76)
    left, right = (
        file.volume.to_mm(np.argwhere(found.labels.values == n)).mean(axis=0) for n in (75, 76)
    )
    assert left[0] > right[0] + 100
