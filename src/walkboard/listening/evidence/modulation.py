"""Regular movement of a hold's pitch and loudness, as a tremulant makes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from walkboard.listening.evidence.lines import LongSpectrum

FloatArray = NDArray[np.float64]

SLOWEST_HZ, FASTEST_HZ = 2.5, 9.5  # of tremulants; common practice 3 to 8, no source
_BAND_HZ = 35.0  # either side of a partial: wide enough for a deep tremulant's side bands
_BEAT_BAND_HZ = 12.0  # either side of a partial: passes the beats of unisons, excludes noise
_USED = 0.8  # middle share of the window; outside it the Hann window hides the sound
_SAME_RATE_HZ = 0.4


@dataclass(frozen=True, slots=True)
class Modulation:
    """The clearest regular movement of one hold.

    Attributes
    ----------
    rate_hz : float
    depth_cents : float
        Peak, of the pitch.
    depth_db : float
        Peak, of the level.
    stands_out : float
        Amplitude of the pitch's line over the median of its spectrum around it [-].
    level_stands_out : float
        The same of the level, within 0.4 Hz of that rate.
    """

    rate_hz: float
    depth_cents: float
    depth_db: float
    stands_out: float
    level_stands_out: float


def modulation_of(
    spectrum: LongSpectrum, partials_hz: Sequence[float], fundamental_hz: float
) -> Modulation | None:
    """Movement that the given partials of one pipe share.

    Parameters
    ----------
    spectrum : LongSpectrum
    partials_hz : sequence of float
        Frequencies of the pipe's strongest partials.
    fundamental_hz : float

    Returns
    -------
    Modulation or None
        None where the hold is too short for two periods, or the pipe too low.
    """
    band_hz = min(_BAND_HZ, 0.45 * fundamental_hz)
    if spectrum.seconds < 1.0 or band_hz < FASTEST_HZ + 1.0 or not len(partials_hz):
        return None
    pitch: FloatArray | None = None
    level: FloatArray | None = None
    weight = 0.0
    for hz in partials_hz:
        envelope, spacing_s = _envelope(spectrum, hz, band_hz)
        size = float(np.sqrt(np.mean(np.abs(envelope) ** 2)))
        course = _level(np.unwrap(np.angle(envelope))) / (2.0 * np.pi * hz)
        loud = _level(np.log(np.abs(envelope) + 1e-3 * size))
        # The phase of a high partial shows pitch more precisely.
        mass = size * hz
        pitch = mass * course if pitch is None else pitch + mass * course
        level = mass * loud if level is None else level + mass * loud
        weight += mass
    assert pitch is not None
    assert level is not None
    count = len(pitch)
    window = np.hanning(count)
    padded = 4 * count
    rates = np.fft.rfftfreq(padded, spacing_s)
    # Frequency is the slope of the phase: times 2πν.
    of_pitch = np.abs(np.fft.rfft(pitch / weight * window, padded)) * 2.0 * np.pi * rates
    of_level = np.abs(np.fft.rfft(level / weight * window, padded))
    inside = (rates >= SLOWEST_HZ) & (rates <= FASTEST_HZ)
    around = (rates >= 1.5) & (rates <= min(band_hz - 1.0, 14.0))
    if inside.sum() < 3:
        return None
    peak = int(np.flatnonzero(inside)[np.argmax(of_pitch[inside])])
    rate = float(rates[peak])
    near = np.abs(rates - rate) <= _SAME_RATE_HZ
    amplitude = 2.0 / window.sum()
    return Modulation(
        rate_hz=rate,
        depth_cents=float(of_pitch[peak] * amplitude * 1731.23),
        depth_db=float(of_level[near].max() * amplitude * 8.686),
        stands_out=float(of_pitch[peak] / np.median(of_pitch[around])),
        level_stands_out=float(of_level[near].max() / np.median(of_level[around])),
    )


def loudness_unrest_db(spectrum: LongSpectrum, partial_hz: float, fundamental_hz: float) -> float:
    """How much the loudness of one partial varies around its own trend, root mean square [dB].

    One pipe keeps its loudness within about half a decibel; two in unison beat.
    """
    band_hz = min(_BEAT_BAND_HZ, 0.4 * fundamental_hz)
    envelope, _ = _envelope(spectrum, partial_hz, band_hz)
    level = 20.0 * np.log10(np.abs(envelope) + 1e-12)
    at = np.linspace(-1.0, 1.0, len(level))
    trend = np.polynomial.polynomial.polyfit(at, level, 1)
    return float((level - np.polynomial.polynomial.polyval(at, trend)).std())


def _envelope(
    spectrum: LongSpectrum, hz: float, band_hz: float
) -> tuple[NDArray[np.complex128], float]:
    """Complex envelope of a line with the window divided out, and its spacing [s]."""
    half = max(8, int(band_hz / spectrum.spacing_hz))
    centre = round(hz / spectrum.spacing_hz)
    index = centre + np.arange(-half, half)
    inside = (index > 0) & (index < len(spectrum.bins))
    gathered = np.where(inside, spectrum.bins[np.clip(index, 0, len(spectrum.bins) - 1)], 0.0)
    gathered = gathered * np.hanning(2 * half + 2)[1:-1] ** 0.25
    values = scipy.fft.ifft(np.fft.ifftshift(gathered))
    total_s = spectrum.length / spectrum.sample_rate
    spacing_s = total_s / (2 * half)
    times = np.arange(2 * half) * spacing_s
    window = 0.5 - 0.5 * np.cos(2.0 * np.pi * times / spectrum.seconds)
    edge = 0.5 * (1.0 - _USED) * spectrum.seconds
    used = (times > edge) & (times < spectrum.seconds - edge)
    return np.asarray(values[used] / window[used], np.complex128), spacing_s


def _level(course: FloatArray) -> FloatArray:
    """A course without its slow movement: mean, slope and curvature removed."""
    at = np.linspace(-1.0, 1.0, len(course))
    basis = np.stack([np.ones_like(at), at, at**2, at**3], axis=1)
    q, _ = np.linalg.qr(basis)
    return np.asarray(course - q @ (q.T @ course))
