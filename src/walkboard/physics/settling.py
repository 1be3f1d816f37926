"""How a pipe warmed by the hand returns to the pitch it will keep.

The hand warms the pipe and the air in it; once the hand is off, the difference from the surrounding
air falls as e^(−t/τ) (Newton's law of cooling; textbook physics, from memory), and with it the
pitch:

    f(t) = f∞ + Δ e^(−t/τ)

in cents, which follow temperature linearly for the few degrees that matter (`physics.air`). τ is
tens of seconds to two minutes, longer for thick walls and wood (common practice, no source).
"""

from __future__ import annotations

import math

from walkboard.physics.air import pitch_ratio
from walkboard.quantities import cents_of_ratio


def offset_after(seconds: float, offset_cents: float, tau_s: float) -> float:
    """What remains of an offset after so many seconds [cents].

    Parameters
    ----------
    seconds : float
        Since the hand was taken off [s], not negative.
    offset_cents : float
        Δ, the offset then [cents]; positive is sharp, as of a warmed flue.
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
    """Time until an offset is down to so many cents [s]; 0 if it already is.

    Raises
    ------
    ValueError
        When the limit or τ is not positive.
    """
    if not within_cents > 0.0 or not tau_s > 0.0:
        raise ValueError("the limit and τ must be positive")
    return max(0.0, tau_s * math.log(max(abs(offset_cents), 1e-12) / within_cents))


def offset_of_warmth(air_celsius: float, warmer_kelvin: float) -> float:
    """How sharp a flue is whose air is warmer than the surrounding air [cents].

    Parameters
    ----------
    air_celsius : float
        Temperature of the surrounding air [°C].
    warmer_kelvin : float
        How much warmer the air in the pipe is [K].

    Notes
    -----
    From `physics.air.pitch_ratio`; about 3 cents a kelvin. Reeds do not follow it.
    """
    return cents_of_ratio(pitch_ratio(air_celsius, air_celsius + warmer_kelvin))
