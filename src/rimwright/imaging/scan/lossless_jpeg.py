"""The segments of a lossless JPEG image, checked before its decoder sees them.

The decoder ends the whole process over a header that it does not expect, so nothing is handed to
it that is not, segment by segment, what the standard has. Source: ITU-T T.81, annexes B, C and H.
"""

from __future__ import annotations

from itertools import accumulate

_SOF_LOSSLESS, _DHT, _SOS, _EOI, _DRI = 0xC3, 0xC4, 0xDA, 0xD9, 0xDD
_PASSED_OVER = {*range(0xE0, 0xF0), 0xFE}
"""Application data and comments."""
_MOST_DIFFERENCE_BITS = 16


def is_sound_jpeg(frame: bytes) -> bool:
    """
    Whether the segments of a lossless JPEG image of one colour are whole and agree.

    Parameters
    ----------
    frame
        From its start mark to its end mark; what follows is passed over.

    Returns
    -------
    bool
        False where a segment is missing, twice, out of order or damaged.
    """
    position, tables, has_size = 2, set[int](), False
    while position + 4 <= len(frame) and frame[position] == 0xFF:
        mark = frame[position + 1]
        if mark == 0xFF:
            position += 1
            continue
        length = int.from_bytes(frame[position + 2 : position + 4], "big")
        body = frame[position + 4 : position + 2 + length]
        if length < 2 or len(body) != length - 2:
            return False
        position += 2 + length
        if mark == _SOF_LOSSLESS:
            if has_size or not _is_sound_size(body):
                return False
            has_size = True
        elif mark == _DHT:
            found = _tables_of(body)
            if found is None:
                return False
            tables |= found
        elif mark == _SOS:
            return has_size and _is_sound_scan(body, tables) and _is_sound_data(frame, position)
        elif mark not in _PASSED_OVER and not (mark == _DRI and body == b"\0\0"):
            return False
    return False


def _is_sound_size(body: bytes) -> bool:
    """Precision of 2 to 16 bits, one colour, not subsampled."""
    return len(body) == 9 and 2 <= body[0] <= 16 and body[5] == 1 and body[7:] == b"\x11\0"


def _tables_of(body: bytes) -> set[int] | None:
    """Numbers of the Huffman tables of a segment; None where one is damaged."""
    found: set[int] = set()
    while body:
        counts = body[1:17]
        n_values = sum(counts)
        values = body[17 : 17 + n_values]
        if len(counts) < 16 or not 0 < n_values <= len(values) or body[0] > 3:
            return None
        # codes of each length take their share; more codes than fit cannot be told apart
        room = list(accumulate(counts, lambda left, n: 2 * left - n, initial=1))
        if min(room) < 0 or max(values) > _MOST_DIFFERENCE_BITS:
            return None
        if len(set(values)) != n_values:
            return None
        found.add(body[0])
        body = body[17 + n_values :]
    return found or None


def _is_sound_scan(body: bytes, tables: set[int]) -> bool:
    """One colour by a table that stands before, a known predictor, no shift of the numbers."""
    if len(body) != 6 or body[0] != 1:
        return False
    predictor, end, shift = body[3:]
    is_known = 1 <= predictor <= 7 and end == 0 and shift == 0
    return is_known and body[2] >> 4 in tables and body[2] & 15 == 0


def _is_sound_data(frame: bytes, position: int) -> bool:
    """Packed numbers in which no mark stands but the end."""
    position = frame.find(b"\xff", position)
    while 0 <= position < len(frame) - 1:
        mark = frame[position + 1]
        if mark == _EOI:
            return True
        if mark != 0:
            return False
        position = frame.find(b"\xff", position + 2)
    return False
