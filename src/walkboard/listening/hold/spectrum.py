"""One FFT of a hold, and from it the slow complex envelope of every partial.

A steady partial at frequency f is a line; in a room and with unsteady wind it is a line whose
amplitude and phase move slowly, the *envelope* z(t): x(t) = Re z(t) e^{2πift}. To get z, the bins
of the FFT around f are weighted by a low-pass response and transformed back with a short inverse
FFT, so that forty partials cost hardly more than one (a bank of decimating filters by FFT:
Crochiere & Rabiner 1983, Multirate Digital Signal Processing, chapter 7; from memory).

The low-pass is a cubic B-spline: four running means in a row, each over a whole number of the
pipe's periods. Its response sinc⁴(νb) has fourfold zeros at every other partial, at zero frequency
and at the mirror images on the negative side, however low the pipe; and its memory is only ±2b
(0.08 s; 0.125 s at 16 Hz), so the attack and the key's release stay out of the measured window.
This replaces solving for the amplitudes with the full Gram matrix of the partials.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import scipy.fft
from numpy.typing import NDArray

_RUNNING_MEAN_S = 0.04  # length of each running mean; shorter only costs speed
_TAPER_S = 0.015  # fade at both ends of the hold, so that the FFT wraps without a step
# sin⁴ acts on neighbouring bins as their fourth difference over 16; its mean square is 35/128.
_WINDOW_SCALE = (128.0 / 35.0) / 16.0**2
_FLOOR_QUANTILE = 0.4  # below the median: skirts of partials reach into the gaps
_FLOOR_REACH_HZ = 80.0
_FEW_BINS = 120
_MODEL_FLOOR = 10.0**-9.5  # relative to the loudest partial; no model of sound is good below this


@dataclass(frozen=True, slots=True)
class HoldSpectrum:
    """The FFT of a hold.

    Attributes
    ----------
    bins : ndarray of complex64, shape (channels, bins)
        Transform of the samples, of the rotated channels (see `apart`).
    power : ndarray of float32, shape (channels, bins)
        Squared magnitude under a sin⁴ window (skirts fall 30 dB an octave, so that strong partials
        do not hide the noise between them), scaled so that white noise keeps the mean of
        ``abs(bins) ** 2``.
    rotation : ndarray, shape (channels given, channels)
        Orthonormal columns: channels given = rotation @ channels here.
    sample_rate : int
    length : int
        Length of the transform, zeros at the end included.
    seconds : float
        Length of the hold.
    """

    bins: NDArray[np.complex64]
    power: NDArray[np.float32]
    rotation: NDArray[np.float64]
    sample_rate: int
    length: int
    seconds: float

    @property
    def spacing_hz(self) -> float:
        """Bin spacing [Hz]."""
        return self.sample_rate / self.length


@dataclass(frozen=True, slots=True)
class Envelopes:
    """Complex envelopes of partials on the nodes of a window.

    Attributes
    ----------
    values : ndarray of complex, shape (channels, partials, nodes)
        Peak amplitude and phase against exactly ``numbers * hz``, phase zero at time zero.
    hz : float
        The fundamental that the phases are relative to.
    numbers : ndarray of int, shape (partials,)
    noise : ndarray, shape (channels, partials)
        Variance of one envelope value (complex) if the noise were white over the whole sub-band;
        also the variance of any of its coefficients in an orthonormal basis of slow functions,
        after division by `response`.
    start_s, spacing_s : float
        The window begins at `start_s` in the hold; node j is at the middle of its j-th cell.
    mean_s : float
        Length b of each running mean.
    power : ndarray, shape (channels, partials)
        Mean square of each envelope; independent of the phase course.
    """

    values: NDArray[np.complex128]
    hz: float
    numbers: NDArray[np.int64]
    noise: NDArray[np.float64]
    start_s: float
    spacing_s: float
    mean_s: float
    power: NDArray[np.float64] = field(init=False)

    def __post_init__(self) -> None:
        power = (self.values.real**2 + self.values.imag**2).mean(axis=2)
        object.__setattr__(self, "power", power)

    def response(self, offset_hz: NDArray[np.float64]) -> NDArray[np.float64]:
        """Share of a slow movement of this frequency that passes [-]."""
        return np.asarray(np.sinc(offset_hz * self.mean_s) ** 4)


def apart(samples: NDArray[np.float32]) -> tuple[NDArray[np.float32], NDArray[np.float64]]:
    """Rotate channels so that they are uncorrelated, and drop those that are then empty.

    So a duplicated channel or one in antiphase counts once, and a dead one not at all.

    Parameters
    ----------
    samples : ndarray, shape (n, channels)

    Returns
    -------
    turned : ndarray, shape (kept, n)
        Means removed.
    rotation : ndarray, shape (channels, kept)
    """
    centred = np.ascontiguousarray(samples.T)
    centred = centred - centred.mean(axis=1, keepdims=True)
    if len(centred) == 1:
        return centred, np.ones((1, 1))
    power, axes = np.linalg.eigh((centred @ centred.T).astype(np.float64))
    if power[0] < 1e-4 * power[-1]:
        # In double precision: the residual of a duplicated channel shows in the ninth digit.
        precise = centred.astype(np.float64)
        power, axes = np.linalg.eigh(precise @ precise.T)
    kept = power > 1e-9 * max(power[-1], 1e-300)
    kept[-1] = True
    rotation = axes[:, kept][:, ::-1]
    return rotation.T.astype(np.float32) @ centred, rotation


def spectrum_of_hold(samples: NDArray[np.floating], sample_rate: int) -> HoldSpectrum:
    """Transform a hold of shape (n, channels), n at least 16.

    In single precision: its rounding is 130 dB under the sound, below what a recording contains.
    """
    turned, rotation = apart(np.asarray(samples, np.float32))
    n = turned.shape[1]
    fade = min(round(_TAPER_S * sample_rate), n // 4)
    ramp = (0.5 - 0.5 * np.cos(np.pi * (np.arange(fade) + 0.5) / fade)).astype(np.float32)
    turned[:, :fade] *= ramp
    turned[:, n - fade :] *= ramp[::-1]
    length = scipy.fft.next_fast_len(n, real=True)
    bins = np.asarray(scipy.fft.rfft(turned, length, axis=1))
    power = np.zeros(bins.shape, np.float32)
    # 1, −4, 6, −4, 1 are the fourth differences.
    inner = np.diff(bins, n=4, axis=1)
    power[:, 2:-2] = (inner.real**2 + inner.imag**2) * np.float32(_WINDOW_SCALE)
    return HoldSpectrum(bins, power, rotation, sample_rate, length, n / sample_rate)


def noise_floor(
    spectrum: HoldSpectrum, hz: float, numbers: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Mean of ``abs(bins) ** 2`` due to noise alone around each partial.

    A low quantile of the bins from halfway to the partial below to halfway to the one above, at
    most 80 Hz either side, so that partials, hum and other lines there do not count. With few bins,
    the mean over five partials.

    Returns
    -------
    ndarray, shape (channels, partials)
    """
    reach = max(4, round(min(0.5 * hz, _FLOOR_REACH_HZ) / spectrum.spacing_hz))
    offsets = np.unique(np.linspace(-reach, reach, min(2 * reach + 1, 161)).round().astype(int))
    centres = np.round(numbers * hz / spectrum.spacing_hz).astype(int)
    index = np.clip(centres[:, np.newaxis] + offsets, 2, spectrum.bins.shape[1] - 3)
    rank = int(_FLOOR_QUANTILE * len(offsets))
    low = np.partition(spectrum.power[:, index], rank, axis=2)[:, :, rank]
    floor: NDArray[np.float64] = low / -np.log(1.0 - _FLOOR_QUANTILE)  # of an exponential law
    if len(offsets) < _FEW_BINS and len(numbers) >= 5:
        padded = np.pad(floor, ((0, 0), (2, 2)), mode="edge")
        floor = np.lib.stride_tricks.sliding_window_view(padded, 5, axis=1).mean(axis=2)
    quiet = 1e-30 + 1e-22 * float(spectrum.power.max(initial=0.0))  # rounding, for pure tones
    return np.maximum(floor, quiet)


def running_mean_s(hz: float) -> float:
    """Length of each of the four running means for a pipe [s]: whole periods, near 0.04 s."""
    return max(1.0, round(_RUNNING_MEAN_S * hz)) / hz


def envelopes(
    spectrum: HoldSpectrum,
    hz: float,
    numbers: NDArray[np.int64],
    floor: NDArray[np.float64],
    window_s: tuple[float, float],
) -> Envelopes:
    """Envelopes of the partials over a window of the hold.

    Parameters
    ----------
    floor : ndarray, shape (channels, partials)
        From `noise_floor`.
    window_s : (float, float)
        Requested window, in seconds from the start of the hold; moved by less than one node.
    """
    mean_s = running_mean_s(hz)
    spacing = spectrum.spacing_hz
    half = int(np.ceil(1.0 / (mean_s * spacing)))
    count = 2 * half
    offsets = np.arange(-half, half)
    centres = np.round(numbers * hz / spacing).astype(int)
    index = centres[:, np.newaxis] + offsets
    inside = (index > 0) & (index < spectrum.bins.shape[1])
    away = index * spacing - (numbers * hz)[:, np.newaxis]
    weight = np.sinc(away * mean_s) ** 4 * inside * (np.abs(away) < 1.0 / mean_s)
    gathered = spectrum.bins[:, np.clip(index, 0, spectrum.bins.shape[1] - 1)].astype(np.complex128)
    gathered = np.fft.ifftshift(gathered * weight, axes=2)
    cell = spectrum.length / spectrum.sample_rate / count
    first = max(0, int(np.ceil(window_s[0] / cell)))
    last = max(first + 2, min(count - 1, int(np.floor(window_s[1] / cell)) - 1))
    times = np.arange(first, last + 1) * cell
    values = np.asarray(scipy.fft.ifft(gathered, axis=2), np.complex128)[:, :, first : last + 1]
    drift = np.exp(2j * np.pi * np.outer(centres * spacing - numbers * hz, times))
    # ifft divides by count; the amplitude of a real line is 2 / length times its bin
    values = values * drift * (2.0 * count / spectrum.length)
    noise = 4.0 * floor * count / spectrum.length**2
    loudest = (values.real**2 + values.imag**2).mean(axis=2).max(axis=1, keepdims=True)
    noise = np.maximum(noise, _MODEL_FLOOR * loudest)
    return Envelopes(values, hz, numbers, noise, float(times[0] - 0.5 * cell), cell, mean_s)
