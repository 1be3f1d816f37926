"""What else sounds: names another key of the rank from the peaks of a short spectrum.

The peaks that stand out from the noise are listed; a comb is scored by the share of the peaks'
power that it explains, times the share of its own lowest partials that are present. The first
factor keeps a key an octave above from winning, the second a key an octave below.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy.fft
from numpy.typing import NDArray

from walkboard.listening.live.readings import LiveFlag
from walkboard.listening.types import Comb

_HIGHEST_HZ = 5_000.0
_LOWEST_HZ = 14.0
_PEAK = 40.0  # power over the floor around it
_RANGE_DB = 45.0
_NEAR_CENTS = 45.0
_USUAL_CENTS = 25.0
_CLEAR = 0.4  # score from which a comb is identified
_BETTER = 1.25  # times the score of the expected pipe
_LEAST_SHARE = 0.04  # share of the power that a second pipe must have
_LOWEST_PARTIALS = 5


@dataclass(frozen=True, slots=True)
class Recognised:
    """What else is heard.

    Attributes
    ----------
    flag : LiveFlag
    label : str or None
        Label of the other comb, where it has a name.
    instead : bool
        Whether it sounds instead of the expected pipe.
    """

    flag: LiveFlag
    label: str | None
    instead: bool


@dataclass(frozen=True, slots=True)
class _Peaks:
    hz: NDArray[np.float64]
    power: NDArray[np.float64]


def recognise(
    samples: NDArray[np.float32],
    sample_rate: int,
    pipe: Comb,
    others: Sequence[Comb],
    *,
    pipe_is_heard: bool,
) -> Recognised | None:
    """Identify what sounds beside or instead of the expected pipe; None if nothing else does.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        A quarter of a second or ten periods.
    pipe : Comb
        The expected pipe, at its current pitch.
    others : sequence of Comb
        Other keys of the rank.
    pipe_is_heard : bool
        Whether its partials stand out at all.
    """
    peaks = _peaks(samples, sample_rate)
    if len(peaks.hz) == 0:
        return None
    resolution_hz = 2.0 * sample_rate / len(samples)
    own = _score(peaks, pipe.hz, resolution_hz) if pipe_is_heard else 0.0
    scored = [
        (_score(peaks, comb.hz, resolution_hz), comb)
        for comb in others
        if abs(np.log2(comb.hz / pipe.hz)) > 0.5 / 12.0
    ]
    best, comb = max(scored, key=lambda pair: pair[0], default=(0.0, None))
    if comb is not None and best > _CLEAR and best > _BETTER * own:
        return Recognised(LiveFlag.OTHER_KEY, comb.label, instead=True)
    if not pipe_is_heard:
        return None
    if _overblown(peaks, pipe.hz, resolution_hz):
        return Recognised(LiveFlag.OCTAVE, None, instead=True)
    left = _without(peaks, pipe.hz, resolution_hz)
    if float(left.power.sum()) < _LEAST_SHARE * float(peaks.power.sum()):
        return None
    scored = [(_score(left, comb.hz, resolution_hz), comb) for _, comb in scored]
    best, comb = max(scored, key=lambda pair: pair[0], default=(0.0, None))
    if comb is not None and best > _CLEAR:
        return Recognised(LiveFlag.NEIGHBOUR, comb.label, instead=False)
    return None


def _peaks(samples: NDArray[np.float32], sample_rate: int) -> _Peaks:
    length = scipy.fft.next_fast_len(2 * len(samples), real=True)
    bins = scipy.fft.rfft(samples * np.blackman(len(samples)), length)
    spacing = sample_rate / length
    last = min(len(bins) - 1, int(_HIGHEST_HZ / spacing))
    power = (bins.real**2 + bins.imag**2)[: last + 1].astype(np.float64)
    # The floor: a low quantile in stretches of 200 Hz.
    wide = max(8, int(200.0 / spacing))
    stretches = np.array_split(power, max(1, len(power) // wide))
    floor = np.concatenate([np.full(len(s), np.quantile(s, 0.4)) for s in stretches])
    inner = power[1:-1]
    top = (inner > power[:-2]) & (inner >= power[2:]) & (inner > _PEAK * floor[1:-1])
    top &= inner > power.max() * 10.0 ** (-_RANGE_DB / 10.0)
    at = np.flatnonzero(top) + 1
    at = at[at * spacing > _LOWEST_HZ]
    if len(at) == 0:
        return _Peaks(np.zeros(0), np.zeros(0))
    a, b, c = (np.log(power[at + k] + 1e-30) for k in (-1, 0, 1))
    away = 0.5 * (a - c) / np.minimum(a - 2.0 * b + c, -1e-9)
    return _Peaks((at + away) * spacing, np.sqrt(power[at]))  # amplitudes: high partials count


def _closeness(peaks: _Peaks, hz: float, resolution_hz: float) -> NDArray[np.float64]:
    """How well each peak sits on a comb, 0 to 1.

    A comb is a few cents from where its key is expected; peaks are placed far more finely than the
    resolution.
    """
    number = np.maximum(1.0, np.round(peaks.hz / hz))
    width = np.hypot(number * hz * _USUAL_CENTS / 1731.2, 0.06 * resolution_hz)
    return np.asarray(np.exp(-0.5 * ((peaks.hz - number * hz) / width) ** 2))


def _numbers(peaks: _Peaks, hz: float, resolution_hz: float) -> NDArray[np.int64]:
    """Partial number of each peak in a comb; 0 if it is not one of its partials."""
    number = np.maximum(1.0, np.round(peaks.hz / hz))
    away = np.abs(peaks.hz - number * hz)
    near = away < np.minimum(
        0.4 * hz, np.maximum(number * hz * _NEAR_CENTS / 1731.2, 0.5 * resolution_hz)
    )
    return np.where(near, number, 0.0).astype(np.int64)


def _score(peaks: _Peaks, hz: float, resolution_hz: float) -> float:
    if len(peaks.hz) == 0:
        return 0.0
    number = _numbers(peaks, hz, resolution_hz)
    total = float(peaks.power.sum())
    close = _closeness(peaks, hz, resolution_hz)
    explained = float((peaks.power * close)[number > 0].sum()) / total
    count = min(_LOWEST_PARTIALS, max(1, int(_HIGHEST_HZ / hz)))
    # A comb whose upper partials would be lost in the noise needs only a few.
    loudest = int(number[int(np.argmax(np.where(number > 0, peaks.power, 0.0)))])
    asked = np.arange(1, min(count, max(1, loudest)) + 1)
    odd_too = np.isin(asked, number).mean()
    present = float(np.isin(1, number)) * 0.3 + 0.7 * float(odd_too)
    return explained * present


def _overblown(peaks: _Peaks, hz: float, resolution_hz: float) -> bool:
    """Whether all partials heard belong to one pipe an overtone up."""
    number = _numbers(peaks, hz, resolution_hz)
    there = number[number > 0]
    if len(there) == 0:
        return False
    explained = float(peaks.power[number > 0].sum()) / float(peaks.power.sum())
    return explained > 0.8 and int(np.gcd.reduce(there)) > 1


def _without(peaks: _Peaks, hz: float, resolution_hz: float) -> _Peaks:
    left = _numbers(peaks, hz, resolution_hz) == 0
    return _Peaks(peaks.hz[left], peaks.power[left])
