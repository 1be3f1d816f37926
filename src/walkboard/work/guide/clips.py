"""Cuts a hold into a clip that loops without a click; the crossfade is built in.

The loop is a whole number of periods long, found by correlation, so that the crossfade neither dips
nor shifts the pitch: half a sample of error in a one-second loop is at most 0.02 cent.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]

RATE_HZ = 48_000  # of every clip: Opus's only rate that browsers decode without resampling
_SKIP_S = 0.15  # skipped at the hold's start, where the previous key still rings. Chosen.
_SETTLED_S = 0.7  # earliest start of a loop: speech and room build-up. Chosen.
_RELEASE_S = 0.12  # skipped before the hold's end, which is known to about that. Chosen.
_LOOP_S, _SHORTEST_LOOP_S = 1.1, 0.35  # chosen: longer loops beat less, clips stay small
_CROSSFADE_S = 0.2
_FADE_IN_S = 0.03
_TAIL_S = 0.05  # loop start repeated after its end: codecs smear the last frames. Opus: 20 ms


@dataclass(frozen=True, eq=False)
class Clip:
    """A sound that can be sustained indefinitely.

    Attributes
    ----------
    samples : ndarray of float64, shape (n,)
        One channel at `RATE_HZ`.
    loop_start, loop_end : int
        Sample numbers between which it repeats.
    """

    samples: Samples
    loop_start: int
    loop_end: int


def make_clip(samples: Samples, hz: float) -> Clip | None:
    """A clip of one hold.

    Parameters
    ----------
    samples : ndarray of float64, shape (n,)
        The hold from its start to its end, one channel at `RATE_HZ`.
    hz : float
        Frequency of the pipe; the loop is a whole number of its periods [Hz].

    Returns
    -------
    Clip or None
        None if the hold is too short to loop.
    """
    end = len(samples) - round(_RELEASE_S * RATE_HZ)
    fade = round(_CROSSFADE_S * RATE_HZ)
    longest = end - round(_SETTLED_S * RATE_HZ) - fade
    if longest < round(_SHORTEST_LOOP_S * RATE_HZ) or not hz > 0.0:
        return None
    length = _loop_length(samples, end, fade, min(longest, round(_LOOP_S * RATE_HZ)), hz)
    start = end - length
    begin = round(_SKIP_S * RATE_HZ)
    joined = samples[begin : end + 1].copy()
    joined[end - fade - begin : end - begin] = _crossfaded(
        samples[end - fade : end], samples[start - fade : start]
    )
    ramp = round(_FADE_IN_S * RATE_HZ)
    joined[:ramp] *= np.linspace(0.0, 1.0, ramp)
    tail = samples[start : start + round(_TAIL_S * RATE_HZ)]
    joined = np.concatenate([joined[: end - begin], tail])
    return Clip(joined, start - begin, end - begin)


def _loop_length(samples: Samples, end: int, fade: int, longest: int, hz: float) -> int:
    """The whole number of periods, to the nearest sample, at which the sound repeats best."""
    period = RATE_HZ / hz
    last = samples[end - fade : end]
    best, best_match = longest, -np.inf
    periods = max(1, int(longest / period))
    # The dozen longest lengths: enough for slow beats between two rows to come round.
    for count in range(max(1, periods - 12), periods + 1):
        for length in {int(count * period), int(count * period) + 1}:
            if length > longest:
                continue
            before = samples[end - length - fade : end - length]
            power = np.sqrt(np.dot(last, last) * np.dot(before, before))
            match = np.dot(last, before) / power if power > 0.0 else 0.0
            if match > best_match:
                best, best_match = length, float(match)
    return best


def _crossfaded(old: Samples, new: Samples) -> Samples:
    """Fade from `old` to `new` at constant power, whatever their correlation."""
    power = float(np.sqrt(np.dot(old, old) * np.dot(new, new)))
    alike = float(np.dot(old, new)) / power if power > 0.0 else 0.0
    rise = np.linspace(0.0, 1.0, len(old))
    fall = 1.0 - rise
    even = np.sqrt(np.maximum(rise**2 + fall**2 + 2.0 * alike * rise * fall, 0.25))
    mixed: Samples = (fall * old + rise * new) / even
    return mixed
