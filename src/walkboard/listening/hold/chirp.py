"""Spectra at any spacing: the chirp z-transform by FFT (Bluestein 1970, IEEE Trans. AU-18:451).

nk = (n² + k² − (k − n)²)/2 turns a transform of any spacing into a convolution. `scipy.signal.CZT`
does the same, and the tests compare with it; but its package takes a second to import, half as long
as listening to a walk.
"""

from __future__ import annotations

import numpy as np
import scipy.fft
from numpy.typing import NDArray

Complex = NDArray[np.complex128]


class ChirpTransform:
    """X_k = Σ_n x_n e^{i·step·n·k} for k = 0 … `to` − 1.

    Parameters
    ----------
    given : int
        Number of values x.
    to : int
        Number of values X.
    step_rad : float
        Angle between neighbours [rad].
    """

    def __init__(self, given: int, to: int, step_rad: float) -> None:
        self._given, self._to = given, to
        longest = max(given, to)
        squares = np.arange(longest, dtype=np.float64) ** 2
        # Reduce the angle modulo a turn first: n² is exact, its product with π is not.
        chirp = np.exp(2j * np.pi * np.remainder(squares * (0.5 * step_rad / (2.0 * np.pi)), 1.0))
        self._length = int(scipy.fft.next_fast_len(given + to - 1))
        around = np.zeros(self._length, complex)
        around[:to] = chirp[:to].conj()
        if given > 1:
            around[1 - given :] = chirp[1:given][::-1].conj()
        self._spectrum = scipy.fft.fft(around)
        self._before, self._after = chirp[:given], chirp[:to]

    def __call__(self, values: Complex) -> Complex:
        """Transform the last axis, shape (…, given) to (…, to)."""
        turned = scipy.fft.fft(values * self._before, self._length, axis=-1)
        met = scipy.fft.ifft(turned * self._spectrum, axis=-1)[..., : self._to]
        return np.asarray(met * self._after, np.complex128)
