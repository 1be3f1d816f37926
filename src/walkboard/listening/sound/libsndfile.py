"""Decoding through libsndfile: WAV, FLAC, OGG, MP3, AIFF and a few more."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import suppress
from typing import BinaryIO

import soundfile as sf

from walkboard.errors import SoundError
from walkboard.listening.sound.containers import Container
from walkboard.listening.sound.decoder import Coding, DamageError, Samples
from walkboard.listening.types import SoundInfo

_NO_LENGTH = 1 << 60  # libsndfile gives 2^63 − 1 frames if the header has no length
_INTEGER_BITS = {"PCM_U8": 8, "PCM_S8": 8, "PCM_16": 16, "PCM_24": 24, "PCM_32": 32}
_ALAC_BITS = {"ALAC_16": 16, "ALAC_20": 20, "ALAC_24": 24, "ALAC_32": 32}
_FLOATS = {"FLOAT": "32-bit float", "DOUBLE": "64-bit float"}
_WORDS = {"VORBIS": "Vorbis", "OPUS": "Opus"}


class _Unsought(sf.SoundFile):  # type: ignore[misc] # soundfile has no types
    """Reads forward without seeking.

    soundfile seeks after every read of a seekable file. In MP3 a seek loses what the next frame
    needs from the previous ones: blocks come out shifted by up to 8 ms and with holes.
    """

    def seekable(self) -> bool:
        return False


class _Bounded:
    """A stream for libsndfile in which a seek before the start does nothing.

    A damaged header can cause one; the stream itself would raise within libsndfile's callback,
    which prints the error to the user and then ignores it.
    """

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self.read = stream.read
        self.tell = stream.tell

    def readinto(self, buffer: memoryview) -> int:
        data = self._stream.read(len(buffer))
        buffer[: len(data)] = data
        return len(data)

    def seek(self, offset: int, whence: int = 0) -> int:
        with suppress(ValueError, OSError):
            return self._stream.seek(offset, whence)
        return self._stream.tell()


class LibsndfileDecoder:
    """A recording through libsndfile.

    Encoder delay: libsndfile removes what an MP3's LAME/Info tag or an Opus header states, so times
    agree with the recording before coding. An MP3 without that tag starts late by its encoder's
    delay, commonly 1105 samples.

    Raises
    ------
    SoundError
        If libsndfile cannot read the header.
    """

    def __init__(self, stream: BinaryIO, name: str, container: Container) -> None:
        self._stream = stream
        self.filled: list[tuple[int, int]] = []
        stream.seek(0)
        try:
            with sf.SoundFile(_Bounded(stream)) as opened:
                subtype, frames = opened.subtype, opened.frames
                rate, channels = opened.samplerate, opened.channels
        except (sf.LibsndfileError, ValueError) as error:
            raise SoundError(
                f"The header of this {container.words} file cannot be read: it is damaged.",
                where=name,
                fix="Copy it again from the recorder, or save it as WAV or FLAC.",
            ) from error
        self.bits = _INTEGER_BITS.get(subtype, _ALAC_BITS.get(subtype))
        self.coding = (
            Coding.INTEGER
            if self.bits is not None
            else Coding.FLOAT
            if subtype in _FLOATS
            else Coding.LOSSY
        )
        coded = f"{self.bits} bit" if self.bits else _FLOATS.get(subtype, _WORDS.get(subtype, ""))
        if subtype in _ALAC_BITS:
            coded = f"ALAC, {coded}"
        words = ", ".join(part for part in (container.words, coded) if part)
        seconds = frames / rate if 0 < frames < _NO_LENGTH else math.nan
        self.info = SoundInfo(seconds, rate, channels, words)

    def blocks(self, frames: int, *, skip: int = 0) -> Iterator[Samples]:
        """See `walkboard.listening.sound.decoder.Decoder.blocks`."""
        self._stream.seek(0)
        with _Unsought(_Bounded(self._stream)) as opened:
            while True:
                try:
                    block: Samples = opened.read(frames, dtype="float32", always_2d=True)
                except (sf.LibsndfileError, ValueError) as error:
                    raise DamageError(_words(error)) from error
                if not len(block):
                    return
                if skip < len(block):
                    yield block[skip:]
                skip = max(skip - len(block), 0)


def _words(error: Exception) -> str:
    text = getattr(error, "error_string", None) or str(error)
    return text.strip().rstrip(".") or "unknown fault"
