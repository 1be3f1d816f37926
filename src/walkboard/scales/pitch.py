"""The frequency of a key, and the pitches that organs have been tuned to."""

from __future__ import annotations

from walkboard.scales.keys import Key
from walkboard.scales.temperament import Temperament

A4 = Key(69)


def key_hz(key: Key, a4_hz: float, temperament: Temperament) -> float:
    """8′ frequency of a key [Hz]; A4 stands at `a4_hz` in every temperament.

    Parameters
    ----------
    key : Key
    a4_hz : float
        Frequency of A4 [Hz].
    temperament : Temperament

    Raises
    ------
    ValueError
        When `a4_hz` is not positive.

    Notes
    -----
    f = a4 · 2^(cents/1200), cents from A4 in the temperament. Definition; ISO 16:1975 gives
    A4 = 440 Hz.
    """
    if not a4_hz > 0.0:
        raise ValueError(f"the frequency of A4 must be positive, not {a4_hz!r} Hz")
    return float(a4_hz * 2.0 ** (temperament.interval_cents(A4, key) / 1200.0))
