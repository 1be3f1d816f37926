"""What one pass over a recording shows of its quality: overload, dead channels, offset, gaps."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.sound.decoder import Coding, Samples

SILENT_BELOW_DB = -80.0  # half the swing; 16-bit dither is below. Chosen.
DEAD_BELOW_DB = -60.0  # a channel relative to the loudest one. Chosen.
LARGE_OFFSET = 0.01  # of full scale; a healthy converter is far better. Chosen.
QUIET_BELOW_DB = -40.0  # peak; below, the noise of small recorders begins to matter. Chosen.
_ABSURD = 1e4  # times full scale, 80 dB over: no float recording of sound holds it
_PILE = 6.0  # ratio of samples at the extreme to the level below; derived in `piles_up`
_QUIETEST_STOP = 1e-3  # of full scale: nothing clips below this. Chosen.
_CLIP_RUN = 3  # consecutive samples at the limit
_CLIP_RUNS = 3  # such runs: a single one may be a real peak normalised to full scale
_CLIP_JOIN_S = 0.125  # two periods of 16 Hz: closer runs form one span
_MOST_SPANS = 1000  # spans kept; more are only counted


@dataclass(frozen=True, slots=True)
class ClippedSpan:
    """A stretch in which a channel clips again and again.

    Attributes
    ----------
    start_s, end_s : float
    channel : int
        From 0.
    runs : int
        How many peaks are cut off in it.
    """

    start_s: float
    end_s: float
    channel: int
    runs: int


@dataclass(frozen=True, slots=True)
class SoundQuality:
    """The quality of a recording, measured over all of it.

    Attributes
    ----------
    seconds : float
        Length as decoded.
    peak_db : float
        Largest magnitude of any channel [dB of full scale]; −inf if all samples are zero.
    swing_db : float
        Half the distance between the highest and the lowest sample, loudest channel [dB].
    channel_db : tuple of float
        Root mean square of each channel about its mean [dB of full scale].
    dc_offset : tuple of float
        Mean of each channel, as a part of full scale.
    clipped : tuple of ClippedSpan
        In order of time; at most 1000.
    not_numbers : int
        Samples that were not finite numbers, or were ten thousand times full scale or more; they
        were read as silence.
    dead_channels : tuple of int
        Channels, from 0, more than 60 dB under the loudest.
    warnings : tuple of str
        Whole sentences for the tuner.
    """

    seconds: float
    peak_db: float
    swing_db: float
    channel_db: tuple[float, ...]
    dc_offset: tuple[float, ...]
    clipped: tuple[ClippedSpan, ...]
    not_numbers: int
    dead_channels: tuple[int, ...]
    warnings: tuple[str, ...]

    @property
    def is_silent(self) -> bool:
        """Whether nothing was recorded at all."""
        return self.swing_db < SILENT_BELOW_DB

    @property
    def live_channels(self) -> tuple[int, ...]:
        """Channels worth listening to, from 0."""
        return tuple(c for c in range(len(self.channel_db)) if c not in self.dead_channels)


@dataclass(slots=True)
class _Run:
    """A clipped span that may still grow [frames]."""

    start: int
    end: int
    runs: int


@dataclass(slots=True)
class QualityMeter:
    """Takes a recording block by block and returns its `SoundQuality`.

    Parameters
    ----------
    sample_rate, channels : int
    coding : Coding
    bits : int or None
        Bits of an integer sample.
    """

    sample_rate: int
    channels: int
    coding: Coding
    bits: int | None
    frames: int = 0
    not_numbers: int = 0
    first_not_number: int | None = None
    _high: NDArray[np.float32] = field(init=False)
    _low: NDArray[np.float32] = field(init=False)
    _sum: NDArray[np.float64] = field(init=False)
    _squares: NDArray[np.float64] = field(init=False)
    _open: dict[int, _Run] = field(default_factory=dict)
    _spans: list[ClippedSpan] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._high = np.full(self.channels, -np.inf, np.float32)
        self._low = np.full(self.channels, np.inf, np.float32)
        self._sum = np.zeros(self.channels)
        self._squares = np.zeros(self.channels)

    def take(self, block: Samples) -> Samples:
        """Take in a block of shape (frames, channels); returns it with finite samples only."""
        # Reducing interleaved samples is ten times slower than reducing contiguous channels.
        laid_out = np.ascontiguousarray(block.T)
        squares = _squares_of(laid_out)
        if not (squares <= _ABSURD**2).all():
            block = self._finite(block)
            laid_out = np.ascontiguousarray(block.T)
            squares = _squares_of(laid_out.astype(np.float64))
        high, low = laid_out.max(axis=1), laid_out.min(axis=1)
        np.maximum(self._high, high, out=self._high)
        np.minimum(self._low, low, out=self._low)
        self._sum += laid_out.sum(axis=1)
        self._squares += squares
        for channel in np.flatnonzero(np.maximum(high, -low) >= self._stop):
            self._clipping(block[:, channel], int(channel))
        self.frames += len(block)
        return block

    def result(self, warnings: tuple[str, ...] = ()) -> SoundQuality:
        """The quality of everything taken in.

        Parameters
        ----------
        warnings : tuple of str
            Warnings already known; they come before those found here.
        """
        for channel in tuple(self._open):
            self._close(channel)
        count = max(self.frames, 1)
        mean = self._sum / count
        variance = np.maximum(self._squares / count - mean**2, 0.0)
        channel_db = tuple(_db(math.sqrt(v)) for v in variance)
        dead = tuple(
            c
            for c, level in enumerate(channel_db)
            if max(channel_db) > -math.inf and level < max(channel_db) + DEAD_BELOW_DB
        )
        any_frames = self.frames > 0
        peak = float(np.max(np.maximum(self._high, -self._low))) if any_frames else 0.0
        swing = float(np.max(self._high / 2.0 - self._low / 2.0)) if any_frames else 0.0
        found = SoundQuality(
            seconds=self.frames / self.sample_rate,
            peak_db=_db(peak),
            swing_db=_db(swing),
            channel_db=channel_db,
            dc_offset=tuple(float(m) for m in mean),
            clipped=tuple(sorted(self._spans, key=lambda s: (s.start_s, s.channel))),
            not_numbers=self.not_numbers,
            dead_channels=dead,
            warnings=(),
        )
        return _with_warnings(found, warnings, self.first_not_number, self.sample_rate)

    @property
    def _stop(self) -> float:
        """Magnitude from which a sample may be clipped."""
        if self.coding is Coding.INTEGER and self.bits is not None and self.bits <= 16:
            return 1.0 - 2.5 * 2.0 ** (1 - self.bits)  # the highest value or its neighbour
        return 0.999

    def _finite(self, block: Samples) -> Samples:
        bad = ~(np.abs(block) <= _ABSURD)
        if self.first_not_number is None and bad.any():
            self.first_not_number = self.frames + int(np.flatnonzero(bad.any(axis=1))[0])
        self.not_numbers += int(bad.sum())
        return np.where(bad, np.float32(0.0), block)

    def _clipping(self, samples: NDArray[np.float32], channel: int) -> None:
        """Find clipped runs: at least three consecutive samples at the limit on the same side."""
        coarse = self.coding is Coding.FLOAT or (self.bits is not None and self.bits <= 8)
        if coarse and not piles_up(samples):
            return
        side = np.where(samples >= self._stop, 1, np.where(samples <= -self._stop, -1, 0))
        if self.coding is Coding.FLOAT:  # may exceed full scale: only a flat top counts
            flat = np.diff(samples) == 0.0
            side = np.where(
                np.concatenate(([False], flat)) | np.concatenate((flat, [False])), side, 0
            )
        edges = np.flatnonzero(np.diff(side, prepend=0, append=0))
        for begin, end in pairwise(edges):
            if side[begin] != 0 and end - begin >= _CLIP_RUN:
                self._note_run(channel, self.frames + int(begin), self.frames + int(end))

    def _note_run(self, channel: int, begin: int, end: int) -> None:
        run = self._open.get(channel)
        if run is not None and begin - run.end <= _CLIP_JOIN_S * self.sample_rate:
            run.end, run.runs = end, run.runs + 1
            return
        if run is not None:
            self._close(channel)
        self._open[channel] = _Run(begin, end, 1)

    def _close(self, channel: int) -> None:
        run = self._open.pop(channel)
        if run.runs >= _CLIP_RUNS and len(self._spans) < _MOST_SPANS:
            self._spans.append(
                ClippedSpan(
                    run.start / self.sample_rate, run.end / self.sample_rate, channel, run.runs
                )
            )


def piles_up(samples: NDArray[np.floating]) -> bool:
    """Whether samples of a channel pile up at one extreme, as they do if a waveform is cut off.

    A tone that just reaches a level is at it at most 2.4 times as often as at the next level below
    (derived: a sine's time above a height goes with the square root of the remainder), however
    coarse the levels; a tone clipped three levels down, six times as often.
    """
    for side in (samples, -samples):
        top = float(side.max(initial=0.0))
        below = side[side < top * (1.0 - 1e-6)]
        if top < _QUIETEST_STOP or len(below) == 0:
            continue
        beside = float(below.max())
        often = np.count_nonzero(below > beside - 0.5 * (top - beside))
        if len(side) - len(below) > _PILE * often:
            return True
    return False


def _squares_of(channels: NDArray[np.floating]) -> NDArray[np.float64]:
    """Sum of the squares of each channel; not finite if its samples are not."""
    with np.errstate(invalid="ignore", over="ignore"):
        return np.array([float(channel @ channel) for channel in channels])


def _with_warnings(
    found: SoundQuality, known: tuple[str, ...], first_bad: int | None, sample_rate: int
) -> SoundQuality:
    said = list(known)
    if first_bad is not None:
        said.append(
            f"{found.not_numbers} samples are not numbers, the first at "
            f"{first_bad / sample_rate:.2f} s; they were read as silence."
        )
    if found.clipped:
        first = found.clipped[0]
        count = len(found.clipped)
        places = "1 place" if count == 1 else f"{count} places"
        said.append(
            f"Clipped in {places}, the first from "
            f"{first.start_s:.2f} to {first.end_s:.2f} s. Lower the recorder's level next time."
        )
    if found.dead_channels and not found.is_silent:
        names = " and ".join(str(c + 1) for c in found.dead_channels)
        of = len(found.channel_db)
        said.append(
            f"Channel {names} of {of} is dead; only the others were used."
            if len(found.dead_channels) == 1
            else f"Channels {names} of {of} are dead; only the others were used."
        )
    worst = max(found.dc_offset, key=abs, default=0.0)
    if abs(worst) > LARGE_OFFSET:
        said.append(
            f"The recording has an offset of {100 * worst:+.1f} % of full scale: "
            "have the recorder's input checked."
        )
    if not found.is_silent and found.peak_db < QUIET_BELOW_DB:
        said.append(
            f"The recording is faint: it peaks at {found.peak_db:.0f} dB. "
            "Raise the recorder's level next time."
        )
    return replace(found, warnings=tuple(said))


def _db(magnitude: float) -> float:
    return 20.0 * math.log10(magnitude) if magnitude > 0.0 else -math.inf
