"""Zip archives: read like the folder they hold; tricks in them are refused before anything else."""

from __future__ import annotations

import io
import struct
import subprocess
import sys
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from imaging.scan.scan_slices import block, slices, write_series
from rimwright.errors import FileRefusal
from rimwright.imaging import list_series, read_volume

MAX_BYTES = 2 * 1024**3
"""What no input may take in memory."""


def archive(folder: Path, *, packing: int = zipfile.ZIP_DEFLATED) -> zipfile.ZipFile:
    """An archive of a sound series, still open."""
    made = zipfile.ZipFile(folder / "s.zip", "w", packing)
    for path in sorted(write_series(slices(block()), folder / "s").iterdir()):
        made.write(path, f"series/{path.name}")
    return made


@pytest.mark.parametrize("packing", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED])
def test_an_archive_is_read_like_its_folder(packing: int, tmp_path: Path) -> None:
    """Same values, same digest, same list; nothing is unpacked to disk."""
    with archive(tmp_path, packing=packing) as made:
        made.writestr("readme.txt", "for the viewer")
    before = sorted(tmp_path.iterdir())
    file, other = read_volume(tmp_path / "s.zip"), read_volume(tmp_path / "s")
    np.testing.assert_array_equal(file.volume.values, other.volume.values)
    assert file.digest == other.digest
    assert list_series(tmp_path / "s.zip") == list_series(tmp_path / "s")
    assert sorted(tmp_path.iterdir()) == before


def nested(made: zipfile.ZipFile) -> None:
    """An archive in it."""
    inner = io.BytesIO()
    with zipfile.ZipFile(inner, "w") as other:
        other.writestr("a", b"a")
    made.writestr("inner.zip", inner.getvalue())


def named(name: str) -> Callable[[zipfile.ZipFile], None]:
    """A member of a name."""

    def add(made: zipfile.ZipFile) -> None:
        info = zipfile.ZipInfo("x")
        info.filename = name
        made.writestr(info, b"x")

    return add


def link(made: zipfile.ZipFile) -> None:
    """A link to a file of the machine."""
    info = zipfile.ZipInfo("link")
    info.create_system = 3
    info.external_attr = 0o120777 << 16
    made.writestr(info, "/etc/passwd")


def bomb(made: zipfile.ZipFile) -> None:
    """Sixty megabytes of nothing."""
    made.writestr("zeros.dcm", bytes(60_000_000))


def many(made: zipfile.ZipFile) -> None:
    """More members than any study has."""
    for number in range(20_001):
        made.writestr(f"{number}", b"")


TRICKS = {
    "up": (named("../../evil.dcm"), "holds a path that leads out of the archive"),
    "up in the middle": (named("a/../../b"), "holds a path that leads out of the archive"),
    "absolute": (named("/etc/passwd"), "holds a path that leads out of the archive"),
    "drive": (named("C:\\evil.dcm"), "holds a path that leads out of the archive"),
    "backslash": (named("..\\evil.dcm"), "holds a path that leads out of the archive"),
    "link": (link, "holds a link"),
    "nested": (nested, "holds an archive in the archive"),
    "bomb": (bomb, "unpacks out of proportion (got 60,000,000 bytes from"),
    "many": (many, "holds too many files (got 20,009, need at most 20,000)"),
}


@pytest.mark.fault
@pytest.mark.parametrize("trick", TRICKS)
def test_tricks_are_refused_by_name(trick: str, tmp_path: Path) -> None:
    """A path that leads out, a link, an archive in the archive, a bomb, too many members."""
    add, sentence = TRICKS[trick]
    with archive(tmp_path) as made:
        add(made)
    with pytest.raises(FileRefusal) as caught:
        read_volume(tmp_path / "s.zip")
    assert sentence in str(caught.value)
    assert str(caught.value).startswith("s.zip: ")


@pytest.mark.fault
def test_an_encrypted_archive_is_refused(tmp_path: Path) -> None:
    """The flag of encryption in the directory of the archive is enough."""
    archive(tmp_path).close()
    data = bytearray((tmp_path / "s.zip").read_bytes())
    at = data.index(b"PK\x01\x02")
    data[at + 8] |= 1
    (tmp_path / "s.zip").write_bytes(bytes(data))
    with pytest.raises(FileRefusal, match=r"encrypted\. Unpack it with its password first"):
        read_volume(tmp_path / "s.zip")


@pytest.mark.fault
def test_members_that_share_their_bytes_are_refused(tmp_path: Path) -> None:
    """A directory that points to the same bytes over and over unpacks to more than it is."""
    with zipfile.ZipFile(tmp_path / "s.zip", "w") as made:
        made.writestr("a", bytes(np.random.default_rng(0).bytes(50_000)))
    data = (tmp_path / "s.zip").read_bytes()
    at = data.index(b"PK\x01\x02")
    end = data.index(b"PK\x05\x06")
    entry = data[at:end]
    entries = b"".join(entry.replace(b"a", bytes([97 + n]), 1) for n in range(20))
    tail = bytearray(data[end:])
    tail[8:20] = struct.pack("<HHII", 20, 20, len(entries), at)
    (tmp_path / "s.zip").write_bytes(data[:at] + entries + bytes(tail))
    with pytest.raises(FileRefusal, match=r"its members overlap|damaged or cut short"):
        read_volume(tmp_path / "s.zip")


@pytest.mark.fault
def test_an_empty_archive_holds_no_images(tmp_path: Path) -> None:
    """An archive, but of nothing."""
    zipfile.ZipFile(tmp_path / "s.zip", "w").close()
    with pytest.raises(FileRefusal, match="holds no DICOM images"):
        read_volume(tmp_path / "s.zip")


MEASURE = """
import resource, sys
from pathlib import Path
from rimwright.errors import Refusal
from rimwright.imaging import read_labels, read_volume
for name in sys.argv[1:]:
    for read in (read_volume, read_labels):
        try:
            read(Path(name))
            print("READ")
        except Refusal as refusal:
            print(refusal)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024)
"""


@pytest.mark.fault
def test_no_hostile_file_takes_two_gigabytes(tmp_path: Path) -> None:
    """The worst that can be declared or packed, in one process: its peak is measured."""
    paths = [str(path) for path in hostile(tmp_path)]
    run = subprocess.run(
        [sys.executable, "-W", "error", "-c", MEASURE, *paths],
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stderr[-2000:]
    assert not run.stderr
    *lines, peak = run.stdout.splitlines()
    assert len(lines) == 2 * len(paths)
    assert "READ" not in lines
    assert int(peak) < MAX_BYTES, f"{int(peak):,}"


def hostile(folder: Path) -> list[Path]:
    """Headers of giant volumes over little data, and streams that unpack to gigabytes."""
    import gzip
    import zlib

    import nibabel as nib
    from pydicom.uid import JPEG2000Lossless, JPEGLosslessSV1, JPEGLSLossless, RLELossless

    made: list[Path] = []

    def put(name: str, data: bytes) -> None:
        (folder / name).write_bytes(data)
        made.append(folder / name)

    for kind, n in ((np.uint8, 8), (np.int16, 9), (np.float32, 5), (np.float64, 40)):
        header = nib.Nifti1Header()
        header.set_data_dtype(kind)
        header["dim"][:4] = 3, 8000, 8000, n
        header["vox_offset"], header["sform_code"] = 352, 1
        header["srow_x"][0] = header["srow_y"][1] = header["srow_z"][2] = 1
        head = header.binaryblock.ljust(352, b"\0")
        put(f"{kind.__name__}.nii", head)
        put(f"{kind.__name__}.nii.gz", gzip.compress(head))
        if kind is np.int16:  # 1.2 GB of zeros, as declared, in 5 MB
            stream = zlib.compressobj(1, wbits=31)
            packed = stream.compress(head)
            for _ in range(n):
                packed += stream.compress(bytes(2 * 8000 * 8000))
            put("all.nii.gz", packed + stream.flush())
    fields = "NDims = 3\nDimSize = 8000 8000 6\nElementType = MET_UCHAR\nElementSpacing = 1 1 1\n"
    put("a.mha", (fields + "ElementDataFile = LOCAL\n").encode() + bytes(500))
    packed = zlib.compress(bytes(200_000_000), 1)
    text = fields + "CompressedData = True\nElementDataFile = LOCAL\n"
    put("b.mha", text.encode() + packed)
    text = "NRRD0004\ntype: double\ndimension: 3\nsizes: 8000 8000 1\nspacings: 1 1 1\n"
    put("a.nrrd", (text + "endian: little\nencoding: raw\n\n").encode() + bytes(500))
    put("b.nrrd", (text + "endian: little\nencoding: gzip\n\n").encode() + gzip.compress(b"1"))
    put("c.nrrd", (text + "encoding: ascii\n\n").encode() + b"1 " * 500)
    for syntax in (RLELossless, JPEGLSLossless, JPEG2000Lossless, JPEGLosslessSV1):
        datasets = slices(block())
        series = write_series(datasets, folder / syntax, syntax=syntax)
        for path in series.iterdir():
            data = path.read_bytes()
            for tag in (b"\x28\x00\x10\x00US\x02\x00", b"\x28\x00\x11\x00US\x02\x00"):
                at = data.index(tag) + len(tag)
                data = data[:at] + struct.pack("<H", 8192) + data[at + 2 :]
            path.write_bytes(data)
        made.append(series)
    series = write_series(slices(block()), folder / "deflated")
    zeros = bytes(32 * 1024**2)
    for path in series.iterdir():
        data = path.read_bytes().replace(b"1.2.840.10008.1.2.1\0", b"1.2.840.10008.1.2.1.99")
        data = data.replace(b"\x10\x00UI\x14\x00", b"\x10\x00UI\x16\x00", 1)
        start = data.index(b"\x08\x00\x08\x00CS")
        stream = zlib.compressobj(1, wbits=-15)
        packed = stream.compress(data[start : start + 800]) + stream.compress(zeros)
        path.write_bytes(data[:start] + packed + stream.flush())
    made.append(series)
    return made
