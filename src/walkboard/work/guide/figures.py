"""Loudness and colour of a stop relative to the others, as far as one microphone shows them.

For stops heard at one place in one session, loudness is reliable within 0.9 dB and spectral slope
within 0.4 dB an octave (one standard deviation over two simulated rooms and four positions in each,
every stop at its own place: bench stop_figures). One pipe against its neighbours is not (a flute
must be 10 dB out to show at one place), nor is the attack time. So whole stops are compared, over
the keys that they share, and single pipes are not.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.work.guide.clips import RATE_HZ

Samples = NDArray[np.float64]

# Twice that: closer to the middle a stop is "like most". Fitted by bench stop_figures.
SAME_LOUDER_DB, SAME_BRIGHTER_DB = 2.0, 1.0
_FEWEST_KEYS = 4  # least keys shared with the other stops for a comparison. Chosen.
_HIGHEST_HZ = 12_000.0  # above it phones and lossy recordings differ. Chosen.
_FLOOR_DB = 50.0  # below the strongest partial, where room noise dominates. Chosen.
_FEWEST_PARTIALS = 3


@dataclass(frozen=True, slots=True)
class KeySound:
    """Level and slope of one key of a stop.

    Attributes
    ----------
    level_db : float
        A-weighted, relative to a full-scale sine [dB].
    slope_db : float or None
        Slope of its partials, per octave [dB]; None if too few are clear of the noise.
    """

    level_db: float
    slope_db: float | None


@dataclass(frozen=True, slots=True)
class StopFigures:
    """A stop relative to the median of its session's stops.

    Attributes
    ----------
    louder_db : float
        Positive is louder [dB].
    brighter_db : float or None
        Slope of the spectrum: positive falls off more slowly [dB per octave].
    """

    louder_db: float
    brighter_db: float | None


def key_sound(samples: Samples, hz: float) -> KeySound | None:
    """Level and slope of a steady piece of sound; None if it is silent.

    Parameters
    ----------
    samples : ndarray of float64, shape (n,)
        One channel at `RATE_HZ`.
    hz : float
        Frequency of the stop's own fundamental [Hz].
    """
    power = np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) ** 2
    frequency = np.fft.rfftfreq(len(samples), 1.0 / RATE_HZ).astype(np.float64)
    # The Hann window passes 3/8 of the power; this is one side of the spectrum; and a full-scale
    # sine, with power one half, is 0 dB (AES17).
    scale = 4.0 / (0.375 * len(samples) ** 2)
    total = float((power * a_weight(frequency)).sum()) * scale
    if total <= 0.0:
        return None
    levels, numbers = [], []
    for number in range(1, int(_HIGHEST_HZ / hz) + 1):
        near = np.abs(frequency - number * hz) < max(0.02 * hz, 3.0 * RATE_HZ / len(samples))
        levels.append(float(power[near].sum()))
        numbers.append(number)
    top = max(levels, default=0.0)
    stand_out = [
        (n, p) for n, p in zip(numbers, levels, strict=True) if p > top * 10 ** (-_FLOOR_DB / 10)
    ]
    slope = None
    if len(stand_out) >= _FEWEST_PARTIALS:
        octaves = np.log2([n for n, _ in stand_out])
        slope = float(np.polyfit(octaves, 10.0 * np.log10([p for _, p in stand_out]), 1)[0])
    return KeySound(10.0 * float(np.log10(total)), slope)


def a_weight(frequency_hz: NDArray[np.float64]) -> NDArray[np.float64]:
    """A-weighting as a factor of power (IEC 61672-1:2013, annex E), 1 at 1 kHz."""
    f = np.maximum(np.asarray(frequency_hz, dtype=float), 1e-3) ** 2
    response = (
        12194.0**2
        * f**2
        / ((f + 20.6**2) * np.sqrt((f + 107.7**2) * (f + 737.9**2)) * (f + 12194.0**2))
    )
    weight: NDArray[np.float64] = (response * 10.0 ** (2.0 / 20.0)) ** 2
    return weight


def compared(stops: Mapping[str, Mapping[int, KeySound]]) -> dict[str, StopFigures]:
    """Each stop relative to the median of all, over the keys that it shares with others.

    Parameters
    ----------
    stops : mapping of stop id to (mapping of key to KeySound)
        All of one session: one microphone, one place, one setting of its gain.
    """
    found = {}
    for stop, keys in stops.items():
        louder, brighter = [], []
        for key, sound in keys.items():
            peers = [other[key] for other in stops.values() if key in other]
            if len(peers) < 2:
                continue
            louder.append(sound.level_db - float(np.median([p.level_db for p in peers])))
            slopes = [p.slope_db for p in peers if p.slope_db is not None]
            if sound.slope_db is not None and len(slopes) >= 2:
                brighter.append(sound.slope_db - float(np.median(slopes)))
        if len(louder) >= _FEWEST_KEYS:
            bright = float(np.median(brighter)) if len(brighter) >= _FEWEST_KEYS else None
            found[stop] = StopFigures(float(np.median(louder)), bright)
    return found


def every_third(keys: Sequence[int]) -> list[int]:
    """Keys to keep: with all present, none is more than a semitone from one; ends are kept."""
    kept: list[int] = []
    for key in sorted(keys):
        if not kept or key - kept[-1] >= 3:
            kept.append(key)
    if keys and kept[-1] != max(keys) and max(keys) - kept[-1] > 1:
        kept.append(max(keys))
    return kept
