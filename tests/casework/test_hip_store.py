"""The stored hip: the same hip comes back, and nothing else is taken for one."""

from __future__ import annotations

import json
import zipfile
from dataclasses import fields, is_dataclass

import numpy as np
import pytest

import rimwright.casework.hip_store as store_module
from report.plan_fixture import made_hip
from rimwright.anatomy import Side
from rimwright.casework import StoredHip, load_hip, save_hip
from rimwright.casework.hip_arrays import put_together, take_apart
from rimwright.casework.hip_store import STORE_SCHEMA, code_digest
from rimwright.errors import FileRefusal


def same(first, second) -> bool:
    """Equal in every number, array and word, NaN equal to NaN."""
    if is_dataclass(first):
        return type(first) is type(second) and all(
            same(getattr(first, item.name), getattr(second, item.name)) for item in fields(first)
        )
    if isinstance(first, np.ndarray):
        return first.dtype == second.dtype and np.array_equal(
            first, second, equal_nan=first.dtype.kind == "f"
        )
    if hasattr(first, "items"):
        return set(first) == set(second) and all(same(first[key], second[key]) for key in first)
    return first == second


@pytest.fixture
def stored_path(tmp_path):
    """A stored hip on disk."""
    path = tmp_path / "hip.npz"
    save_hip(StoredHip(hip=made_hip(Side.RIGHT), input_digest="abc"), path)
    return path


@pytest.mark.property
@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize("femur", [True, False])
def test_there_and_back(side, femur, tmp_path):
    """What is loaded equals what was saved, in every number."""
    hip = made_hip(side, femur=femur)
    path = tmp_path / "hip.npz"
    save_hip(StoredHip(hip=hip), path)
    assert same(load_hip(path).hip, hip)


def test_digests_come_back(stored_path):
    """The digest of the inputs and that of the code are kept."""
    stored = load_hip(stored_path)
    assert stored.input_digest == "abc"
    assert stored.made_by == code_digest()
    assert stored.field is None


def test_arrays_are_frozen_again(stored_path):
    """A loaded hip cannot be changed by accident."""
    hip = load_hip(stored_path).hip
    with pytest.raises(ValueError, match="read-only"):
        hip.rim.points_mm[0, 0] = 1.0


def test_no_pickle_inside(stored_path):
    """No array of the file needs pickle."""
    with np.load(stored_path, allow_pickle=False) as store:
        assert all(store[name].dtype != object for name in store.files)


def test_parts_taken_apart_are_plain():
    """The part that is not arrays is JSON."""
    plain, arrays = take_apart(made_hip(Side.LEFT))
    assert same(put_together(json.loads(json.dumps(plain)), arrays), made_hip(Side.LEFT))


@pytest.mark.fault
def test_truncated_at_any_place_is_refused(stored_path):
    """A file cut short anywhere is refused in one line, never a traceback."""
    content = stored_path.read_bytes()
    for part in (0.0, 0.001, 0.3, 0.7, 0.99, 0.9999):
        stored_path.write_bytes(content[: int(len(content) * part)])
        with pytest.raises(FileRefusal, match=r"^hip\.npz: .*Measure the hip again"):
            load_hip(stored_path)


@pytest.mark.fault
def test_flipped_bytes_are_refused_or_harmless(stored_path):
    """A damaged byte is found by the archive's check sums; it never ends in a traceback."""
    content = bytearray(stored_path.read_bytes())
    generator = np.random.default_rng(7)
    refused = 0
    for place in generator.integers(0, len(content), 200):
        damaged = content.copy()
        damaged[place] ^= 0xFF
        stored_path.write_bytes(damaged)
        try:
            load_hip(stored_path)
        except FileRefusal:
            refused += 1
    assert refused > 150  # the rest hit bytes without meaning, such as time stamps


@pytest.mark.fault
@pytest.mark.parametrize(
    ("meta", "expected"),
    [
        ({"schema": "rimwright.hip-store/2"}, "hip.npz: of a newer version"),
        ({"schema": "other/1"}, "hip.npz: of another kind"),
        ({}, "hip.npz: of another kind"),
        ([1], "hip.npz: of another kind"),
        ({"schema": STORE_SCHEMA}, "hip.npz: not a whole hip file of this program"),
    ],
)
def test_foreign_and_newer_files(tmp_path, meta, expected):
    """Another kind and a newer version are refused before anything is believed."""
    path = tmp_path / "hip.npz"
    np.savez(path, meta=np.frombuffer(json.dumps(meta).encode(), dtype=np.uint8))
    with pytest.raises(FileRefusal) as caught:
        load_hip(path)
    assert str(caught.value).startswith(expected)


@pytest.mark.fault
def test_files_of_other_programs(tmp_path):
    """A folder, a text, a plain archive, a foreign npz and a pickle are refused."""
    with pytest.raises(FileRefusal, match="no such file"):
        load_hip(tmp_path / "none.npz")
    for name, write in {
        "text.npz": lambda path: path.write_text("hip"),
        "foreign.npz": lambda path: np.savez(path, a=np.zeros(3)),
        "pickle.npz": lambda path: np.savez(path, meta=np.array([{"a": 1}], dtype=object)),
        "zip.npz": lambda path: zipfile.ZipFile(path, "w").close(),
    }.items():
        write(tmp_path / name)
        with pytest.raises(FileRefusal, match=rf"^{name}: "):
            load_hip(tmp_path / name)


@pytest.mark.fault
def test_an_archive_that_unpacks_to_too_much(stored_path, monkeypatch):
    """A file that would fill the memory is refused before it is unpacked."""
    monkeypatch.setattr(store_module, "MAX_STORE_BYTES", 1000)
    with pytest.raises(FileRefusal, match="too large for a measured hip"):
        load_hip(stored_path)


@pytest.mark.fault
def test_a_failed_save_leaves_the_old_file(stored_path, monkeypatch):
    """A full disk leaves the old file as it was and nothing beside it."""
    before = stored_path.read_bytes()

    def full(file, **arrays):
        file.write(b"half")
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(store_module.np, "savez", full)
    with pytest.raises(FileRefusal, match="No space left on device"):
        save_hip(StoredHip(hip=made_hip(Side.LEFT)), stored_path)
    assert stored_path.read_bytes() == before
    assert [path.name for path in stored_path.parent.iterdir()] == ["hip.npz"]
