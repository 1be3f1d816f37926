"""What is kept of a recording to find its holds: the spectral peaks of every 40 ms.

Why peaks. Naming must be repeatable with other keys without reading the sound again, and files can
be hours long. A blown pipe is strictly harmonic, so its sound is a handful of lines; a frame is
kept as at most 44 of them, four bytes each, which is 4 to 14 MB for an hour of sound.

How. Three bands, each with a window that separates neighbouring keys at the band's lower end (a
Blackman window separates lines 3/window apart; a semitone is 5.9 % of the frequency): 1.2 s up to
140 Hz, 0.5 s up to 560 Hz, 0.2 s above. The two lower bands are read from one decimated copy of the
sound. The side lobes of the window are 58 dB down (Harris, "On the use of windows for harmonic
analysis with the discrete Fourier transform", Proc. IEEE 66, 1978, table 1; value from memory), so
no peak within 55 dB of a stronger line is an artefact of it. A peak's place and level come from the
parabola through three points of the log spectrum: within 0.02 bin, which is 2 cents at 16 Hz, 0.5
at 140 Hz, 0.3 at 560. Powers of channels are added, so channels out of phase do not cancel. Using
one channel was tried; the room's nulls in it cost holds and faults.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.walk.bands import BANDS, Reader

HOP_S = 0.04
_LOW_RATE_HZ = 2_000.0  # of the decimated copy: covers the two lower bands and the filter's slope
_BATCH_FRAMES = 250
_PRODUCT_ROWS = 512
_CENTS_STEP = 0.2
_CENTIBEL = 0.01
_CLIPPED_AT = 0.9995
_TWIN_CENTS = 25.0

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class WalkFeatures:
    """The peaks of a recording, frame by frame.

    Attributes
    ----------
    hop_s : float
        Frame spacing [s]; frame i is centred at i·hop_s.
    first : ndarray of int64, shape (frames + 1,)
        The peaks of frame i are first[i] to first[i + 1].
    cents_code : ndarray of uint16
        Place of each peak above 12 Hz, in steps of 0.2 cent, rising within a frame.
    level_code : ndarray of int16
        Level of each peak in steps of 0.01 dB re a full-scale sine.
    clipped : ndarray of bool, shape (frames,)
        Frames with more than two samples at full scale.
    """

    hop_s: float
    first: NDArray[np.int64]
    cents_code: NDArray[np.uint16]
    level_code: NDArray[np.int16]
    clipped: NDArray[np.bool_]

    @property
    def frames(self) -> int:
        """Number of frames."""
        return len(self.first) - 1

    @property
    def seconds(self) -> float:
        """Length of the recording [s], to the nearest frame."""
        return self.frames * self.hop_s

    @property
    def cents(self) -> NDArray[np.float32]:
        """Place of each peak [cents above 12 Hz]."""
        return (self.cents_code * np.float32(_CENTS_STEP)).astype(np.float32)

    @property
    def level_db(self) -> NDArray[np.float32]:
        """Level of each peak [dB re a full-scale sine]."""
        return (self.level_code * np.float32(_CENTIBEL)).astype(np.float32)

    def cents_between(self, peaks: slice) -> NDArray[np.float64]:
        """Place of some peaks [cents above 12 Hz]."""
        return self.cents_code[peaks].astype(np.float64) * _CENTS_STEP

    def level_between(self, peaks: slice) -> NDArray[np.float64]:
        """Level of some peaks [dB re a full-scale sine]."""
        return self.level_code[peaks].astype(np.float64) * _CENTIBEL

    @property
    def frame(self) -> NDArray[np.int64]:
        """The frame of each peak."""
        return np.repeat(np.arange(self.frames), np.diff(self.first))

    def frame_between(self, begin: int, end: int) -> NDArray[np.int64]:
        """The frame of each peak of frames `begin` to `end`, counted from `begin`."""
        return np.repeat(np.arange(end - begin), np.diff(self.first[begin : end + 1]))


def gather_features(
    blocks: Iterable[NDArray[np.floating]],
    sample_rate: int,
    *,
    progress: Callable[[float], None] | None = None,
) -> WalkFeatures:
    """Read a recording once and keep its spectral peaks.

    Parameters
    ----------
    blocks : iterable of ndarray, shape (n, channels)
        The sound in blocks of any length, full scale 1. Values that are not finite count as
        silence.
    sample_rate : int
        [Hz]
    progress : callable, optional
        Called with the seconds of sound read so far, about every ten seconds of sound.

    Returns
    -------
    WalkFeatures
        Takes 4 to 14 MB per hour of sound; the sound itself is not kept.
    """
    gatherer = _Gatherer(sample_rate)
    reported = 0
    for block in blocks:
        gatherer.take(block)
        if progress is not None and gatherer.samples - reported >= 10 * sample_rate:
            reported = gatherer.samples
            progress(reported / sample_rate)
    return gatherer.finish()


class _Stream:
    """Samples waiting to be framed; frame i is centred at sample i·hop."""

    def __init__(self, hop: int, longest: int, channels: int) -> None:
        self._hop = hop
        self._lead = longest // 2 + 1
        self._held: NDArray[np.float32] = np.zeros((channels, self._lead), np.float32)
        self._coming: list[NDArray[np.float32]] = []
        self._length = self._lead

    def push(self, samples: NDArray[np.float32]) -> None:
        self._coming.append(samples)
        self._length += int(samples.shape[1])

    def ready(self) -> int:
        """Frames whose window is complete."""
        return max(0, (self._length - 2 * self._lead) // self._hop + 1)

    def frames(self, count: int, size: int) -> NDArray[np.float32]:
        """The next frames of one window length, shape (channels, count, size)."""
        self._join()
        start = self._lead - size // 2
        view = np.lib.stride_tricks.sliding_window_view(self._held[:, start:], size, axis=1)
        return view[:, :: self._hop][:, :count]

    def drop(self, count: int) -> None:
        self._join()
        self._held = self._held[:, count * self._hop :]
        self._length = int(self._held.shape[1])

    def _join(self) -> None:
        # Only when frames are read: joining at every push would copy everything waiting each time.
        if self._coming:
            self._held = np.concatenate([self._held, *self._coming], axis=1)
            self._coming = []

    def pad(self) -> None:
        self.push(np.zeros((len(self._held), self._lead), np.float32))


def _once(
    row: NDArray[np.int64], cents: NDArray[np.float64], level: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Which peaks to keep where two bands overlap and both saw the same line: the stronger."""
    keep = np.ones(len(row), bool)
    twin = (np.diff(row) == 0) & (np.diff(cents) < _TWIN_CENTS)
    keep[:-1] &= ~(twin & (level[:-1] < level[1:]))
    keep[1:] &= ~(twin & (level[1:] <= level[:-1]))
    return keep


def _low_pass(half: int, cutoff: float) -> NDArray[np.float64]:
    """Taps of a low-pass, a sinc under a Hamming window; the cutoff as a share of half the rate.

    Same as `scipy.signal.firwin`, whose package takes longer to import than a walk to analyse.
    """
    taps = np.sinc(cutoff * np.arange(-half, half + 1)) * np.hamming(2 * half + 1)
    return np.asarray(taps / taps.sum())


class _Gatherer:
    """Takes blocks, returns features."""

    def __init__(self, sample_rate: int) -> None:
        self._rate = sample_rate
        self._factor = max(1, int(sample_rate / _LOW_RATE_HZ))
        self._hop_low = max(1, round(HOP_S * sample_rate / self._factor))
        self._hop = self._hop_low * self._factor
        low_rate = sample_rate / self._factor
        self._readers = [
            Reader(band, low_rate if band.decimated else float(sample_rate)) for band in BANDS
        ]
        half = 8 * self._factor
        taps = _low_pass(half, 0.8 / self._factor)
        phases = -(-len(taps) // self._factor)
        padded = np.zeros(phases * self._factor, np.float32)
        padded[: len(taps)] = taps
        self._filter = padded.reshape(phases, self._factor).T.copy()
        self._half = half
        self._full: _Stream | None = None
        self._low: _Stream | None = None
        self._tail: NDArray[np.float32] = np.zeros((0, 0), np.float32)
        self._clipped_counts: list[NDArray[np.int64]] = []
        self._clip_rest: NDArray[np.bool_] = np.zeros(0, bool)
        self._cents: list[NDArray[np.uint16]] = []
        self._levels: list[NDArray[np.int16]] = []
        self._counts: list[NDArray[np.int64]] = []
        self.samples = 0

    def take(self, block: NDArray[np.floating]) -> None:
        samples = np.asarray(block, np.float32)
        if samples.ndim == 1:
            samples = samples[:, np.newaxis]
        if not len(samples):
            return
        self.samples += len(samples)
        if not np.isfinite(samples.sum()):
            samples = np.nan_to_num(samples, nan=0.0, posinf=0.0, neginf=0.0)
        # A single huge block would be copied several times: process it in pieces.
        piece = _BATCH_FRAMES * self._hop
        for start in range(0, len(samples), piece):
            self._take_piece(np.ascontiguousarray(samples[start : start + piece].T))

    def _take_piece(self, samples: NDArray[np.float32]) -> None:
        if self._full is None:
            channels = samples.shape[0]
            self._full = _Stream(self._hop, self._readers[2].size, channels)
            self._low = _Stream(self._hop_low, self._readers[0].size, channels)
            self._tail = np.zeros((channels, self._half), np.float32)
        self._note_clipping(samples)
        self._full.push(samples)
        self._push_low(samples)
        while self._ready() >= _BATCH_FRAMES:
            self._read(_BATCH_FRAMES)

    def _push_low(self, samples: NDArray[np.float32]) -> None:
        assert self._low is not None
        joined = np.concatenate([self._tail, samples], axis=1)
        phases = self._filter.shape[1]
        rows = joined.shape[1] // self._factor
        count = rows - phases + 1
        if count <= 0:
            self._tail = joined
            return
        used = joined[:, : rows * self._factor].reshape(len(joined), rows, self._factor)
        # One product for all taps of a phase, then the sum along its diagonals. Pieces are small
        # enough to stay on one thread: two threads waiting for each other cost a hundred times as
        # much.
        parts = np.concatenate(
            [used[:, i : i + _PRODUCT_ROWS] @ self._filter for i in range(0, rows, _PRODUCT_ROWS)],
            axis=1,
        )
        low = np.zeros((len(joined), count), np.float32)
        for phase in range(phases):
            low += parts[:, phase : phase + count, phase]
        self._low.push(low)
        self._tail = joined[:, count * self._factor :]

    def _note_clipping(self, samples: NDArray[np.float32]) -> None:
        hit = (np.abs(samples) >= _CLIPPED_AT).any(axis=0)
        joined = np.concatenate([self._clip_rest, hit])
        whole = len(joined) // self._hop
        counts = joined[: whole * self._hop].reshape(whole, self._hop).sum(axis=1)
        self._clipped_counts.append(counts)
        self._clip_rest = joined[whole * self._hop :]

    def _ready(self) -> int:
        assert self._full is not None
        assert self._low is not None
        return min(self._full.ready(), self._low.ready())

    def _read(self, count: int) -> None:
        assert self._full is not None
        assert self._low is not None
        found = []
        for reader in self._readers:
            stream = self._low if reader.band.decimated else self._full
            found.append(reader.peaks(stream.frames(count, reader.size)))
        row = np.concatenate([part[0] for part in found])
        cents = np.concatenate([part[1] for part in found])
        level = np.concatenate([part[2] for part in found])
        order = np.lexsort((cents, row))
        order = order[_once(row[order], cents[order], level[order])]
        row = row[order]
        code = np.clip(np.round(cents[order] / _CENTS_STEP), 0, 65_535)
        self._cents.append(code.astype(np.uint16))
        level = np.clip(level[order] / _CENTIBEL, -32_000, 32_000)
        self._levels.append(np.round(level).astype(np.int16))
        self._counts.append(np.bincount(row, minlength=count))
        self._full.drop(count)
        self._low.drop(count)

    def finish(self) -> WalkFeatures:
        frames = 0
        if self._full is not None and self._low is not None:
            self._push_low(np.zeros((len(self._tail), self._half + self._factor), np.float32))
            self._full.pad()
            self._low.pad()
            while (ready := self._ready()) > 0:
                self._read(min(ready, _BATCH_FRAMES))
        counts = np.concatenate(self._counts) if self._counts else np.zeros(0, np.int64)
        frames = len(counts)
        clipped = np.zeros(frames, bool)
        seen = np.concatenate(self._clipped_counts) if self._clipped_counts else np.zeros(0)
        clipped[: min(frames, len(seen))] = seen[:frames] > 2
        return WalkFeatures(
            hop_s=self._hop / self._rate,
            first=np.concatenate([[0], np.cumsum(counts)]).astype(np.int64),
            cents_code=np.concatenate(self._cents) if self._cents else np.zeros(0, np.uint16),
            level_code=np.concatenate(self._levels) if self._levels else np.zeros(0, np.int16),
            clipped=clipped,
        )
