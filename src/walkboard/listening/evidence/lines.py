"""The spectral lines of a hold, from one long FFT, and the series that they form.

A steady pipe is a comb of sharp lines. With a Hann window over T seconds two lines 2/T apart are
separated, so that a second pipe a cent or two from the first shows at the higher partials.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

_LEAD_S = 0.6  # skipped at the start of the hold: attack, room filling. Chosen.
_TAIL_S = 0.08  # skipped at the end: the key is released. Chosen.
_LONGEST_S = 4.0  # beyond this, finer resolution only shows the pipe's wander. Chosen.
_HIGHEST_HZ = 7_500.0
_FLOOR_BLOCK_HZ = 60.0
_OVER_FLOOR_DB = 14.0  # a line over the median around it; noise exceeds it once in e¹⁷ bins
_UNDER_LOUDEST_DB = 52.0  # anything fainter comes from the room or the recorder. Chosen.
_MOST_LINES = 100
_HANN_BINS = 2.0  # half the main lobe


@dataclass(frozen=True, slots=True)
class HoldLines:
    """Lines of one hold, upward.

    Attributes
    ----------
    hz, level_db : ndarray, shape (lines,)
        Level of a sine's amplitude re full scale.
    seconds : float
        Length of the analysis window.
    """

    hz: FloatArray
    level_db: FloatArray
    seconds: float

    @property
    def apart_hz(self) -> float:
        """Spacing below which two lines merge [Hz]."""
        return _HANN_BINS / self.seconds


def window_of_hold(samples: NDArray[np.floating], sample_rate: int) -> NDArray[np.floating]:
    """The steady part of a hold, used for lines and modulation; shape (n, channels)."""
    count = len(samples)
    lead = min(int(_LEAD_S * sample_rate), count // 3)
    tail = min(int(_TAIL_S * sample_rate), count // 8)
    end = count - tail
    return samples[max(lead, end - int(_LONGEST_S * sample_rate)) : end]


@dataclass(frozen=True, slots=True)
class LongSpectrum:
    """One Hann-windowed FFT of the steady part of a hold, on its loudest channel.

    Attributes
    ----------
    bins : ndarray of complex64
    sample_rate, length : int
        Length of the transform.
    count : int
        Samples before zero padding.
    """

    bins: NDArray[np.complex64]
    sample_rate: int
    length: int
    count: int

    @property
    def seconds(self) -> float:
        """Length of the sound in it [s]."""
        return self.count / self.sample_rate

    @property
    def spacing_hz(self) -> float:
        """Bin spacing [Hz]."""
        return self.sample_rate / self.length


def long_spectrum(samples: NDArray[np.floating], sample_rate: int) -> LongSpectrum:
    """Transform the steady part of a hold of shape (n, channels)."""
    steady = window_of_hold(samples, sample_rate)
    power = (np.asarray(steady, np.float64) ** 2).sum(axis=0)
    one = np.asarray(steady[:, int(np.argmax(power))], np.float32)
    count = len(one)
    one = (one - one.mean()) * np.hanning(count).astype(np.float32)
    length = scipy.fft.next_fast_len(count, real=True)
    bins = np.asarray(scipy.fft.rfft(one, length), np.complex64)
    return LongSpectrum(bins, sample_rate, length, count)


def lines_of(spectrum: LongSpectrum) -> HoldLines:
    """Peaks that stand out from their surroundings; the 100 strongest at most."""
    top = min(len(spectrum.bins) - 1, int(_HIGHEST_HZ / spectrum.spacing_hz))
    part = spectrum.bins[: top + 1]
    power = (part.real**2 + part.imag**2).astype(np.float64) + 1e-30
    peak = np.flatnonzero((power[1:-1] > power[:-2]) & (power[1:-1] >= power[2:])) + 1
    block = max(8, int(_FLOOR_BLOCK_HZ / spectrum.spacing_hz))
    blocks = len(power) // block + 1
    padded = np.pad(power, (0, blocks * block - len(power)), mode="edge").reshape(blocks, block)
    floor = np.median(padded, axis=1)
    local = np.interp(peak, (np.arange(blocks) + 0.5) * block, floor)
    keep = power[peak] > local * 10.0 ** (_OVER_FLOOR_DB / 10.0)
    keep &= power[peak] > power.max() * 10.0 ** (-_UNDER_LOUDEST_DB / 10.0)
    # Side lobes of the window: 31 dB down beside a line, falling by 18 dB an octave.
    peak = peak[keep]
    order = np.argsort(-power[peak])[:_MOST_LINES]
    peak = np.sort(peak[order])
    if len(peak) == 0:
        return HoldLines(np.zeros(0), np.zeros(0), spectrum.seconds)
    log = np.log(power)
    a, b, c = log[peak - 1], log[peak], log[peak + 1]
    curve = np.minimum(a - 2.0 * b + c, -1e-9)
    shift = 0.5 * (a - c) / curve
    hz = (peak + np.clip(shift, -0.5, 0.5)) * spectrum.spacing_hz
    # A sine of amplitude A under a Hann window of n samples has a bin of A n / 4.
    level = 10.0 * (b - 0.25 * (a - c) * shift) / np.log(10.0)
    level -= 20.0 * np.log10(spectrum.count / 4.0)
    lines = HoldLines(np.asarray(hz, float), np.asarray(level, float), spectrum.seconds)
    return _without_lobes(lines, spectrum)


def _without_lobes(lines: HoldLines, spectrum: LongSpectrum) -> HoldLines:
    """Drop what may be a side lobe or skirt of a stronger line nearby."""
    apart = np.abs(lines.hz[:, np.newaxis] - lines.hz) * spectrum.count / spectrum.sample_rate
    below = lines.level_db[np.newaxis, :] - lines.level_db[:, np.newaxis]
    lobe_db = 27.0 + 18.0 * np.log2(np.maximum(apart, 2.0) / 2.5)
    hidden = ((below > lobe_db) & (apart < 40.0)).any(axis=1)
    # No second line can be seen within the main lobe.
    hidden |= ((below > 3.0) & (apart < 1.5)).any(axis=1)
    return HoldLines(lines.hz[~hidden], lines.level_db[~hidden], lines.seconds)


def cents(ratio: FloatArray) -> FloatArray:
    """Cents of positive ratios."""
    return np.asarray(1200.0 * np.log2(ratio))


@dataclass(frozen=True, slots=True)
class Series:
    """Lines that lie at whole multiples of one fundamental.

    Attributes
    ----------
    hz : float
        The fundamental.
    numbers : ndarray of int
        Numbers of the partials found.
    lines : ndarray of int
        Indices of the lines, in the same order.
    missed : int
        How many numbers up to the highest found have no line where one should be.
    """

    hz: float
    numbers: NDArray[np.int64]
    lines: NDArray[np.int64]
    missed: float

    @property
    def score(self) -> float:
        """How much it explains: lines found count for it, missing lines against it."""
        return len(self.numbers) - 0.4 * self.missed


def best_series(
    hz: FloatArray,
    base_hz: float,
    reach_cents: float,
    seconds: float,
    *,
    excused_hz: FloatArray | None = None,
    most: int = 16,
) -> Series | None:
    """The series that most lines agree on, within so many cents of a base frequency.

    Parameters
    ----------
    hz : ndarray
        Lines that may belong to it.
    base_hz : float
        Where its fundamental is expected.
    reach_cents : float
    seconds : float
        Length of the lines' analysis window.
    excused_hz : ndarray, optional
        Stronger lines that would hide a line of the series beside them.
    most : int
        Highest partial considered.
    """
    if len(hz) == 0:
        return None
    number = np.rint(hz / base_hz).astype(np.int64)
    proper = (number >= 1) & (number <= most)
    away = cents(hz / (np.maximum(number, 1) * base_hz))
    proper &= np.abs(away) <= reach_cents
    index = np.flatnonzero(proper)
    if len(index) == 0:
        return None
    away, number = away[index], number[index]
    # A line is placed to within a quarter of a bin, plus half a cent for the pipe's unsteadiness.
    tolerance = 0.6 + 1731.0 * 0.3 / seconds / hz[index]
    near = np.abs(away[:, np.newaxis] - away) < np.maximum(
        tolerance[:, np.newaxis], tolerance[np.newaxis, :]
    )
    # Each partial number once.
    support = np.array([len(np.unique(number[row])) for row in near])
    # Among equals, the one centred on the sharpest line.
    best = int(np.lexsort((tolerance, -support))[0])
    met = near[best]
    weight = 1.0 / tolerance[met] ** 2
    offset = float(weight @ away[met] / weight.sum())
    fundamental = base_hz * 2.0 ** (offset / 1200.0)
    numbers, first = np.unique(number[met], return_index=True)
    lines = index[np.flatnonzero(met)[first]]
    missing = np.setdiff1d(np.arange(1, numbers[-1] + 1), numbers)
    if excused_hz is not None and len(missing) and len(excused_hz):
        place = missing * fundamental
        gap = np.abs(place[:, np.newaxis] - excused_hz).min(axis=1)
        missing = missing[gap > 2.5 / seconds]
    return Series(fundamental, numbers, lines, float(len(missing)))
