"""FLAC frames found in damaged files: each has its own header, number and check sums (RFC 9639, 9).

Nothing here needs the file's own header, which is where a cut or a flipped bit does most harm.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Bytes: TypeAlias = NDArray[np.uint8]

# RFC 9639, 9.1.2 to 9.1.4: the codes of sample rate and sample size.
_RATES_HZ = (0, 88_200, 176_400, 192_000, 8_000, 16_000, 22_050, 24_000, 32_000, 44_100, 48_000,
             96_000)  # fmt: skip
_BITS = (0, 8, 12, 0, 16, 20, 24, 32)
_LONGEST_HEADER = 16  # bytes: 4, a number of 7, size of 2, rate of 2, and the sum
_LONGEST_FRAME = 1 << 20  # bytes; 8 channels of 16,384 samples of 24 bit are well below. Chosen.
_TRIES = 4  # headers that may be false, inside a frame, before its end is found. Chosen.
_SIDE_BY_SIDE = 40  # frames; fewer are faster one by one. Derived: 4 us a column, 0.1 us a byte.
_BATCH = 1024  # frames whose check sums are calculated together. Chosen for memory.


@dataclass(frozen=True, slots=True)
class Frame:
    """The header of one frame.

    Attributes
    ----------
    at : int
        Its position in the file [byte].
    number : int
        Number of the frame, from 0.
    samples : int
        Samples of each channel.
    rate_hz : int
        0 if only the file's header gives it.
    channels, bits : int
        `bits` as `rate_hz`.
    """

    at: int
    number: int
    samples: int
    rate_hz: int
    channels: int
    bits: int

    @property
    def kind(self) -> tuple[int, int, int]:
        """What all frames of a file have in common."""
        return self.rate_hz, self.channels, self.bits


def find_headers(data: Bytes) -> list[Frame]:
    """Every frame header of fixed block size whose check sum is right, in the order of the file.

    Only those of the commonest kind: a few bytes of sound may look like a header by chance.

    Parameters
    ----------
    data : array of uint8
        The whole file.
    """
    at = np.flatnonzero((data[:-1] == 0xFF) & (data[1:] == 0xF8))
    found = [frame for place in at.tolist() if (frame := _header_at(data, place)) is not None]
    if not found:
        return []
    (kind, _), *_ = Counter(frame.kind for frame in found).most_common(1)
    return [frame for frame in found if frame.kind == kind]


def whole_frames(data: Bytes, headers: Sequence[Frame]) -> list[tuple[Frame, int]]:
    """The frames with correct check sums, each with its end [byte].

    Parameters
    ----------
    data : array of uint8
    headers : sequence of Frame
        From `find_headers`.
    """
    places = [frame.at for frame in headers] + [len(data)]
    spans = list(pairwise(places))
    right = _sums_are_right(data, spans)
    whole: list[tuple[Frame, int]] = []
    busy_to = 0
    for n, frame in enumerate(headers):
        if frame.at < busy_to:
            continue  # a false header inside a valid frame
        ends = places[n + 1 : n + 1 + _TRIES]
        for step, end in enumerate(ends):
            is_right = right[n] if step == 0 else _sums_are_right(data, [(frame.at, end)])[0]
            if is_right:
                whole.append((frame, end))
                busy_to = end
                break
    return whole


def silent_frame(like: Frame, number: int, samples: int) -> bytes:
    """A frame of silence, to replace a lost one.

    Parameters
    ----------
    like : Frame
        A frame of the same file.
    number : int
    samples : int
        Samples of each channel.
    """
    rate_code = _RATES_HZ.index(like.rate_hz) if like.rate_hz in _RATES_HZ else 14
    head = bytes((0xFF, 0xF8, 0x70 | rate_code, (like.channels - 1) << 4 | _bits_code(like.bits)))
    head += _coded(number) + (samples - 1).to_bytes(2, "big")
    if rate_code == 14:
        head += (like.rate_hz // 10).to_bytes(2, "big")
    head += bytes((_crc8(head),))
    # A constant subframe (9.2.1) of value 0 for each channel: 8 bits of type, then one sample.
    body = bytes((like.channels * (8 + like.bits) + 7) // 8)
    frame = head + body
    return frame + _crc16(frame).to_bytes(2, "big")


def stream_info(like: Frame, block: int, samples: int) -> bytes:
    """The start of a file: its mark and STREAMINFO, the last metadata block (8.2).

    Parameters
    ----------
    like : Frame
        Any of the file's.
    block : int
        Samples of a whole frame.
    samples : int
        Samples of each channel, in all.
    """
    packed = (
        like.rate_hz << 44 | (like.channels - 1) << 41 | (like.bits - 1) << 36 | samples
    ).to_bytes(8, "big")
    sizes = block.to_bytes(2, "big") * 2 + bytes(6)  # frame sizes 0: not known
    return b"fLaC" + b"\x80\x00\x00\x22" + sizes + packed + bytes(16)  # no MD5: not known


def _bits_code(bits: int) -> int:
    return _BITS.index(bits) << 1


def _header_at(data: Bytes, at: int) -> Frame | None:
    head = data[at : at + _LONGEST_HEADER].tobytes()
    if len(head) < 6:
        return None
    size_code, rate_code = head[2] >> 4, head[2] & 0x0F
    assignment, bits_code = head[3] >> 4, head[3] >> 1 & 0x07
    if size_code == 0 or rate_code == 15 or assignment > 10 or bits_code == 3 or head[3] & 1:
        return None
    number, place = _number_in(head)
    if number is None:
        return None
    if size_code in {6, 7}:
        wide = size_code - 5
        samples = int.from_bytes(head[place : place + wide], "big") + 1
        place += wide
    else:
        samples = 192 if size_code == 1 else 144 << size_code if size_code < 6 else 1 << size_code
    rate_hz = _RATES_HZ[rate_code] if rate_code < 12 else 0
    if rate_code == 12:
        rate_hz = 1000 * head[place] if place < len(head) else 0
        place += 1
    elif rate_code in {13, 14}:
        rate_hz = int.from_bytes(head[place : place + 2], "big") * (1 if rate_code == 13 else 10)
        place += 2
    if place >= len(head) or _crc8(head[:place]) != head[place]:
        return None
    channels = assignment + 1 if assignment < 8 else 2
    return Frame(at, number, samples, rate_hz, channels, _BITS[bits_code])


def _number_in(head: bytes) -> tuple[int | None, int]:
    """The frame's number, encoded like a character in UTF-8, and where it ends (9.1.5)."""
    first = head[4]
    if first < 0x80:
        return first, 5
    more = 0
    while more < 7 and first & 0x80 >> more:
        more += 1
    if more < 2 or len(head) < 4 + more:
        return None, 0
    number = first & (0x7F >> more)
    for byte in head[5 : 4 + more]:
        if byte >> 6 != 0b10:
            return None, 0
        number = number << 6 | byte & 0x3F
    return number, 4 + more


def _coded(number: int) -> bytes:
    if number < 0x80:
        return bytes((number,))
    more = 1
    while number >> (6 * more) >= 1 << (6 - more):
        more += 1
    first = (0xFF << (7 - more) & 0xFF) | number >> (6 * more)
    return bytes((first, *(0x80 | number >> (6 * n) & 0x3F for n in range(more - 1, -1, -1))))


def _table(polynomial: int, wide: int) -> NDArray[np.uint16]:
    top, mask = 1 << (wide - 1), (1 << wide) - 1
    table = np.zeros(256, np.uint16)
    for byte in range(256):
        crc = byte << (wide - 8)
        for _ in range(8):
            crc = (crc << 1 ^ polynomial if crc & top else crc << 1) & mask
        table[byte] = crc
    return table


_CRC8 = _table(0x07, 8)  # RFC 9639, 9.1.8: x^8 + x^2 + x + 1
_CRC16 = _table(0x8005, 16)  # RFC 9639, 9.3: x^16 + x^15 + x^2 + 1
_CRC16_NUMBERS = tuple(_CRC16.tolist())  # the same as numbers, for one byte after the other


def _crc8(data: bytes) -> int:
    crc = 0
    for byte in data:
        crc = int(_CRC8[crc ^ byte])
    return crc


def _crc16(data: bytes) -> int:
    table, crc = _CRC16_NUMBERS, 0
    for byte in data:
        crc = (crc << 8 & 0xFFFF) ^ table[crc >> 8 ^ byte]
    return crc


def _sums_are_right(data: Bytes, spans: Sequence[tuple[int, int]]) -> list[bool]:
    """Whether each span is a frame that ends in its correct check sum."""
    right: list[bool] = []
    for batch in _batches(spans):
        if len(batch) < _SIDE_BY_SIDE:
            right += [at < end and _crc16(data[at:end].tobytes()) == 0 for at, end in batch]
            continue
        longest = max((end - at for at, end in batch), default=0)
        # Leading zeros do not change the sum, because it starts at zero: so all frames of a batch
        # are calculated side by side, one column at a time.
        columns = np.zeros((longest, len(batch)), np.uint8)
        for n, (at, end) in enumerate(batch):
            if 0 < end - at <= _LONGEST_FRAME:
                columns[longest - (end - at) :, n] = data[at:end]
        crc = np.zeros(len(batch), np.uint16)
        for column in columns:
            crc = (crc << np.uint16(8)) ^ _CRC16[(crc >> np.uint16(8)) ^ column]
        sizes = [end - at for at, end in batch]
        # The sum over a frame including its check sum is zero.
        right += [
            0 < size <= _LONGEST_FRAME and value == 0
            for size, value in zip(sizes, crc.tolist(), strict=True)
        ]
    return right


def _batches(spans: Sequence[tuple[int, int]]) -> Iterator[list[tuple[int, int]]]:
    """Spans in batches; those too long for a frame are cut to nothing."""
    usable = [(at, end if end - at <= _LONGEST_FRAME else at) for at, end in spans]
    for n in range(0, len(usable), _BATCH):
        yield usable[n : n + _BATCH]
