"""A recording: opened by its content, read block by block or span by span.

A long one is decoded again for each reading and never held in memory; a short one is kept decoded,
so that its holds need no second decoding.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import BinaryIO

import numpy as np

from walkboard.errors import SoundError
from walkboard.listening.sound.containers import (
    Container,
    breaks_off,
    odd_suffix,
    recognise,
    share_present,
    tells_length,
)
from walkboard.listening.sound.decoder import DamageError, Decoder, Samples
from walkboard.listening.sound.libsndfile import LibsndfileDecoder
from walkboard.listening.sound.pyav import PyavDecoder
from walkboard.listening.sound.quality import QualityMeter, SoundQuality
from walkboard.listening.types import SoundInfo

BLOCK_FRAMES = 65_536
LONGEST_SPAN_S = 300.0
LEAST_SECONDS = 0.25  # a damaged recording with less sound is rejected. Chosen.
_RATES_HZ = (8_000, 192_000)
_MOST_NOT_NUMBERS = 100  # samples, or a thousandth of what was read; beyond, the file is broken
_SHORT_BY_S = 0.1  # a smaller shortfall is the codec's rounding
_KEPT_BYTES = 96 * 2**20  # most decoded sound kept: four minutes of two channels at 48 kHz
_LEFT_OVER = 65_536  # bytes after the decoded sound that a tag or picture may take


def open_sound(stream: BinaryIO, name: str) -> Sound:
    """Open a recording.

    Parameters
    ----------
    stream : binary stream
        Seekable. The caller keeps it open while the recording is in use, and closes it.
    name : str
        Used in messages; its ending is not trusted.

    Raises
    ------
    SoundError
        If it is empty, not a recording, or its beginning cannot be decoded.
    """
    return Sound(stream, name, recognise(stream, name))


class Sound:
    """A recording that is decoded as it is read; memory does not grow with a long one's length.

    One reading at a time: starting a second iteration ends the first one with RuntimeError.

    Parameters
    ----------
    stream : binary stream
    name : str
    container : Container
    """

    def __init__(self, stream: BinaryIO, name: str, container: Container) -> None:
        self.name = name
        self._stream = stream
        self._container = container
        self._decoder = self._first_decoder()
        self._quality: SoundQuality | None = None
        self._kept: list[Samples] | None = None  # all of it, once read, if it is short
        self._reading = 0
        info = self._decoder.info
        if not _RATES_HZ[0] <= info.sample_rate <= _RATES_HZ[1]:
            raise SoundError(
                f"Its sample rate is {info.sample_rate} Hz.",
                where=name,
                fix="Record at 8 000 to 192 000 Hz; 44 100 or 48 000 Hz is good.",
            )
        self._header_s = info.seconds
        self._share = share_present(stream, container)
        if math.isnan(info.seconds):
            self.inspect()

    @property
    def info(self) -> SoundInfo:
        """What the recording is.

        Its length is the header's until the whole has been read once, and the length read after
        that. A recording whose header gives no length is read once when it is opened.
        """
        info = self._decoder.info
        return info if self._quality is None else replace(info, seconds=self._quality.seconds)

    def inspect(self) -> SoundQuality:
        """The quality of the whole recording; costs nothing once `blocks` has run to the end.

        Raises
        ------
        SoundError
            If it is silent or cannot be decoded.
        """
        if self._quality is None:
            for _ in self.blocks():
                pass
        quality = self._quality
        assert quality is not None
        if quality.is_silent:
            seen = "all samples are zero"
            if quality.swing_db > -math.inf:
                seen = f"the loudest sound in it is {quality.swing_db:.0f} dB of full scale"
            raise SoundError(
                f"The recording is silent: {seen}.",
                where=self.name,
                fix="Check that the microphone was on and its level up, and record again.",
            )
        return quality

    def blocks(self, frames: int = BLOCK_FRAMES) -> Iterator[Samples]:
        """The recording from its start, block by block.

        Parameters
        ----------
        frames : int
            Frames of a block; the last one may be shorter.

        Yields
        ------
        ndarray of float32, shape (frames, channels)
            Full scale is ±1. Samples that are not numbers are read as silence. Read-only.

        Raises
        ------
        SoundError
            If nothing usable can be decoded, or many samples are not numbers.
        RuntimeError
            If another reading of this recording was begun meanwhile.
        """
        if frames < 1:
            raise ValueError(f"a block needs at least one frame, not {frames}")
        self._reading += 1
        reading = self._reading
        source = self._measured(frames)
        if self._kept is not None and frames == BLOCK_FRAMES:
            source = iter(self._kept)
        for block in source:
            yield block
            if reading != self._reading:
                raise RuntimeError("another reading of this recording began before this one ended")

    def _measured(self, frames: int) -> Iterator[Samples]:
        """Decode it all, measure its quality, and keep it if it is short."""
        rate = self._decoder.info.sample_rate
        kept: list[Samples] = []
        room = _KEPT_BYTES if frames == BLOCK_FRAMES else 0
        meter = QualityMeter(
            rate, self._decoder.info.channels, self._decoder.coding, self._decoder.bits
        )
        said: list[str] = []
        for block in self._decoded(frames, meter, said):
            sound = meter.take(block)
            if meter.not_numbers > max(_MOST_NOT_NUMBERS, meter.frames * sound.shape[1] // 1000):
                assert meter.first_not_number is not None
                raise SoundError(
                    f"Many samples are not numbers, from {meter.first_not_number / rate:.2f} s on.",
                    where=self.name,
                    fix="Save the recording again as 24-bit WAV or FLAC.",
                )
            room -= sound.nbytes
            if room >= 0:
                kept.append(sound)
            else:
                kept.clear()
            yield sound
        self._quality = meter.result(tuple(said))
        if room >= 0:
            self._kept = kept

    def spans(self, spans: Sequence[tuple[float, float]]) -> Iterator[Samples]:
        """The samples of each span, in one pass.

        Parameters
        ----------
        spans : sequence of (start_s, end_s)
            Sorted by their start; they may overlap. Each at most `LONGEST_SPAN_S` long.

        Yields
        ------
        ndarray of float32, shape (frames, channels)
            One for each span, in order; shorter if the recording ends within it, empty if it ends
            before.

        Raises
        ------
        ValueError
            If spans are not sorted, run backward, begin before the recording or are too long.
        SoundError
            As for `blocks`.
        """
        _check_spans(spans)
        rate = self._decoder.info.sample_rate
        source = self.blocks()
        kept: deque[Samples] = deque()
        kept_from = kept_to = 0
        for start_s, end_s in spans:
            start, end = round(start_s * rate), round(end_s * rate)
            while True:
                while kept and kept_from + len(kept[0]) <= start:
                    kept_from += len(kept.popleft())
                if kept_to >= end:
                    break
                block = next(source, None)
                if block is None:
                    break
                kept.append(block)
                kept_to += len(block)
            yield self._cut(kept, start - kept_from, end - kept_from)
        source.close()  # type: ignore[attr-defined] # a generator; the type Iterator has no close()

    def _cut(self, kept: deque[Samples], start: int, end: int) -> Samples:
        pieces: list[Samples] = []
        place = 0
        for block in kept:
            pieces.append(block[max(start - place, 0) : max(end - place, 0)])
            place += len(block)
        if not pieces:
            return np.empty((0, self._decoder.info.channels), np.float32)
        return np.concatenate(pieces)

    def _first_decoder(self) -> Decoder:
        if self._container.by_libsndfile and tells_length(self._stream, self._container):
            try:
                return LibsndfileDecoder(self._stream, self.name, self._container)
            except SoundError as refused:
                try:
                    return PyavDecoder(self._stream, self.name, self._container)
                except SoundError:
                    raise refused from None
        return PyavDecoder(self._stream, self.name, self._container)

    def _decoded(self, frames: int, meter: QualityMeter, said: list[str]) -> Iterator[Samples]:
        """Blocks from the best decoder, or the other one after damage; oddities go to `said`."""
        suffix = odd_suffix(self._container, self.name)
        if suffix is not None:
            said.append(f"Named .{suffix}, but it contains {self._container.words}; read as that.")
        why = ""
        last: Decoder = self._decoder
        try:
            yield from last.blocks(frames)
        except DamageError as error:
            why = str(error)
        if isinstance(last, PyavDecoder):
            why = why or _breaking_off(last, meter.frames)
        elif why or not meter.frames or self._is_left_over():
            try:
                second = PyavDecoder(self._stream, self.name, self._container)
                if second.info.channels == self._decoder.info.channels:
                    last = second
                    yield from second.blocks(frames, skip=meter.frames)
                    why = _breaking_off(second, meter.frames)
            except (SoundError, DamageError) as error:
                why = why or (str(error) if meter.frames else "")
        self._tell_damage(meter, why, last, said)

    def _is_left_over(self) -> bool:
        """Whether libsndfile stopped well before the file's end, trusting its header."""
        if self._share is not None and self._share <= 1.0:
            return False
        place = self._stream.tell()
        return self._stream.seek(0, 2) - place > _LEFT_OVER

    def _tell_damage(
        self, meter: QualityMeter, why: str, decoder: Decoder, said: list[str]
    ) -> None:
        rate = meter.sample_rate
        read_s = meter.frames / rate
        promised_s = self._header_s
        if self._share is not None and self._share < 1.0:
            promised_s = read_s / max(self._share, 1e-9)
        is_short = promised_s - read_s > _SHORT_BY_S
        if not meter.frames and not why and not is_short:
            raise SoundError(
                f"There is no sound in this {self._container.words} file, only a header.",
                where=self.name,
                fix="Copy it again from the recorder.",
            )
        if (is_short or why) and read_s < LEAST_SECONDS:
            raise SoundError(
                f"Only {read_s:.2f} s of this {self._container.words} file can be decoded: "
                "it is cut off or damaged.",
                where=self.name,
                fix="Copy it again from the recorder.",
            )
        if is_short and promised_s < 1e6:
            said.append(
                f"The recording ends at {read_s:.1f} s, but its header promises {promised_s:.1f} s:"
                " it was cut off or is damaged. What there is was read."
            )
        elif is_short or why or breaks_off(self._stream, self._container):
            said.append(f"The recording breaks off at {read_s:.1f} s. What there is was read.")
        elif read_s - promised_s > _SHORT_BY_S:
            said.append(
                f"The header promises {promised_s:.1f} s, but {read_s:.1f} s were found and read."
            )
        if self._share is not None and self._share > 1.0:
            said.append(
                "The file continues after the end given in its header; that part was not read."
            )
        filled = decoder.filled
        midway = [f for f in getattr(decoder, "bad_at", ()) if f < meter.frames]
        if filled:
            start, end = filled[0]
            said.append(
                f"Damaged in {_places(len(filled))}, the first from "
                f"{start / rate:.2f} to {end / rate:.2f} s; it was replaced by silence."
            )
        elif midway:
            said.append(
                f"Damaged in {_places(len(set(midway)))}, the first at {midway[0] / rate:.2f} s; "
                "the missing part was skipped, so later times are early."
            )


def _places(count: int) -> str:
    return "1 place" if count == 1 else f"{count} places"


def _breaking_off(decoder: PyavDecoder, frames: int) -> str:
    """Why nothing follows the last frame, where packets at the end could not be decoded."""
    at_end = decoder.bad_at and decoder.bad_at[-1] >= frames
    return "the last packets cannot be decoded" if at_end else ""


def _check_spans(spans: Sequence[tuple[float, float]]) -> None:
    last = 0.0
    for start_s, end_s in spans:
        if not last <= start_s <= end_s:
            raise ValueError(
                f"spans are sorted by start, from 0 s, and run forward; not {start_s} to {end_s} s"
                f" after {last} s"
            )
        if end_s - start_s > LONGEST_SPAN_S:
            raise ValueError(f"a span is at most {LONGEST_SPAN_S:.0f} s, not {end_s - start_s} s")
        last = start_s
