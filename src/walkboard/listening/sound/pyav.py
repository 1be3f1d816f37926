"""Decoding through PyAV: M4A and AAC as phones write them, and what libsndfile gives up on."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import BinaryIO

import av
import numpy as np
from av.audio.frame import AudioFrame
from av.audio.stream import AudioStream
from av.container import InputContainer

from walkboard.errors import SoundError
from walkboard.listening.sound.containers import ALLOWED, Container
from walkboard.listening.sound.decoder import Coding, DamageError, Samples
from walkboard.listening.types import SoundInfo

_FULL_SCALE = {"s16": 2.0**15, "s32": 2.0**31, "s64": 2.0**63}
_CODES = {"u8": "u1", "s16": "i2", "s32": "i4", "s64": "i8", "flt": "f4", "dbl": "f8"}
_WORDS = {"aac": "AAC", "alac": "ALAC", "opus": "Opus", "mp3float": "", "flac": ""}
_EXACT_LENGTH = ("mov", "wav", "flac")  # demuxers whose stream length comes from the header
_HOLE_S = 0.05  # a larger jump of the time stamps is lost sound; a smaller one is rounding
_LONGEST_HOLE_S = 600.0  # a longer jump is a broken time stamp


class PyavDecoder:
    """A recording through PyAV.

    A packet that cannot be decoded is skipped; if time stamps show how much is missing, silence
    replaces it (`filled`). `bad_at` lists the frames at which packets were bad.

    Encoder delay: the edit list of an M4A file is obeyed, and the padding that its last packet
    holds is cut off, so times agree with the recording before coding. A bare AAC stream (ADTS)
    states no delay and starts late by its encoder's, commonly 1024 or 2112 samples.

    Raises
    ------
    SoundError
        If the header cannot be read or there is no sound in it.
    """

    def __init__(self, stream: BinaryIO, name: str, container: Container) -> None:
        self._stream = stream
        self._name = name
        self._container = container
        self.filled: list[tuple[int, int]] = []
        self.bad_at: list[int] = []
        self._done = 0
        opened = self._open()
        try:
            first = next((f for f in self._frames(opened) if f.samples), None)
            if first is None:
                raise self._unreadable("no packet of it can be decoded")
            audio = _audio(opened)
            self._rate = first.sample_rate
            self._channels = len(first.layout.channels)
            self._tick_s = float(audio.time_base or 0)
            codec = audio.codec_context.name
            integer = first.format.name.rstrip("p") in (*_FULL_SCALE, "u8")
            is_pcm = codec.startswith(("pcm", "alac", "flac"))
            self.bits = int(audio.codec_context.format.bits) if is_pcm and integer else None
            self.coding = Coding.INTEGER if self.bits else Coding.FLOAT if is_pcm else Coding.LOSSY
            exact = container.pyav_format in _EXACT_LENGTH and audio.duration is not None
            seconds = float(audio.duration or 0) * self._tick_s if exact else math.nan
            coded = _WORDS.get(codec, codec)
            self.info = SoundInfo(
                seconds if seconds > 0.0 else math.nan,
                self._rate,
                self._channels,
                ", ".join(part for part in (container.words, coded) if part),
            )
        finally:
            opened.close()

    def blocks(self, frames: int, *, skip: int = 0) -> Iterator[Samples]:
        """See `walkboard.listening.sound.decoder.Decoder.blocks`."""
        block = np.empty((frames, self._channels), np.float32)
        used = 0
        for piece in self._pieces():
            if skip >= len(piece):
                skip -= len(piece)
                continue
            rest = piece[skip:]
            skip = 0
            while len(rest):
                taken = min(len(rest), frames - used)
                block[used : used + taken] = rest[:taken]
                used += taken
                rest = rest[taken:]
                if used == frames:
                    yield block
                    block = np.empty((frames, self._channels), np.float32)
                    used = 0
        if used:
            yield block[:used]

    def _pieces(self) -> Iterator[Samples]:
        """Decoded frames in order, lost ones replaced by silence, the coder's padding removed."""
        self.filled = []
        self.bad_at = []
        self._done = 0
        known = not math.isnan(self.info.seconds)
        promised = round(self.info.seconds * self._rate) if known else None
        opened = self._open()
        try:
            first_s: float | None = None
            for frame in self._frames(opened):
                if frame.sample_rate != self._rate or len(frame.layout.channels) != self._channels:
                    raise DamageError("its sample rate or number of channels changes midway")
                if frame.pts is not None and self._tick_s:
                    at_s = frame.pts * self._tick_s
                    first_s = at_s if first_s is None else first_s
                    hole_s = at_s - first_s - self._done / self._rate
                    if _HOLE_S < hole_s < _LONGEST_HOLE_S:
                        lost = round(hole_s * self._rate)
                        self.filled.append((self._done, self._done + lost))
                        self._done += lost
                        yield np.zeros((lost, self._channels), np.float32)
                piece = _samples(frame)
                padding = self._done + len(piece) - promised if promised is not None else 0
                # Only the last packet's padding: a header that states too little is ignored.
                if 0 < padding < len(piece) and self._container.pyav_format == "mov":
                    piece = piece[: len(piece) - padding]
                self._done += len(piece)
                yield piece
        finally:
            opened.close()

    def _frames(self, opened: InputContainer) -> Iterator[AudioFrame]:
        """Frames of every packet that can be decoded; damaged ones are noted and skipped."""
        packets = opened.demux(_audio(opened))
        while True:
            try:
                packet = next(packets)
            except StopIteration:
                return
            except (av.FFmpegError, OSError):  # the container itself ends here
                self.bad_at.append(self._done)
                return
            try:
                yield from packet.decode()
            except av.FFmpegError:
                self.bad_at.append(self._done)

    def _open(self) -> InputContainer:
        self._stream.seek(0)
        try:
            opened = av.open(self._stream, mode="r", format=self._container.pyav_format)
        except (av.FFmpegError, ValueError, IndexError) as error:
            raise self._unreadable(_words(error)) from error
        if not opened.streams.audio:
            opened.close()
            raise SoundError(
                f"There is no sound in this {self._container.words} file.",
                where=self._name,
                fix=ALLOWED,
            )
        return opened

    def _unreadable(self, why: str) -> SoundError:
        cut = " or was cut off before its index was written" if self._is_mp4 else ""
        return SoundError(
            f"This {self._container.words} file cannot be read ({why}): it is damaged{cut}.",
            where=self._name,
            fix="Copy it again from the phone or recorder.",
        )

    @property
    def _is_mp4(self) -> bool:
        return self._container.pyav_format == "mov"


def _audio(opened: InputContainer) -> AudioStream:
    return opened.streams.audio[0]


def _samples(frame: AudioFrame) -> Samples:
    """Samples of a decoded frame as float32 of shape (frames, channels).

    Plane by plane: with eight channels or more, as a damaged AAC header can claim, PyAV's own
    conversion reads planes that do not exist, which crashes the process.
    """
    channels = len(frame.layout.channels)
    kind = frame.format.name.rstrip("p")
    code = _CODES.get(kind)
    if code is None:
        raise DamageError(f"its sample format is not supported ({kind})")
    if frame.format.is_planar:
        planes = [frame.planes[channel] for channel in range(channels)]
        shaped = np.stack(
            [np.frombuffer(memoryview(p), code, frame.samples) for p in planes], axis=1
        )
    else:
        shaped = np.frombuffer(memoryview(frame.planes[0]), code, frame.samples * channels)
        shaped = shaped.reshape(-1, channels)
    if kind == "u8":
        return (shaped.astype(np.float32) - np.float32(128.0)) / np.float32(128.0)
    if kind in _FULL_SCALE:
        return shaped.astype(np.float32) * np.float32(1.0 / _FULL_SCALE[kind])
    return shaped.astype(np.float32)


def _words(error: Exception) -> str:
    text = getattr(error, "strerror", None) or str(error)
    return str(text).strip().rstrip(".").lower() or "unknown fault"
