"""Beats between two pipes that sounded together: from their frequencies and from the envelope.

Partial m of one pipe and n of another that nearly coincide beat at |m f₁ − n f₂| a second
(Helmholtz, On the Sensations of Tone, chapter VIII; from memory). The beat of the envelope is
measured without the pipes' frequencies, so it checks them. Where two pipes pull each other into
step it is slower than their frequencies apart would give, or gone.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

_TOGETHER_CENTS = 30.0
_MOST_NUMBER = 40
_HIGHEST_HZ = 6_000.0
_PADDED = 16
_CLEAR = 12.0  # peak of the envelope's spectrum over its median


@dataclass(frozen=True, slots=True)
class Beat:
    """Two partials that beat.

    Attributes
    ----------
    first, second : int
        Their numbers in the first and in the second pipe.
    hz : float
        Midway between the two [Hz].
    per_second : float
        Beats a second.
    strength_db : float or None
        Level of the weaker partial [dB], where levels were given; limits how loud the beat can be.
    """

    first: int
    second: int
    hz: float
    per_second: float
    strength_db: float | None = None


def beats_between(
    first_hz: float,
    second_hz: float,
    *,
    first_levels_db: dict[int, float] | None = None,
    second_levels_db: dict[int, float] | None = None,
) -> tuple[Beat, ...]:
    """Every pair of partials of two pipes that beat; loudest first where levels are given.

    Parameters
    ----------
    first_hz, second_hz : float
        Fundamentals [Hz].
    first_levels_db, second_levels_db : dict, optional
        Levels of partials by number; partials not listed do not sound.

    Raises
    ------
    ValueError
        When a fundamental is not positive.
    """
    if not (first_hz > 0.0 and second_hz > 0.0):
        raise ValueError("fundamentals must be positive numbers of Hz")
    found = []
    for m in range(1, min(_MOST_NUMBER, int(_HIGHEST_HZ / first_hz)) + 1):
        n = round(m * first_hz / second_hz)
        if n < 1 or n > _MOST_NUMBER:
            continue
        apart = abs(1200.0 * float(np.log2(m * first_hz / (n * second_hz))))
        if apart > _TOGETHER_CENTS:
            continue
        strength = None
        if first_levels_db is not None and second_levels_db is not None:
            if m not in first_levels_db or n not in second_levels_db:
                continue
            strength = min(first_levels_db[m], second_levels_db[n])
        place = 0.5 * (m * first_hz + n * second_hz)
        found.append(Beat(m, n, place, abs(m * first_hz - n * second_hz), strength))
    if first_levels_db is not None and second_levels_db is not None:
        found.sort(key=lambda beat: -(beat.strength_db or 0.0))
    return tuple(found)


def beat_of_envelope(
    samples: NDArray[np.floating], sample_rate: int, near_hz: float, fastest_hz: float = 12.0
) -> float | None:
    """Beats a second of the sound near a frequency, from the envelope alone.

    Parameters
    ----------
    samples : ndarray, shape (n,)
        The steady part of a hold, one channel.
    sample_rate : int
        [Hz]
    near_hz : float
        Where the partials beat [Hz]; other partials must be more than twice `fastest_hz` away.
    fastest_hz : float
        Fastest beat searched for [Hz].

    Returns
    -------
    float or None
        None if the envelope has no clear beat, or fewer than 1.5 periods of it.
    """
    count = len(samples)
    times = np.arange(count) / sample_rate
    low = samples * np.exp(-2j * np.pi * near_hz * times)
    # Short means, then a window over the whole: neighbouring partials are far below.
    step = max(1, int(sample_rate / (8.0 * fastest_hz)))
    kernel = np.hanning(4 * step + 1)
    smooth = np.convolve(low, kernel / kernel.sum(), mode="same")[:: max(1, step // 2)]
    return beat_of_power(
        smooth.real**2 + smooth.imag**2, max(1, step // 2) / sample_rate, fastest_hz
    )


def beat_of_power(
    power: NDArray[np.floating], spacing_s: float, fastest_hz: float = 12.0
) -> float | None:
    """Beats a second of an envelope's power; None if there is no clear beat.

    Parameters
    ----------
    power : ndarray, shape (n,)
        Power of the envelope, evenly spaced.
    spacing_s : float
    fastest_hz : float
        Fastest beat searched for [Hz]. Beats with fewer than 1.5 periods in all are not searched
        for.
    """
    swing = (power - power.mean()) * np.hanning(len(power))
    spectrum = np.abs(np.fft.rfft(swing, _PADDED * len(power)))
    rate = np.fft.rfftfreq(_PADDED * len(power), spacing_s)
    inside = np.nonzero((rate >= 1.5 / (len(power) * spacing_s)) & (rate <= fastest_hz))[0]
    if len(inside) < 3:
        return None
    peak = int(inside[np.argmax(spectrum[inside])])
    if peak in (inside[0], inside[-1]) or spectrum[peak] < _CLEAR * np.median(spectrum[inside]):
        return None
    a, b, c = np.log(spectrum[peak - 1 : peak + 2])
    return float((peak + 0.5 * (a - c) / (a - 2.0 * b + c)) * (rate[1] - rate[0]))
