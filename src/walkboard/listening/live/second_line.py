"""A second line beside a pipe's partials: another pipe at nearly the same pitch, fainter or louder.

A unison that is 10 dB louder carries all partials, so they agree, and its beat swells them by less
than a room may. But in the envelope of partial l it stands as a line at l times the difference of
pitch, on one side only. Wind, a tremulant and a hand turn and swell a partial on both sides alike
(angle and amplitude modulation of a carrier: two sidebands, textbook). What a room still holds of
the pitch before a move is such a line too, but it fades.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.hold.spectrum import Envelopes

Complex = NDArray[np.complex128]


@dataclass(frozen=True, slots=True)
class Limits:
    """When a line counts. Fitted by ``bench mishaps``, except where marked.

    Attributes
    ----------
    shortest_s : float
        A shorter window is not searched [s].
    nearest : float
        Least distance from the partial, in cycles over the window: nearer, the window's own skirt
        hides it (derived: a raised cosine's first zero is at 2).
    widest_hz : float
        Largest distance from partial 1 [Hz].
    least_db : float
        Least level below the partial [dB].
    one_sided_db : float
        How much fainter its mirror image is [dB].
    in_step : float
        How far the lines' distances may differ from l times the first, as a share [-].
    lasts : float
        Its least amplitude in the window's second half over that in the first [-].
    """

    shortest_s: float = 0.9
    nearest: float = 2.2
    widest_hz: float = 8.0
    least_db: float = -22.0
    one_sided_db: float = 6.0
    in_step: float = 0.12
    lasts: float = 0.6


LIMITS = Limits()


def has_second_line(env: Envelopes, limits: Limits = LIMITS) -> bool:
    """Whether partials 1 and 2 both have a lasting line on the same side, in step.

    Parameters
    ----------
    env : Envelopes
        Around the pipe's pitch; the first channel is searched.
    """
    values = env.values[0]
    seconds = values.shape[1] * env.spacing_s
    if seconds < limits.shortest_s:
        return False
    places = []
    for number in (1, 2):
        at = np.flatnonzero(env.numbers == number)
        if len(at) == 0:
            return False
        place_hz = _line_hz(values[at[0]], env.spacing_s, number * limits.widest_hz, limits)
        if place_hz is None:
            return False
        places.append(place_hz)
    return abs(places[1] / places[0] - 2.0) < 2.0 * limits.in_step


def _line_hz(envelope: Complex, spacing_s: float, widest_hz: float, limits: Limits) -> float | None:
    """Where a partial's strongest lasting one-sided line is, from the partial [Hz]."""
    count = len(envelope)
    times = (np.arange(count) + 0.5) * spacing_s
    phase = np.unwrap(np.angle(envelope))
    turn = np.polyfit(times, phase, 1, w=np.abs(envelope))
    still = envelope * np.exp(-1j * np.polyval(turn, times))
    window = np.hanning(count + 2)[1:-1]
    size = 8 * count
    power = np.abs(np.fft.fft(still * window, size)) ** 2
    hz = np.fft.fftfreq(size, spacing_s)
    near = np.abs(hz) * count * spacing_s
    searched = (near > limits.nearest) & (np.abs(hz) < widest_hz)
    if not searched.any():
        return None
    at = int(np.argmax(np.where(searched, power, 0.0)))
    level_db = 10.0 * float(np.log10(power[at] / max(power[0], 1e-30) + 1e-12))
    mirror_db = 10.0 * float(np.log10(power[-at] / max(power[0], 1e-30) + 1e-12))
    if level_db < limits.least_db or mirror_db > level_db - limits.one_sided_db:
        return None
    half = count // 2
    first, last = (
        _size(still[part], times[part], hz[at]) for part in (slice(half), slice(half, None))
    )
    return float(hz[at]) if last > limits.lasts * first else None


def _size(still: Complex, times: NDArray[np.floating], hz: float) -> float:
    """Amplitude of a line beside a carrier, by least squares."""
    columns = np.column_stack([np.ones(len(times)), np.exp(2j * np.pi * hz * times)])
    return float(np.abs(np.linalg.lstsq(columns, still, rcond=None)[0][1]))
