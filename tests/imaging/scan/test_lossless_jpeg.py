"""Segments of a lossless JPEG are checked before a decoder that would end the process over them."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydicom import dcmread
from pydicom.encaps import generate_frames

from imaging.scan.scan_slices import COLUMNS, ROWS, SYNTAXES, block, save, slices
from rimwright.imaging.scan.damage import Unfit
from rimwright.imaging.scan.decoding import decode_frame
from rimwright.imaging.scan.lossless_jpeg import is_sound_jpeg
from rimwright.imaging.scan.pixel_layout import PixelLayout

pytestmark = pytest.mark.fault


@pytest.fixture(scope="module", params=["JPEG lossless", "JPEG lossless SV1"])
def frame(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """One slice packed by gdcm."""
    path = tmp_path_factory.mktemp("jpeg") / "a.dcm"
    save(slices(block(n=1))[0], path, SYNTAXES[request.param])
    return next(generate_frames(dcmread(path).PixelData, number_of_frames=1))


def test_a_sound_image_is_sound(frame: bytes) -> None:
    """As packed, with comments, with filled marks, and with bytes behind the end."""
    assert is_sound_jpeg(frame)
    assert is_sound_jpeg(frame[:2] + b"\xff\xfe\x00\x05abc" + frame[2:])
    assert is_sound_jpeg(frame[:2] + b"\xff" + frame[2:])
    assert is_sound_jpeg(frame + bytes(7))


@pytest.mark.parametrize(
    ("mark", "offset", "value"),
    [
        (0xC3, 1, 0xC0),  # another process
        (0xC3, 4, 17),  # more bits than there are
        (0xC3, 9, 3),  # three colours
        (0xC4, 0, 0xFD),  # a mark that is none: this one ended the process
        (0xC4, 1, 0xFE),  # no table
        (0xC4, 2, 0x70),  # a segment longer than the file
        (0xC4, 5, 3),  # more codes of one bit than there are
        (0xDA, 4, 2),  # two colours
        (0xDA, 6, 0x10),  # a table that does not stand before
        (0xDA, 7, 9),  # a predictor that there is none
        (0xDA, 1, 0xD9),  # an end before the numbers
        (0xD9, 1, 0xC4),  # a mark instead of the end
    ],
)
def test_a_damaged_segment_is_found(mark: int, offset: int, value: int, frame: bytes) -> None:
    """One byte of a segment changed: no longer sound."""
    at = frame.index(bytes([0xFF, mark])) + offset
    assert frame[at] != value
    assert not is_sound_jpeg(frame[:at] + bytes([value]) + frame[at + 1 :])


def test_numbers_that_a_decoder_fills_up_are_refused(frame: bytes) -> None:
    """Behind sound segments lost numbers show only in what the decoder writes to its stream."""
    layout = PixelLayout(
        rows=ROWS,
        columns=COLUMNS,
        n_frames=1,
        bits_allocated=16,
        bits_stored=16,
        high_bit=15,
        is_signed=False,
        padding=None,
    )
    # the syntax of the general process: the decoder reads either packing by it
    syntax = str(SYNTAXES["JPEG lossless"])
    assert decode_frame(frame, syntax=syntax, layout=layout).shape == (ROWS, COLUMNS)
    middle = len(frame) // 2
    damaged = frame[:middle] + frame[middle + 400 :]
    assert is_sound_jpeg(damaged)
    with pytest.raises(Unfit, match="the decoder complains"):
        decode_frame(damaged, syntax=syntax, layout=layout)


def test_no_cut_is_sound(frame: bytes) -> None:
    """Whatever is missing at the end is missed."""
    end = frame.rindex(b"\xff\xd9") + 2
    assert not any(is_sound_jpeg(frame[:n]) for n in range(0, end - 1, 7))


@pytest.mark.parametrize("packing", ["JPEG lossless", "JPEG lossless SV1", "JPEG-LS", "JPEG 2000"])
def test_another_size_than_the_header_says_is_refused(packing: str, tmp_path: Path) -> None:
    """The size that packed pixels state is compared before memory is set aside for it."""
    path = save(slices(block(n=1))[0], tmp_path / "a.dcm", SYNTAXES[packing])
    (packed,) = generate_frames(dcmread(path).PixelData, number_of_frames=1)
    layout = PixelLayout(
        rows=ROWS + 2,
        columns=COLUMNS,
        n_frames=1,
        bits_allocated=16,
        bits_stored=16,
        high_bit=15,
        is_signed=False,
        padding=None,
    )
    with pytest.raises(Unfit) as caught:
        decode_frame(packed, syntax=str(SYNTAXES[packing]), layout=layout)
    assert caught.value.reason == (
        "its packed pixels are of another size than the header says (got 37×41 with 1 colours, "
        "need 37×43 with 1)"
    )
