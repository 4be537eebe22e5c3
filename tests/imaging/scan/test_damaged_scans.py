"""Damaged scans: one clear line or a sound volume, never another exception, never the person."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from imaging.scan.scan_files import Files, sound_files
from imaging.scan.scan_slices import SECRET
from imaging.test_damaged_files import cut, flip, lose, repeat, reword, scribble
from rimwright.errors import Refusal
from rimwright.imaging import list_series, read_labels, read_volume

pytestmark = pytest.mark.fault
Damage = Callable[[bytes, np.random.Generator], bytes]
N_EACH = 6
"""Damaged copies for each kind of file and of damage: 18 kinds × 8 ways × 6 = 864 inputs."""
HEAD_BYTES = 1200
"""Where the headers of the small files here stand."""


def flip_head(data: bytes, rng: np.random.Generator) -> bytes:
    """Some bits of the header are wrong."""
    return flip(data[:HEAD_BYTES], rng) + data[HEAD_BYTES:]


def shuffle(data: bytes, rng: np.random.Generator) -> bytes:
    """Stretches of the header have changed places, as tags out of order do."""
    ends = np.sort(rng.integers(132, min(len(data), HEAD_BYTES), 4))
    parts = [data[a:b] for a, b in zip([132, *ends], [*ends, len(data)], strict=True)]
    middle = [parts[i] for i in rng.permutation(np.arange(len(parts) - 1))]
    return data[:132] + b"".join(middle) + parts[-1]


DAMAGES: tuple[Damage, ...] = (cut, flip, flip_head, scribble, lose, repeat, reword, shuffle)
KINDS = (
    "implicit", "explicit", "big-endian", "deflated", "RLE", "JPEG lossless", "JPEG lossless SV1",
    "JPEG-LS", "JPEG 2000", "enhanced", "segmentation", "a.mha", "p.mha", "a.nrrd", "p.nrrd",
    "a.nii", "p.nii.gz", "zip",
)  # fmt: skip


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Files]:
    """Sound files, written once."""
    return sound_files(tmp_path_factory.mktemp("sound"))


def write(files: Files, folder: Path) -> Path:
    """A folder of slices, or the one file."""
    folder.mkdir()
    for name, data in files.items():
        (folder / name).write_bytes(data)
    return folder if len(files) > 1 else folder / next(iter(files))


def check_line(refusal: Refusal) -> None:
    """One line: where, what is wrong, what to do; nothing of the person."""
    line = str(refusal)
    assert "\n" not in line
    assert line.isprintable()
    assert len(line) < 1500
    assert SECRET.lower() not in line.lower()
    assert line.count(": ") >= 1
    assert line.endswith(".")
    foreseen = "cannot be understood" not in line
    assert foreseen, line


def outcome(path: Path, *, labels: bool) -> bool:
    """Whether it was read; a refusal is checked on the way."""
    try:
        grid = read_labels(path).labels if labels else read_volume(path).volume
    except Refusal as refusal:
        check_line(refusal)
        return False
    assert np.isfinite(grid.affine).all()
    assert np.isfinite(grid.values).all()
    return True


def test_what_is_damaged_here_is_sound_to_begin_with(
    sound: dict[str, Files], tmp_path: Path
) -> None:
    """Every kind is read before it is damaged, or its damage proves nothing."""
    assert set(sound) == set(KINDS)
    for kind, files in sound.items():
        path = write(files, tmp_path / kind.replace("/", "-"))
        assert outcome(path, labels=kind == "segmentation"), kind


@pytest.mark.parametrize("damage", DAMAGES, ids=lambda d: d.__name__)
@pytest.mark.parametrize("kind", KINDS)
def test_damage_is_survived_or_refused_in_one_line(
    kind: str, damage: Damage, sound: dict[str, Files], tmp_path: Path
) -> None:
    """Whatever is damaged: a volume, or a refusal that a reader foresaw; the list never fails."""
    rng = np.random.default_rng(1000 * KINDS.index(kind) + DAMAGES.index(damage))
    for number in range(N_EACH):
        files = dict(sound[kind])
        hurt = list(files) if number % 3 == 2 else [list(files)[rng.integers(len(files))]]
        for name in hurt:
            files[name] = damage(files[name], rng)
        path = write(files, tmp_path / str(number))
        outcome(path, labels=kind == "segmentation")
        if kind != "segmentation":
            try:
                facts = list_series(path)
            except Refusal as refusal:
                check_line(refusal)
            else:
                assert facts
                assert SECRET.lower() not in repr(facts).lower()


@pytest.mark.parametrize("kind", ["a.nii", "a.mha", "a.nrrd", "enhanced", "segmentation"])
def test_no_cut_of_a_single_file_is_read(
    kind: str, sound: dict[str, Files], tmp_path: Path
) -> None:
    """A file that ends too early, wherever it does, is refused."""
    ((name, data),) = sound[kind].items()
    ends = np.unique(np.linspace(0, len(data) - 2, 40).astype(int))
    for number, end in enumerate(ends.tolist()):
        path = write({name: data[:end]}, tmp_path / str(number))
        assert not outcome(path, labels=kind == "segmentation"), end


def test_a_cut_slice_is_not_filled_up(sound: dict[str, Files], tmp_path: Path) -> None:
    """One slice of six cut anywhere: refused, or told as left out; never read in part."""
    files = sound["explicit"]
    name = list(files)[2]
    for number, end in enumerate(range(0, len(files[name]) - 1, 97)):
        path = write(files | {name: files[name][:end]}, tmp_path / str(number))
        assert not outcome(path, labels=False)


def test_missing_pixels_are_named(sound: dict[str, Files], tmp_path: Path) -> None:
    """The sentence says which slice ends too early."""
    files = sound["explicit"]
    name = sorted(files)[2]  # names are shuffled as write_series does: image10 is the third slice
    path = write(files | {name: files[name][:-100]}, tmp_path / "s")
    with pytest.raises(Refusal) as caught:
        read_volume(path)
    assert "its pixels are cut short (slice 3 of 6)" in str(caught.value)


def test_bytes_of_nothing_are_refused(tmp_path: Path) -> None:
    """Noise, zeros, and the first bytes of each kind alone."""
    rng = np.random.default_rng(9)
    marks = [
        b"", b"\0", bytes(200), bytes(128) + b"DICM", b"NRRD0004\n", b"NRRD0004\n\n",
        b"NDims = 3\n", b"ObjectType = Image\n", b"PK\x03\x04", b"PK\x05\x06" + bytes(18),
        b"\x1f\x8b", b"\x5c\x01\0\0", bytes(344) + b"n+1\0", bytes(344) + b"ni1\0",
        b"\x08\0\x05\0" + bytes(300),
    ]  # fmt: skip
    for number, mark in enumerate([*marks, *(mark + rng.bytes(900) for mark in marks)]):
        for labels in (False, True):
            path = tmp_path / f"{number}-{labels}"
            path.write_bytes(mark)
            assert not outcome(path, labels=labels), mark[:20]
