"""Pipes that pull together: two near-unison pipes may sound as one and hide their difference.

No beats does not mean in tune if both pipes share a channel or are mouth to mouth: measure each
alone.
"""

from __future__ import annotations

import math

from walkboard.quantities import cents_between, cents_of_ratio

LOCKING_FRACTION = 0.01  # of the frequency; Angster et al. 1993, AES preprint 3534; ±0.005
LOCKING_CENTS = cents_of_ratio(1.0 + LOCKING_FRACTION)  # 17.226 cents, arithmetic


def may_lock(first_hz: float, second_hz: float) -> bool:
    """Whether two flues on one groove are near enough to sound as one.

    Notes
    -----
    Angster et al. 1993, AES preprint 3534, as reported by Stanzial et al. 2000: on a common groove
    pipes lock, a little above both natural frequencies; more than 1 % apart their difference grows
    instead. Known error: half of the figure either way; pipes on separate channels lock over a far
    narrower range; no figure found.
    """
    return abs(cents_between(first_hz, second_hz)) <= LOCKING_CENTS


def beat_near_locking_hz(difference_hz: float, locking_hz: float) -> float:
    """Beat rate of two weakly coupled pipes [Hz]; 0 if they lock.

    Parameters
    ----------
    difference_hz : float
        Difference of the two pipes measured alone [Hz].
    locking_hz : float
        Half the range within which they lock [Hz].

    Raises
    ------
    ValueError
        If `locking_hz` is negative.

    Notes
    -----
    √(Δf² − f_L²). Adler 1946, Proc. IRE 34:351 (from memory). Range: weak coupling, and a
    difference that is small compared with the frequency. Beats slower than the difference show
    pulling.
    """
    if locking_hz < 0.0:
        raise ValueError(f"half the locking range must not be negative, not {locking_hz!r} Hz")
    if abs(difference_hz) <= locking_hz:
        return 0.0
    return math.sqrt(difference_hz**2 - locking_hz**2)


def difference_behind_beat_hz(beat_hz: float, locking_hz: float) -> float:
    """Difference of two pipes measured alone, from their beat together [Hz].

    The inverse of `beat_near_locking_hz` outside the locked range. Adler 1946.
    """
    return math.hypot(beat_hz, locking_hz)
