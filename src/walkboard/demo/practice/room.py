"""A small room for sound made block by block: parallel comb filters.

After Schroeder 1962, J. Audio Eng. Soc. 10:219 (from memory): each comb feeds its input back after
a delay, with a gain that makes it fall 60 dB in the reverberation time. With delays longer than a
block, a whole block is calculated at once.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_DELAYS_S = (0.1013, 0.1117, 0.1237, 0.1373, 0.1499, 0.1627)  # no two share a multiple nearby
_TAPS_S = (0.0113, 0.0191, 0.0293, 0.0431)  # early reflections
_WET = 0.35


class PracticeRoom:
    """The room.

    Parameters
    ----------
    t60_s : float
        Reverberation time [s], positive.
    sample_rate : int
    """

    def __init__(self, t60_s: float, sample_rate: int) -> None:
        if not t60_s > 0.0:
            raise ValueError(f"a reverberation time must be positive, not {t60_s!r} s")
        self._delays = [round(d * sample_rate) for d in _DELAYS_S]
        self._taps = [round(t * sample_rate) for t in _TAPS_S]
        self._gains = [10.0 ** (-3.0 * d / t60_s) for d in _DELAYS_S]
        self._lines = [np.zeros(d) for d in self._delays]
        self._past = np.zeros(max(self._taps))

    def hear(self, sound: NDArray[np.float64]) -> NDArray[np.float64]:
        """The block with reverberation; any length."""
        heard = np.empty_like(sound)
        longest = min(self._delays)
        for first in range(0, len(sound), longest):
            heard[first : first + longest] = self._part(sound[first : first + longest])
        return heard

    def _part(self, sound: NDArray[np.float64]) -> NDArray[np.float64]:
        count = len(sound)
        both = np.concatenate([self._past, sound])
        early = sum(both[len(self._past) - t : len(both) - t] for t in self._taps) / len(self._taps)
        self._past = both[-len(self._past) :]
        late = np.zeros(count)
        for n, gain in enumerate(self._gains):
            line = self._lines[n]
            out = line[:count]
            late += out * (1.0 if n % 2 else -1.0)
            self._lines[n] = np.concatenate([line[count:], early + gain * out])
        return sound + _WET * (early + late)
