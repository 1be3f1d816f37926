"""Laying the bearings: the order in which the temperament octave is set by ear, with its checks.

From A down an octave, then fifths up and fourths down within the octave A3 to A4 (at 8′ pitch),
round the circle to D, whose fifth to A4 closes it. Each step gives the beats of its temperament,
and the thirds and sixths that can be checked once both their notes are set: in equal temperament
they speed up steadily towards the top. From there pure octaves go out to both ends. The order is
common practice, no source; beats are those of `scales.beats`.

The beat is calculated from the two measured frequencies; the check by thirds and sixths shows where
an error has crept into the chain.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from walkboard.quantities import cents_between
from walkboard.scales.beats import beat_of_frequencies, beat_of_keys, pure_ratio
from walkboard.scales.keys import Key
from walkboard.scales.pitch import key_hz
from walkboard.scales.temperament import Temperament

A3, A4 = Key.parse("A3"), Key.parse("A4")
_FIFTH, _FOURTH, _OCTAVE = 7, 5, 12
_NAMES = {
    3: "minor third",
    4: "major third",
    5: "fourth",
    7: "fifth",
    9: "major sixth",
    12: "octave",
}
_CHECKED = (4, 9, 3)  # thirds first, then sixths


@dataclass(frozen=True, slots=True)
class Interval:
    """Two keys and the beats that they should make.

    Attributes
    ----------
    lower, upper : Key
    beat_hz : float
        Beats a second, + for a wide interval [Hz].
    """

    lower: Key
    upper: Key
    beat_hz: float

    @property
    def name(self) -> str:
        """``fifth``, ``major third``."""
        return _NAMES[self.upper.semitone - self.lower.semitone]

    @property
    def words(self) -> str:
        """As ``fifth A3–E4, 0.7 beats a second narrow``."""
        size = abs(self.beat_hz)
        where = f"{self.name} {self.lower.name}–{self.upper.name}"
        if size < 0.05:
            return f"{where}, still"
        side = "wide" if self.beat_hz > 0.0 else "narrow"
        return f"{where}, {size:.1f} beats a second {side}"


@dataclass(frozen=True, slots=True)
class BearingStep:
    """One key to set.

    Attributes
    ----------
    key : Key
        The key to tune.
    by : Interval
        The interval it is tuned by; its other key is already set.
    checks : tuple of Interval
        Thirds and sixths that can be checked once it is set.
    closes : bool
        Both keys of `by` are already set: nothing is tuned, and its beat is the sum of all errors
        so far.
    """

    key: Key
    by: Interval
    checks: tuple[Interval, ...]
    closes: bool = False

    @property
    def words(self) -> str:
        """What to do, as ``set E4: fifth A3–E4, 0.7 beats a second narrow``."""
        return f"{'check' if self.closes else f'set {self.key.name}:'} {self.by.words}"


@dataclass(frozen=True, slots=True)
class HeardInterval:
    """A measured interval.

    Attributes
    ----------
    interval : Interval
    beat_hz : float
        Beats a second, + wide [Hz].
    cents : float
        How much wider the interval is than it should be [cents].
    """

    interval: Interval
    beat_hz: float
    cents: float


def temperament_octave(a4_hz: float, temperament: Temperament) -> tuple[BearingStep, ...]:
    """The steps that set A3 to A4, A4 being given, and the fifth that closes the circle.

    Parameters
    ----------
    a4_hz : float
        Frequency of A4 at 8′ pitch [Hz].
    temperament : Temperament
    """
    placed = [A4]
    steps = [_step(A3, A3, A4, placed, a4_hz, temperament)]
    key = A3
    for _ in range(11):
        up, down = key.up(_FIFTH), key.up(-_FOURTH)
        following = up if up <= A4 else down
        low, high = sorted((key, following))
        steps.append(_step(following, low, high, placed, a4_hz, temperament))
        key = following
    by = _interval(key, A4, a4_hz, temperament)
    return (*steps, BearingStep(A4, by, (), closes=True))


def octaves_out(
    lowest: Key, highest: Key, a4_hz: float, temperament: Temperament
) -> tuple[BearingStep, ...]:
    """The other keys by octaves from the temperament octave: upward first, then downward.

    Parameters
    ----------
    lowest, highest : Key
        Compass of the rank; must include A3 to A4.
    a4_hz : float
    temperament : Temperament

    Raises
    ------
    ValueError
        If the rank lacks the octave A3 to A4.
    """
    if lowest > A3 or highest < A4:
        raise ValueError(f"the rank must have A3 to A4, not {lowest} to {highest}")
    placed = [Key(s) for s in range(A3.semitone, A4.semitone + 1)]
    steps = []
    for semitone in range(A4.semitone + 1, highest.semitone + 1):
        key = Key(semitone)
        steps.append(_step(key, key.up(-_OCTAVE), key, placed, a4_hz, temperament))
    for semitone in range(A3.semitone - 1, lowest.semitone - 1, -1):
        key = Key(semitone)
        steps.append(_step(key, key, key.up(_OCTAVE), placed, a4_hz, temperament))
    return tuple(steps)


def measure_interval(interval: Interval, lower_hz: float, upper_hz: float) -> HeardInterval:
    """An interval as measured, from the two frequencies at 8′ pitch [Hz].

    Raises
    ------
    ValueError
        When a frequency is not positive.
    """
    ratio = pure_ratio(interval.upper.semitone - interval.lower.semitone)
    beat = beat_of_frequencies(lower_hz, upper_hz, ratio)
    # The frequency of the upper pipe at the wanted beat.
    due_hz = (interval.beat_hz + ratio.numerator * lower_hz) / ratio.denominator
    return HeardInterval(interval, beat.beat_hz, cents_between(due_hz, upper_hz))


def to_move_cents(step: BearingStep, lower_hz: float, upper_hz: float) -> float:
    """How much to raise the key of a step so that its interval beats as wanted [cents].

    Parameters
    ----------
    step : BearingStep
    lower_hz, upper_hz : float
        The keys of its interval as measured, at 8′ pitch [Hz].
    """
    ratio = pure_ratio(step.by.upper.semitone - step.by.lower.semitone)
    if step.key == step.by.upper:
        due_hz = (step.by.beat_hz + ratio.numerator * lower_hz) / ratio.denominator
        return cents_between(upper_hz, due_hz)
    due_hz = (ratio.denominator * upper_hz - step.by.beat_hz) / ratio.numerator
    return cents_between(lower_hz, due_hz)


def measure_checks(
    checks: Sequence[Interval], heard_hz: Mapping[Key, float]
) -> tuple[HeardInterval, ...]:
    """The checks whose keys were both heard, as measured.

    Parameters
    ----------
    checks : sequence of Interval
    heard_hz : mapping of Key to float
        At 8′ pitch [Hz].
    """
    return tuple(
        measure_interval(check, heard_hz[check.lower], heard_hz[check.upper])
        for check in checks
        if check.lower in heard_hz and check.upper in heard_hz
    )


def targets_hz(
    steps: Sequence[BearingStep], a4_hz: float, temperament: Temperament
) -> Mapping[Key, float]:
    """Target of each key of the steps at 8′ pitch [Hz]."""
    return {step.key: key_hz(step.key, a4_hz, temperament) for step in steps}


def _interval(lower: Key, upper: Key, a4_hz: float, temperament: Temperament) -> Interval:
    return Interval(lower, upper, beat_of_keys(lower, upper, a4_hz, temperament).beat_hz)


def _step(  # noqa: PLR0917
    key: Key,
    lower: Key,
    upper: Key,
    placed: list[Key],
    a4_hz: float,
    temperament: Temperament,
) -> BearingStep:
    """The step that sets a key, which then counts as set."""
    by = _interval(lower, upper, a4_hz, temperament)
    checks = [
        _interval(min(key, other), max(key, other), a4_hz, temperament)
        for size in _CHECKED
        for other in (key.up(-size), key.up(size))
        if other in placed
    ]
    placed.append(key)
    return BearingStep(key, by, tuple(checks))
