"""Writes a recording as it is made; readable even if the program is killed.

FLAC, because each frame can be read on its own: after a power cut, the file can be read to the last
whole frame (RFC 9639, section 9). `repair_recording` fixes such a file. Lost samples are written as
silence, so times stay correct.
"""

from __future__ import annotations

import os
import shutil
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType

import numpy as np

from walkboard.capture.flac_frames import (
    Bytes,
    Frame,
    find_headers,
    silent_frame,
    stream_info,
    whole_frames,
)
from walkboard.capture.source import Block
from walkboard.errors import InputError, SoundError

_SYNC_S = 1.0
_LONGEST_GAP_S = 60.0
# RFC 9639, 8.2: "fLaC", a block header of 4 bytes, then STREAMINFO; rate, channels, bits and the
# count of samples are the 8 bytes from its byte 10.
HEADER_BYTES = 4 + 4 + 34
DAMAGED = ".damaged"  # suffix of the original when a file had to be rewritten
_PACKED_AT = 4 + 4 + 10
_LONGEST_LOSS_S = 3600.0  # between two whole frames; more means a false frame number. Chosen.


class Recorder:
    """Writes blocks to a FLAC file.

    Parameters
    ----------
    path : Path
        A new file.
    sample_rate, channels : int
        Sample rate of the source; at most 8 channels and 655 350 Hz (RFC 9639).

    Raises
    ------
    InputError
        If the file already exists or cannot be written.
    """

    def __init__(self, path: Path, sample_rate: int, channels: int) -> None:
        import soundfile  # noqa: PLC0415 - loads a library that most commands do not need

        if path.exists():
            raise InputError("That file already exists.", where=str(path), fix="Name another.")
        self.path = path
        self._rate = sample_rate
        self._channels = channels
        self._unsynced = 0
        self.seconds = 0.0
        try:
            self._file = soundfile.SoundFile(
                str(path), "w", sample_rate, channels, "PCM_24", format="FLAC"
            )
            # Unique, so that two takes of silence have different hashes.
            self._file.comment = path.stem
        except (soundfile.LibsndfileError, OSError) as error:
            raise InputError(
                f"The recording cannot be written: {error}.", where=str(path)
            ) from None

    def take(self, block: Block) -> None:
        """Write a block, preceded by silence for lost samples.

        Raises
        ------
        InputError
            If the disk is full; what is written stays.
        """
        samples = np.clip(np.nan_to_num(block.samples), -1.0, 1.0 - 2.0**-23)
        gap = min(block.lost, int(_LONGEST_GAP_S * self._rate))
        try:
            if gap:
                self._file.write(np.zeros((gap, self._channels), dtype=np.float32))
            self._file.write(samples)
            self._unsynced += gap + len(samples)
            if self._unsynced >= _SYNC_S * self._rate:
                self._file.flush()
                self._unsynced = 0
        except (RuntimeError, OSError) as error:
            raise InputError(
                f"The recording cannot continue: {error}.",
                where=str(self.path),
                fix="Free some space on the disk; what was recorded so far is safe.",
            ) from None
        self.seconds += (gap + len(samples)) / self._rate

    def close(self) -> None:
        """Finish the file."""
        self._file.close()

    def __enter__(self) -> Recorder:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


@dataclass(frozen=True, slots=True)
class Repaired:
    """A recording of a session that ended, however it ended.

    Attributes
    ----------
    seconds : float
    sample_rate, channels : int
    lost_s : float
        Damaged sound replaced by silence [s]; times stay correct.
    aside : Path or None
        The original file, if it had to be rewritten.
    """

    seconds: float
    sample_rate: int
    channels: int
    lost_s: float = 0.0
    aside: Path | None = None


def repair_recording(path: Path) -> Repaired:
    """Repair a recording whose writer was killed, or whose header is damaged.

    After a kill only the header's sample count is missing: it is filled in. If the header disagrees
    with the frames, the file is rewritten from the valid frames, with silence for the others, and
    the damaged one is kept beside it. An intact recording is left unchanged.

    Parameters
    ----------
    path : Path
        Written by `Recorder`.

    Raises
    ------
    SoundError
        If it has no whole frame.
    InputError
        When the file cannot be read or written.
    """
    try:
        data = np.fromfile(path, np.uint8)
        headers = find_headers(data) if len(data) > HEADER_BYTES else []
        if not headers:
            raise SoundError("The recording has no whole frame.", where=str(path))
        known = _whole_as_it_is(data, headers)
        if known is not None:
            return known
        frames = whole_frames(data, headers)
        if not frames:
            raise SoundError("The recording has no whole frame.", where=str(path))
        return _write_anew(path, data, frames)
    except OSError as error:
        raise InputError(
            f"The recording cannot be repaired: {error.strerror or error}.", where=str(path)
        ) from None


def _whole_as_it_is(data: Bytes, headers: Sequence[Frame]) -> Repaired | None:
    """The state of a file whose header agrees with its frames; None for any other."""
    head = data[:HEADER_BYTES].tobytes()
    packed = int.from_bytes(head[_PACKED_AT : _PACKED_AT + 8], "big")
    rate, channels, bits = packed >> 44, (packed >> 41 & 0x07) + 1, (packed >> 36 & 0x1F) + 1
    count = packed & (1 << 36) - 1
    first, last = headers[0], headers[-1]
    said = (rate, channels, bits)
    blocks = [int.from_bytes(head[n : n + 2], "big") for n in (8, 10)]  # smallest and largest
    is_said = all(a in {b, 0} for a, b in zip(first.kind, said, strict=True))
    is_whole = head[:4] == b"fLaC" and head[4] & 0x7F == 0 and head[5:8] == b"\x00\x00\x22"
    if not (min(blocks) == max(blocks) and blocks[0] >= first.samples):
        return None
    if not (is_said and is_whole and [f.number for f in headers] == list(range(len(headers)))):
        return None
    if count != last.number * first.samples + last.samples:
        return None
    return Repaired(count / rate, rate, channels)


def _write_anew(path: Path, data: Bytes, frames: Sequence[tuple[Frame, int]]) -> Repaired:
    like = frames[0][0]
    if not (like.rate_hz and like.bits):
        raise SoundError("Its frames do not say their sample rate or size.", where=str(path))
    block = Counter(frame.samples for frame, _ in frames).most_common(1)[0][0]
    most_lost = int(_LONGEST_LOSS_S * like.rate_hz / block)
    pieces: list[bytes | Bytes] = []
    number = lost = samples = 0
    for frame, end in frames:
        missing = frame.number - number
        if not 0 <= missing <= most_lost:
            continue  # a number that does not belong here
        pieces += [silent_frame(like, number + n, block) for n in range(missing)]
        pieces.append(data[frame.at : end])
        lost += missing * block
        samples += missing * block + frame.samples
        number = frame.number + 1
    part, aside = path.with_suffix(".part"), path.with_suffix(DAMAGED)
    with part.open("wb") as stream:
        stream.write(stream_info(like, block, samples))
        for piece in pieces:
            stream.write(piece if isinstance(piece, bytes) else piece.tobytes())
        stream.flush()
        os.fsync(stream.fileno())
    is_only_unfinished = not lost and _count_in(data) == 0 and data[:4].tobytes() == b"fLaC"
    if not is_only_unfinished:
        shutil.copyfile(path, aside)  # a kill here must leave the recording
    part.replace(path)
    return Repaired(
        samples / like.rate_hz,
        like.rate_hz,
        like.channels,
        lost / like.rate_hz,
        None if is_only_unfinished else aside,
    )


def _count_in(data: Bytes) -> int:
    packed = int.from_bytes(data[_PACKED_AT : _PACKED_AT + 8].tobytes(), "big")
    return packed & (1 << 36) - 1
