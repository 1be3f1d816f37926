"""The moving pitch of a sounding pipe, known exactly.

A pipe's frequency is **defined** as straight lines between knots, so its phase is a quadratic
between knots and the mean frequency over any window, phase advanced over time, is exact.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.quantities import CENTS_PER_NEPER

KNOT_S = 0.02  # the pitch of a pipe moves far slower than this
WANDER_CORNER_HZ = 0.6  # wind and air move a pipe over seconds, hardly faster


@dataclass(frozen=True, eq=False)
class FrequencyTrack:
    """Frequency of one pipe against time: straight lines between evenly spaced knots.

    Attributes
    ----------
    start_s : float
        Time of the first knot in the recording [s].
    step_s : float
        Time between knots [s].
    knots_hz : ndarray of shape (n,)
        Frequency at the knots [Hz].
    """

    start_s: float
    step_s: float
    knots_hz: NDArray[np.float64]

    def __post_init__(self) -> None:
        if self.step_s <= 0.0 or self.knots_hz.ndim != 1 or self.knots_hz.size < 2:
            raise ValueError("a track needs two knots and a positive step between them")

    @property
    def end_s(self) -> float:
        """Time of the last knot [s]."""
        return self.start_s + self.step_s * (self.knots_hz.size - 1)

    def knot_cycles(self) -> NDArray[np.float64]:
        """Cycles since the start at each knot [-]; exact, by trapezia under straight lines."""
        steps = 0.5 * self.step_s * (self.knots_hz[1:] + self.knots_hz[:-1])
        return np.concatenate(([0.0], np.cumsum(steps)))

    def cycles(self, time_s: float) -> float:
        """Cycles since the start at a time within the track [-].

        Raises
        ------
        ValueError
            When the time lies outside the track.
        """
        place = (time_s - self.start_s) / self.step_s
        last = self.knots_hz.size - 1
        if not -1e-9 <= place <= last + 1e-9:
            raise ValueError(f"{time_s} s lies outside the track, {self.start_s} to {self.end_s} s")
        knot = min(max(int(place), 0), last - 1)
        into_s = time_s - self.start_s - knot * self.step_s
        low, high = self.knots_hz[knot], self.knots_hz[knot + 1]
        before = self.knot_cycles()[knot]
        return float(before + low * into_s + (high - low) * into_s**2 / (2.0 * self.step_s))

    def mean_hz(self, from_s: float, to_s: float) -> float:
        """Mean frequency over a window: cycles advanced over its length [Hz].

        Raises
        ------
        ValueError
            When the window is empty or reaches outside the track.
        """
        if not to_s > from_s:
            raise ValueError(f"a window must have a length, not {from_s} to {to_s} s")
        return (self.cycles(to_s) - self.cycles(from_s)) / (to_s - from_s)

    def wander_cents(self, from_s: float, to_s: float) -> float:
        """Root mean square of the pitch about its mean over a window, from the knots [cents]."""
        times = self.start_s + self.step_s * np.arange(self.knots_hz.size)
        inside = self.knots_hz[(times >= from_s) & (times <= to_s)]
        if inside.size < 2:
            raise ValueError(f"{from_s} to {to_s} s holds fewer than two knots of the track")
        cents = CENTS_PER_NEPER * np.log(inside / inside.mean())
        return float(np.std(cents))


def slow_wander(
    n: int, step_s: float, rng: np.random.Generator, *, corner_hz: float = WANDER_CORNER_HZ
) -> NDArray[np.float64]:
    """Slow random movement with an ensemble root mean square of 1, shape (n,).

    Gaussian with power 1/(1 + (f/corner)²)²: white noise passed twice through a first-order lag, so
    it has a continuous slope and almost nothing above a few Hz.
    """
    span = max(
        2 * n, int(8.0 / (corner_hz * step_s))
    )  # the circular noise is longer than the part used
    frequency_hz = np.fft.rfftfreq(span, step_s)
    gain = 1.0 / (1.0 + (frequency_hz / corner_hz) ** 2)
    draws = rng.standard_normal((2, frequency_hz.size))
    spectrum = gain * (draws[0] + 1j * draws[1])
    power = (2.0 * np.sum(gain**2) - gain[0] ** 2) * 2.0 / span**2
    spectrum[0] = spectrum[0].real * np.sqrt(2.0)
    wander: NDArray[np.float64] = np.fft.irfft(spectrum, span)[:n] / np.sqrt(power)
    return wander
