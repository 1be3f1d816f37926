"""The frequency bands in which a recording is analysed, and the peaks of a batch of frames."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, field

import numpy as np
import scipy.fft
from numpy.typing import NDArray

FOOT_HZ = 12.0  # cents of a peak count from here: below 16 Hz, so the lowest pipe may be flat
TOP_HZ = 16_500.0  # second partial at the top of a 1′ rank: one line alone says little
_FLOOR_FRAMES = 8
_FFT_FRAMES = 16  # few enough for their spectra to stay in the processor's cache
_OVER_FLOOR_DB = 10.0
_UNDER_TOP_DB = 55.0


@dataclass(frozen=True, slots=True)
class Band:
    """One frequency range and its analysis window."""

    low_hz: float
    high_hz: float
    window_s: float
    most_peaks: int
    decimated: bool


BANDS = (
    Band(FOOT_HZ, 140.0, 1.2, 8, True),
    Band(140.0, 560.0, 0.5, 12, True),
    Band(560.0, TOP_HZ, 0.2, 24, False),
)
BAND_EDGES_HZ = tuple(band.low_hz for band in BANDS[1:])
BAND_WINDOWS_S = tuple(band.window_s for band in BANDS)


def cents_of_hz(hz: float) -> float:
    """Place of a frequency [cents above `FOOT_HZ`]."""
    return 1200.0 * math.log2(hz / FOOT_HZ)


def hz_of_cents(cents: float) -> float:
    """Frequency [Hz] at a place in cents above `FOOT_HZ`."""
    return float(FOOT_HZ * 2.0 ** (cents / 1200.0))


@dataclass(slots=True)
class Reader:
    """One band ready for analysis: its window and its bins."""

    band: Band
    rate_hz: float
    size: int = field(init=False)
    window: NDArray[np.float32] = field(init=False)
    low: int = field(init=False)
    high: int = field(init=False)
    blocks: list[int] = field(init=False)

    def __post_init__(self) -> None:
        self.size = scipy.fft.next_fast_len(round(self.band.window_s * self.rate_hz), real=True)
        window = np.blackman(self.size + 1)[:-1]
        self.window = (2.0 * window / window.sum()).astype(np.float32)
        bin_hz = self.rate_hz / self.size
        self.low = max(2, math.floor(self.band.low_hz * 0.985 / bin_hz))
        top_hz = min(self.band.high_hz * 1.015, 0.48 * self.rate_hz)
        self.high = min(self.size // 2 - 2, math.ceil(top_hz / bin_hz))
        bins = max(0, self.high - self.low + 3)
        self.blocks = [0]
        while self.blocks[-1] < bins:
            width = max(24, int(0.26 * (self.low + self.blocks[-1])))
            self.blocks.append(min(bins, self.blocks[-1] + width))
        if len(self.blocks) > 2 and self.blocks[-1] - self.blocks[-2] < 12:
            del self.blocks[-2]

    def peaks(
        self, frames: NDArray[np.float32]
    ) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
        """Frame, place [cents] and level [dB] of the peaks of a batch."""
        if self.high - self.low < 8:
            return np.zeros(0, np.int64), np.zeros(0), np.zeros(0)
        power = np.zeros((frames.shape[1], self.high - self.low + 3), np.float32)
        for channel in frames:
            for start in range(0, len(power), _FFT_FRAMES):
                some = slice(start, start + _FFT_FRAMES)
                spectrum = scipy.fft.rfft(channel[some] * self.window, axis=1, overwrite_x=True)
                parts = spectrum[:, self.low - 1 : self.high + 2].view(np.float32)
                parts = parts * parts
                power[some] += parts[:, 0::2] + parts[:, 1::2]
        power += np.float32(1e-14)
        row, column = self._above_floor(power)
        here = power[row, column]
        is_peak = (here > power[row, column - 1]) & (here >= power[row, column + 1])
        row, column, here = row[is_peak], column[is_peak], here[is_peak]
        keep = _strongest(row, here, self.band.most_peaks)
        row, column = row[keep], column[keep]
        left, level, right = (
            10.0 * np.log10(power[row, column + i].astype(np.float64)) for i in (-1, 0, 1)
        )
        shift = 0.5 * (left - right) / np.minimum(left - 2.0 * level + right, -1e-9)
        bins = self.low - 1 + column + np.clip(shift, -0.5, 0.5)
        cents = 1200.0 * np.log2(bins * (self.rate_hz / self.size) / FOOT_HZ)
        return row, cents, level - 0.25 * (left - right) * shift

    def _above_floor(
        self, power: NDArray[np.float32]
    ) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Row and column of bins well above the noise and not far below the strongest.

        The noise floor is the median over a third of an octave (at least 24 bins), taken every
        eighth frame.
        """
        top = power[:, 1:-1].max(axis=1) * np.float32(10 ** (-_UNDER_TOP_DB / 10))
        lowest = np.maximum(top, np.float32(1e-11))[:, np.newaxis]
        rows = np.arange(len(power)) // _FLOOR_FRAMES
        above = np.zeros(power.shape, bool)
        for start, stop in itertools.pairwise(self.blocks):
            floor = _medians(power[::_FLOOR_FRAMES, start:stop])[rows, np.newaxis]
            limit = np.maximum(floor * np.float32(10 ** (_OVER_FLOOR_DB / 10)), lowest)
            np.greater(power[:, start:stop], limit, out=above[:, start:stop])
        above[:, [0, -1]] = False
        place = np.flatnonzero(above)
        return np.divmod(place, power.shape[1])


def _medians(power: NDArray[np.float32]) -> NDArray[np.float32]:
    """Median of each row; same result as `numpy.median`, in a third of the time."""
    middle = power.shape[1] // 2
    parted = np.partition(np.ascontiguousarray(power), middle, axis=1)
    upper = parted[:, middle]
    if power.shape[1] % 2:
        return upper
    return np.asarray((parted[:, :middle].max(axis=1) + upper) * np.float32(0.5))


def _strongest(row: NDArray[np.int64], power: NDArray[np.float32], most: int) -> NDArray[np.bool_]:
    """Which peaks are among the `most` strongest of their row (rows are sorted)."""
    # Positive floats sort like their bits, so row and power sort as one integer.
    falling = np.uint64(0xFFFF_FFFF) - power.view(np.uint32).astype(np.uint64)
    order = np.argsort((row.astype(np.uint64) << np.uint64(32)) | falling)
    sorted_row = row[order]
    begins = np.searchsorted(sorted_row, sorted_row, side="left")
    keep = np.empty(len(row), bool)
    keep[order] = np.arange(len(row)) - begins < most
    return keep
