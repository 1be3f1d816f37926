"""A recording written as it comes, and whole after a kill.

FLAC, because its frames stand by themselves: what is on the disk when the power goes can be read to
the last whole frame (RFC 9639, section 9). Only the header's count of samples is missing then;
`mend_recording` puts it in. Samples lost on the way are written as silence, so times stay true.
"""

from __future__ import annotations

import os
from pathlib import Path
from types import TracebackType

import numpy as np

from walkboard.capture.source import Block
from walkboard.errors import InputError, SoundError

_SYNC_S = 1.0
_LONGEST_GAP_S = 60.0
# RFC 9639, 8.2: "fLaC", a block header of 4 bytes, then STREAMINFO; the 36 bits of the count of
# samples begin in the middle of its byte 13.
_COUNT_AT = 4 + 4 + 13
_HEADER_BYTES = 4 + 4 + 34


class Recorder:
    """Writes blocks to a FLAC file.

    Parameters
    ----------
    path : Path
        A new file.
    sample_rate, channels : int
        Of the source; at most 8 channels and 655 350 Hz (RFC 9639).

    Raises
    ------
    InputError
        When the file is there already or cannot be written.
    """

    def __init__(self, path: Path, sample_rate: int, channels: int) -> None:
        import soundfile  # noqa: PLC0415 - loads a library that most commands do not need

        if path.exists():
            raise InputError("That file already exists.", where=str(path), mend="Name another.")
        self.path = path
        self._rate = sample_rate
        self._channels = channels
        self._unsynced = 0
        self.seconds = 0.0
        try:
            self._file = soundfile.SoundFile(
                str(path), "w", sample_rate, channels, "PCM_24", format="FLAC"
            )
            # Of its own, so that two takes of silence are two recordings where contents are hashed.
            self._file.comment = path.stem
        except (soundfile.LibsndfileError, OSError) as error:
            raise InputError(
                f"The recording cannot be written: {error}.", where=str(path)
            ) from None

    def take(self, block: Block) -> None:
        """Write a block, and silence for what was lost before it.

        Raises
        ------
        InputError
            When the disk takes no more; what is written stays.
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
                f"The recording cannot go on: {error}.",
                where=str(self.path),
                mend="Free some space on the disk; what was recorded so far is kept.",
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


def mend_recording(path: Path) -> float:
    """Put the count of samples into a recording whose writer was killed; gives its seconds.

    A recording that is whole is left as it is.

    Raises
    ------
    SoundError
        When it is no FLAC recording or holds no whole frame.
    InputError
        When the file cannot be read or written.
    """
    from walkboard.listening.sound.recording import open_sound  # noqa: PLC0415 - decoders load late

    try:
        with path.open("rb") as stream:
            head = stream.read(_HEADER_BYTES)
            if len(head) < _HEADER_BYTES or head[:4] != b"fLaC":
                raise SoundError("This is no FLAC recording.", where=str(path))
            stream.seek(0)
            sound = open_sound(stream, path.name)
            rate = sound.info.sample_rate
            known = _count_in(head)
            if known:
                return known / rate
            count = sum(len(block) for block in sound.blocks())
        if not count:
            raise SoundError("The recording holds no whole frame.", where=str(path))
        field = bytearray(head[_COUNT_AT : _COUNT_AT + 5])
        field[0] = (field[0] & 0xF0) | (count >> 32)
        field[1:] = (count & 0xFFFFFFFF).to_bytes(4, "big")
        with path.open("rb+") as stream:
            stream.seek(_COUNT_AT)
            stream.write(field)
            stream.flush()
            os.fsync(stream.fileno())
    except OSError as error:
        raise InputError(
            f"The recording cannot be mended: {error.strerror or error}.", where=str(path)
        ) from None
    return count / rate


def _count_in(head: bytes) -> int:
    return ((head[_COUNT_AT] & 0x0F) << 32) | int.from_bytes(
        head[_COUNT_AT + 1 : _COUNT_AT + 5], "big"
    )
