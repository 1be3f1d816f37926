"""How a pipe that a warm hand has touched goes back to the pitch that it will keep.

The hand warms the pipe and the air in it; after the hand is off, the difference to the air around
falls as e^(−t/τ) (Newton's law of cooling; textbook physics, from memory), and with it the pitch:

    f(t) = f∞ + Δ e^(−t/τ)

in cents, which follow temperature linearly for the few degrees that matter (`physics.air`). τ is
tens of seconds to two minutes, longer for thick walls and wood (common practice, no source).
"""

from __future__ import annotations

import math

from walkboard.physics.air import pitch_ratio
from walkboard.quantities import cents_of_ratio


def offset_after(seconds: float, offset_cents: float, tau_s: float) -> float:
    """What is left of an offset after so many seconds [cents].

    Parameters
    ----------
    seconds : float
        Since the hand was taken off [s], not negative.
    offset_cents : float
        Δ, the offset then [cents]; positive is sharp, as a warmed flue stands.
    tau_s : float
        Time constant [s], positive.

    Raises
    ------
    ValueError
        When the time is negative or τ is not positive.
    """
    if not seconds >= 0.0 or not tau_s > 0.0:
        raise ValueError(f"time must not be negative and τ be positive: {seconds!r} s, {tau_s!r} s")
    return offset_cents * math.exp(-seconds / tau_s)


def seconds_until(within_cents: float, offset_cents: float, tau_s: float) -> float:
    """How long until an offset is no more than so many cents [s]; 0 where it is already.

    Raises
    ------
    ValueError
        When the limit or τ is not positive.
    """
    if not within_cents > 0.0 or not tau_s > 0.0:
        raise ValueError("the limit and τ must be positive")
    return max(0.0, tau_s * math.log(max(abs(offset_cents), 1e-12) / within_cents))


def offset_of_warmth(air_celsius: float, warmer_kelvin: float) -> float:
    """How much sharp a flue stands whose air is so much warmer than the air around [cents].

    Parameters
    ----------
    air_celsius : float
        Of the air around [°C].
    warmer_kelvin : float
        By how much the air in the pipe is warmer [K].

    Notes
    -----
    From `physics.air.pitch_ratio`; about 3 cents a kelvin. Reeds do not follow it.
    """
    return cents_of_ratio(pitch_ratio(air_celsius, air_celsius + warmer_kelvin))
