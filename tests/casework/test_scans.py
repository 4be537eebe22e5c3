"""A hip out of a scan: read once, measured, known again, stored and planned like one from bones."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path

import jsonschema
import numpy as np
import pytest

import rimwright.imaging as imaging
from casework.scan_fixture import DENSITY_HU, density_about, lay_in, metal_at, write_series
from casework.test_hip_store import same
from rimwright.anatomy import Cancelled, LabelMap, Modality, ScanSource, Side
from rimwright.casework import (
    ScanFiles,
    case_from_document,
    document_schema,
    hip_files_of,
    hip_for_case,
    hips_for_both,
    input_digest,
    load_hip,
    measure_files,
    plan_case,
    plan_document,
    prepare_hip,
    save_hip,
    two_hips,
    write_plan,
)
from rimwright.errors import BoneRefusal, CaseRefusal, Refusal
from rimwright.fixation import anchors_with_density
from rimwright.fixation.drill_density import FROM_DEPTH_MM
from rimwright.phantom import demo_shape, make_hip
from rimwright.phantom.ct import CtLook, grid_round, make_ct

FROZEN = Path(__file__).parent / "frozen"


@pytest.fixture(scope="module")
def series(tmp_path_factory):
    """A small CT series on disk."""
    return write_series(tmp_path_factory.mktemp("scan") / "series")


@pytest.fixture
def laid(monkeypatch, stored):
    """The demo hip in the place of the search for bones."""
    return lay_in(monkeypatch, stored.hip)


@pytest.fixture
def labelled(monkeypatch, tmp_path):
    """A label file whose reading is laid in."""
    path = tmp_path / "labels.nii.gz"
    path.write_bytes(b"labels")
    labels = LabelMap(values=np.ones((2, 2, 2), dtype=np.uint16), affine=np.eye(4))
    file = imaging.LabelFile(
        labels=labels,
        digest="0",
        warnings=("made smaller",),
        axes="RAS",
        axes_assumed=False,
        kind="NIfTI",
    )
    monkeypatch.setattr(imaging, "read_labels", lambda *_, **__: file)
    return path


def case_of(demo, image, *, side="left", **changes):
    """The demo case with a scan in place of its bones."""
    document = {**demo.document, "side": side, "sources": {"image": str(image)}, **changes}
    return case_from_document(document, folder=Path(image).parent, where="case.toml")


def test_a_case_names_a_scan_beside_it(demo, series):
    """Paths are relative to the case; series and labels are kept as written."""
    sources = {"image": "series", "labels": "x/l.nrrd", "series": "2"}
    case = case_of(demo, series, sources=sources)
    assert case.sources.image == series
    assert case.sources.labels == series.parent / "x" / "l.nrrd"
    assert case.sources.series == "2"
    assert case.sources.names_hip


@pytest.mark.fault
@pytest.mark.parametrize(
    ("sources", "expected"),
    [
        ({"image": "a", "femur": "b.stl"}, "case.toml, [sources]: bones and an image together"),
        ({"pelvis": "b.stl", "labels": "c"}, "case.toml, [sources], labels: labels without an"),
        ({"pelvis": "b.stl", "series": "1"}, "case.toml, [sources], series: series without an"),
        ({"image": "a", "units": "mm"}, "case.toml, [sources], units: units of an image"),
        ({"image": "a", "part": 1}, "case.toml, [sources], part: a part without the file"),
        ({"image": "a", "series": "1\n"}, "case.toml, [sources], series: holds characters"),
        ({"image": "a", "serie": "1"}, "case.toml, [sources], serie: "),
    ],
)
def test_sources_that_do_not_go_together(demo, series, sources, expected):
    """Bones beside an image, and what belongs to the other kind, are refused with their place."""
    with pytest.raises(CaseRefusal) as refused:
        case_of(demo, series, sources=sources)
    assert str(refused.value).startswith(expected)


@pytest.mark.fault
@pytest.mark.parametrize("key", ["image", "labels"])
def test_a_scan_that_is_not_there(demo, series, key):
    """A path that leads nowhere is named before anything is read."""
    sources = {"image": "series", key: "nowhere"}
    with pytest.raises(CaseRefusal, match=rf"\[sources\], {key}: no such file or folder"):
        hip_files_of(case_of(demo, series, sources=sources))


def test_what_is_measured_keeps_its_source(series, laid, stored):
    """Geometry, density, and the scan in a few numbers; nothing else of the files."""
    (measured,) = measure_files(ScanFiles(image=series), (Side.LEFT,))
    assert same(measured.hip.measurements, stored.hip.measurements)
    assert measured.source == ScanSource(
        modality=Modality.CT,
        spacing_mm=(0.7, 0.7, 1.0),
        n_slices=12,
        slice_thickness_mm=measured.source.slice_thickness_mm,
    )
    assert same(measured.density, density_about(stored.hip))
    assert not measured.hip.axes_assumed  # DICOM fixes its axes
    assert measured.hip.warnings[-1] == "slices of 3 mm: angles are doubtful"


def test_the_density_does_not_hold_the_whole_scan(series, laid):
    """The block has memory of its own: a view would keep the volume alive."""
    (measured,) = measure_files(ScanFiles(image=series), (Side.LEFT,))
    assert measured.density.values.base is None


def test_labels_and_landmarks_are_handed_on(series, laid, labelled):
    """Label map and landmarks go along; what the reader mended in the map is said."""
    point = np.array([1.0, 2.0, 3.0])
    files = ScanFiles(image=series, labels=labelled, landmarks_mm={"asis": point})
    (measured,) = measure_files(files, (Side.RIGHT,))
    (asked,) = laid.asked
    assert asked["labels"] is not None
    assert asked["landmarks_mm"]["asis"] is point
    assert measured.hip.side is Side.RIGHT
    assert measured.source.has_labels
    assert "labels.nii.gz: made smaller" in measured.hip.warnings


def test_axes_the_file_does_not_state_are_said(series, laid, monkeypatch):
    """The hip carries that its axes were assumed, and the reader's word of it once."""
    said = "it does not state its axes: LPS was taken, as is usual"
    read = replace(imaging.read_volume(series), axes_assumed=True, warnings=(said,))
    monkeypatch.setattr(imaging, "read_volume", lambda *_, **__: read)
    (measured,) = measure_files(ScanFiles(image=series), (Side.LEFT,))
    assert measured.hip.axes_assumed
    assert [text for text in measured.hip.warnings if "axes" in text] == [f"series: {said}"]


@pytest.mark.fault
def test_an_mr_is_no_ct(series, laid, monkeypatch):
    """Bone is not looked for in an MR; one line says what it is good for."""
    read = imaging.read_volume(series)
    values = read.volume.values.astype(np.float32)
    volume = replace(read.volume, values=values, modality=Modality.MR)
    monkeypatch.setattr(imaging, "read_volume", lambda *_, **__: replace(read, volume=volume))
    with pytest.raises(Refusal) as refused:
        measure_files(ScanFiles(image=series), (Side.LEFT,))
    assert str(refused.value).startswith("series: an MR series (need a CT). ")
    assert laid.asked == []


@pytest.mark.fault
@pytest.mark.parametrize(
    ("where", "expected"),
    [
        ("scan", "series: too few. Do."),
        ("label map", "labels.nii.gz: too few. Do."),
        ("hip bone", "series, hip bone: too few. Do."),
        ("landmarks, asis", "landmarks, asis: too few. Do."),
    ],
)
def test_a_refusal_names_the_file(series, labelled, monkeypatch, where, expected):
    """The measuring code knows no file; the refusal does."""
    import rimwright.morphology.scan as scan

    def no_hip(*_, **__):
        raise BoneRefusal("too few", where, "Do")

    monkeypatch.setattr(scan, "measure_scan", no_hip)
    with pytest.raises(BoneRefusal) as refused:
        measure_files(ScanFiles(image=series, labels=labelled), (Side.LEFT,))
    assert str(refused.value) == expected


def test_both_sides_are_read_once(series, laid, monkeypatch):
    """Two sides, one reading; progress of both runs on one bar and never back."""
    calls = []
    read = imaging.read_volume
    monkeypatch.setattr(imaging, "read_volume", lambda *a, **k: calls.append(a) or read(*a, **k))
    seen = []
    left, right = measure_files(
        ScanFiles(image=series),
        (Side.LEFT, Side.RIGHT),
        progress=lambda done, stage: seen.append(done),
    )
    assert len(calls) == 1
    assert (left.hip.side, right.hip.side) == (Side.LEFT, Side.RIGHT)
    assert left.input_digest != right.input_digest
    assert seen == sorted(seen)
    assert (seen[0], seen[-1]) == (0.0, 1.0)


def test_two_cases_of_one_scan_are_read_once(demo, series, laid, monkeypatch, tmp_path):
    """Each side is measured with the landmarks of its own case."""
    calls = []
    read = imaging.read_volume
    monkeypatch.setattr(imaging, "read_volume", lambda *a, **k: calls.append(a) or read(*a, **k))
    left = case_of(demo, series, landmarks={"asis": [1.0, 2.0, 3.0]})
    right = case_of(demo, series, side="right", landmarks={"asis": [-1.0, 2.0, 3.0]})
    right = replace(right, clinic=None)
    hips = hips_for_both(two_hips(left, right), beside=tmp_path)
    assert len(calls) == 1
    assert [item.stored.hip.side for item in hips] == [Side.LEFT, Side.RIGHT]
    assert [float(item["landmarks_mm"]["asis"][0]) for item in laid.asked] == [1.0, -1.0]
    for case, item in zip((left, right), hips, strict=True):
        assert item.stored.input_digest == input_digest(hip_files_of(case), case.side)


@pytest.mark.fault
@pytest.mark.parametrize("limit", [0.0, 0.2, 0.4, 0.9])
def test_cancelling_stops_at_every_stage(series, laid, limit):
    """Cancelled from the callback, nothing more is told."""
    seen = []

    def tell(fraction, stage):
        seen.append(fraction)
        if fraction >= limit:
            raise Cancelled

    with pytest.raises(Cancelled):
        measure_files(ScanFiles(image=series), (Side.LEFT,), progress=tell)
    assert sum(fraction >= limit for fraction in seen) == 1


def test_an_unchanged_scan_is_known_without_reading_it(demo, series, laid, monkeypatch, tmp_path):
    """Planned again on the stored hip: nothing is decoded, and the note says so."""
    case = case_of(demo, series)
    save_hip(prepare_hip(case), tmp_path / "hip.npz")

    def decoded(*_, **__):
        raise AssertionError("the scan was decoded")

    monkeypatch.setattr(imaging, "read_volume", decoded)
    chosen = hip_for_case(case, beside=tmp_path)
    assert chosen.note.startswith("Scan unchanged")
    assert hip_for_case(case, given=tmp_path / "hip.npz").stored.source.n_slices == 12


@pytest.mark.parametrize("change", ["voxel", "slice gone", "labels", "series", "landmarks", "axes"])
def test_a_changed_scan_is_measured_again(demo, series, laid, labelled, tmp_path, change):
    """Content, label map, series, landmarks and axes count; and such a hip is refused if named."""
    image = tmp_path / "series"
    shutil.copytree(series, image)
    sources = {"image": str(image)}
    document = {"sources": sources}
    case = case_of(demo, image, **document)
    save_hip(prepare_hip(case), tmp_path / "hip.npz")
    assert hip_for_case(case, beside=tmp_path).note
    first = sorted(image.iterdir())[0]
    if change == "voxel":
        content = bytearray(first.read_bytes())
        content[-1] ^= 1
        first.write_bytes(content)
    elif change == "slice gone":
        first.unlink()
    elif change == "landmarks":
        document = {**document, "landmarks": {"asis": [1.0, 2.0, 3.0]}}
    else:
        given = {"labels": str(labelled), "series": "1", "axes": "LPS"}[change]
        document = {"sources": {**sources, change: given}}
    other = case_of(demo, image, **document)
    assert hip_for_case(other, beside=tmp_path).note == ""
    with pytest.raises(CaseRefusal, match=r"hip\.npz: measured from another scan, label map"):
        hip_for_case(other, given=tmp_path / "hip.npz")


def test_the_store_keeps_density_metal_and_source(demo, series, monkeypatch, stored, tmp_path):
    """What a scan leaves with the hip comes back in every number."""
    lay_in(monkeypatch, stored.hip, metal=(metal_at(stored.hip, 2.0),))
    hip = prepare_hip(case_of(demo, series))
    save_hip(hip, tmp_path / "hip.npz")
    again = load_hip(tmp_path / "hip.npz")
    (kept,), (given,) = again.metal, hip.metal
    assert same(kept, given)
    assert again.source == hip.source
    assert same(again.field.density, hip.field.density)
    assert plan_document(plan_case(case_of(demo, series), hip=again)) == plan_document(
        plan_case(case_of(demo, series), hip=hip)
    )


def test_a_store_from_before_scans_still_loads(stored, tmp_path):
    """From surfaces nothing is added to the file, so that older ones are the same kind."""
    save_hip(stored, tmp_path / "hip.npz")
    with np.load(tmp_path / "hip.npz") as store:
        meta = json.loads(bytes(store["meta"]))
        assert not {"source", "metal"} & set(meta)
        assert not any("density" in name for name in store.files)
    again = load_hip(tmp_path / "hip.npz")
    assert (again.source, again.metal, again.field.density) == (None, (), None)


@pytest.mark.oracle
def test_a_plan_from_a_scan_reads_the_density_of_each_drill(demo, series, laid):
    """Mean and least follow from the laid-in gradient along z; place and status do not change."""
    plan = plan_case(case_of(demo, series))
    bones = plan_case(demo)
    assert len(plan.anchors) > 0
    for anchor, bare in zip(plan.anchors, bones.anchors, strict=True):
        assert same(anchor.entry_mm, bare.entry_mm)
        assert (anchor.status, anchor.hour) == (bare.status, bare.hour)
        assert bare.density_mean_hu is None
        ends = [
            DENSITY_HU + 2.0 * (anchor.entry_mm + depth * anchor.direction)[2]
            for depth in (FROM_DEPTH_MM, anchor.depth_mm)
        ]
        # 0.5 HU: the voxels of the gradient are whole numbers.
        assert anchor.density_mean_hu == pytest.approx(np.mean(ends), abs=0.5)
        assert anchor.density_least_hu == pytest.approx(min(ends), abs=0.5)


def test_the_plan_says_its_source_and_keeps_its_schema(demo, series, laid):
    """plan.json names the scan, stays version 1, and a document from before is still one of it."""
    validator = jsonschema.Draft202012Validator(document_schema("plan"))
    document = json.loads(json.dumps(plan_document(plan_case(case_of(demo, series)))))
    validator.validate(document)
    assert document["source"]["n_slices"] == 12
    assert document["source"]["label_map"] is False
    bones = json.loads(json.dumps(plan_document(plan_case(demo))))
    validator.validate(bones)
    assert bones["source"] is None
    assert "surfaces" in bones["unavailable"]["source"]
    validator.validate(json.loads((FROZEN / "plan-1.json").read_text(encoding="utf-8")))


def test_a_trimmed_rim_keeps_its_density(demo, series, laid):
    """Anchors on the rim a trim leaves are read in the same scan."""
    trim = [{"from_hour": 0.5, "to_hour": 1.5, "depth_mm": 2.0}]
    plan = plan_case(case_of(demo, series, rim_trim=trim))
    assert plan.anchors
    assert all(anchor.density_mean_hu is not None for anchor in plan.anchors)


def test_every_file_of_a_plan_is_written_from_a_scan(demo, series, laid, tmp_path):
    """The same files as from bones; page one names the scan; the warning of the scan is a doubt."""
    case = case_of(demo, series)
    hip = prepare_hip(case)
    plan = plan_case(case, hip=hip)
    files = write_plan(plan, tmp_path / "plan", stored=hip, issued_on="2026-03-02")
    bones = write_plan(plan_case(demo), tmp_path / "bones", issued_on="2026-03-02")
    assert files.names == bones.names
    page = files.report.read_text(encoding="utf-8")
    assert "CT, 0.7 × 0.7 × 1.0 mm, 12 slices" in page
    assert "Slices of 3 mm: angles are doubtful." in page
    assert load_hip(tmp_path / "plan" / "hip.npz").source == plan.source


@pytest.mark.oracle
def test_a_drill_in_spongy_bone_reads_what_the_scan_was_made_of(demo, stored):
    """In a made CT of the demo bone the drill reads its spongy bone, 4 mm below the cortex."""
    hip = make_hip(demo_shape())
    look = CtLook(noise_hu=0.0)
    anchor = plan_case(demo, hip=stored).anchors[0]
    tip = anchor.entry_mm + anchor.depth_mm * anchor.direction
    grid = grid_round(np.array([anchor.entry_mm, tip]), spacing_mm=(0.7, 0.7, 1.0), margin_mm=4.0)
    volume = make_ct([hip.hip_bone], look=look, grid=grid)
    (read,) = anchors_with_density(replace(stored.field, density=volume), (anchor,))
    # 15 HU: the fine cells of the made scan, and cortex 2 mm from the drill blurred by 0.6 mm.
    assert read.density_mean_hu == pytest.approx(look.spongy_hu, abs=15.0)
    assert read.density_least_hu == pytest.approx(look.spongy_hu, abs=15.0)
