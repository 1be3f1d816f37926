"""Beats: how fast coincident partials of two pipes beat, and what a beat is in cents.

Conventions. A beat rate carries the sign of the interval's width: positive where the interval is
wider than pure, negative where it is narrower; a unison's is positive if the second pipe is
sharper. The partials of a steadily blown pipe are exact multiples of its fundamental, so no
correction for inharmonicity is made (C. Pykett, article on end correction, 2013).
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from types import MappingProxyType

from walkboard.quantities import cents_between
from walkboard.scales.keys import Key
from walkboard.scales.pitch import key_hz
from walkboard.scales.temperament import Temperament

# The pure interval for a keyboard interval of so many semitones. Just intonation, arithmetic; the
# tritone and the minor seventh are the septimal ones, whose partials lie lowest.
PURE_RATIOS = MappingProxyType(
    {
        0: Fraction(1),
        1: Fraction(16, 15),
        2: Fraction(9, 8),
        3: Fraction(6, 5),
        4: Fraction(5, 4),
        5: Fraction(4, 3),
        6: Fraction(7, 5),
        7: Fraction(3, 2),
        8: Fraction(8, 5),
        9: Fraction(5, 3),
        10: Fraction(7, 4),
        11: Fraction(15, 8),
    }
)


@dataclass(frozen=True, slots=True)
class Beat:
    """One pair of partials that nearly coincide.

    Attributes
    ----------
    lower_partial, upper_partial : int
        Which partial of the lower pipe meets which of the upper.
    beat_hz : float
        Beats a second [Hz]; positive if the interval is wide.
    at_hz : float
        Where in the spectrum it is heard: the mean of the two partials [Hz].
    """

    lower_partial: int
    upper_partial: int
    beat_hz: float
    at_hz: float


def pure_ratio(semitones: int) -> Fraction:
    """The pure frequency ratio [-] for a keyboard interval, 7 semitones being 3/2.

    Raises
    ------
    ValueError
        When the interval is negative.
    """
    if semitones < 0:
        raise ValueError(f"an interval is counted upward, not {semitones} semitones")
    octaves, step = divmod(semitones, 12)
    return PURE_RATIOS[step] * (1 << octaves)


def beat_of_frequencies(lower_hz: float, upper_hz: float, ratio: Fraction) -> Beat:
    """Beat of two pipes that nearly make a pure ratio.

    Parameters
    ----------
    lower_hz, upper_hz : float
        Fundamentals [Hz].
    ratio : Fraction
        Upper over lower in the pure interval, as 3/2.

    Notes
    -----
    beat = q·f_upper − p·f_lower for the ratio p/q in lowest terms. Helmholtz, On the Sensations of
    Tone, ch. 8; exact for harmonic partials.
    """
    lower_partial, upper_partial = ratio.numerator, ratio.denominator
    low, high = lower_partial * lower_hz, upper_partial * upper_hz
    return Beat(lower_partial, upper_partial, high - low, 0.5 * (high + low))


def beat_of_keys(
    lower: Key, upper: Key, a4_hz: float, temperament: Temperament, ratio: Fraction | None = None
) -> Beat:
    """Beat of an interval on the keyboard at 8′ pitch.

    Parameters
    ----------
    lower, upper : Key
    a4_hz : float
        Frequency of A4 [Hz].
    temperament : Temperament
    ratio : Fraction, optional
        The pure interval to compare with; default: that of `pure_ratio`.

    Raises
    ------
    ValueError
        If `upper` is below `lower`.
    """
    pure = pure_ratio(upper.semitone - lower.semitone) if ratio is None else ratio
    return beat_of_frequencies(
        key_hz(lower, a4_hz, temperament), key_hz(upper, a4_hz, temperament), pure
    )


def coincident_partials(
    lower_hz: float, upper_hz: float, *, highest_partial: int = 16, within_cents: float = 50.0
) -> tuple[Beat, ...]:
    """Every pair of partials of two pipes close enough for their beat to be heard.

    Parameters
    ----------
    lower_hz, upper_hz : float
        Fundamentals [Hz].
    highest_partial : int
        Highest partial of either pipe.
    within_cents : float
        How far apart the two partials may lie [cents].

    Returns
    -------
    tuple of Beat
        From the lowest in the spectrum upward; empty if no partials meet.
    """
    found = []
    for lower_partial in range(1, highest_partial + 1):
        # the nearest partial of the upper pipe is the only one that can lie within half its spacing
        upper_partial = round(lower_partial * lower_hz / upper_hz)
        if not 1 <= upper_partial <= highest_partial:
            continue
        low, high = lower_partial * lower_hz, upper_partial * upper_hz
        if abs(cents_between(low, high)) <= within_cents:
            found.append(Beat(lower_partial, upper_partial, high - low, 0.5 * (high + low)))
    return tuple(found)


def cents_of_beat(hz: float, beat_hz: float) -> float:
    """How far a pipe is from `hz`, from its beat [cents].

    Parameters
    ----------
    hz : float
        Frequency of the reference pipe [Hz].
    beat_hz : float
        Beats a second [Hz], positive if the other pipe is sharp.

    Raises
    ------
    ValueError
        When the beat is as fast as the pipe itself.

    Notes
    -----
    1200 log₂((f + b)/f), exact arithmetic.
    """
    return cents_between(hz, hz + beat_hz)


def beat_of_cents(hz: float, cents: float) -> float:
    """Beat rate of a unison whose second pipe is so many cents sharp of `hz` [Hz]."""
    return float(hz * (2.0 ** (cents / 1200.0) - 1.0))
