"""One pipe in one hold: measured, bounded, or withheld. The only types of a reading.

A reading is one of three things, and code that needs a value must ask which, by `isinstance` or
`match`:

- `Measured`: a frequency with an honest uncertainty.
- `Bounded`: no value, but a place and how far from it the pipe can be.
- `Withheld`: neither; its flags say why.

The type parameter is the pipe's identifier: a comb's label in `listening`, a `PipeRef` from
`survey` up. `hz_or_none` and its like are for output that shows a gap where there is no value.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Mapping
from dataclasses import dataclass, fields, replace
from typing import Any, Generic, TypeAlias, TypedDict, TypeVar

from walkboard.listening.types import Partial, ReadingFlag, SlowMovement
from walkboard.quantities import cents_of_ratio

PipeT = TypeVar("PipeT", bound=Hashable)
ItemT = TypeVar("ItemT")


@dataclass(frozen=True, slots=True)
class Either:
    """Two pipes that were separated but not named: the more likely place first.

    Attributes
    ----------
    hz, sigma_cents : (float, float)
    """

    hz: tuple[float, float]
    sigma_cents: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Bound:
    """A place that a pipe is near; two unisons that were not separated share one.

    Attributes
    ----------
    near_hz : float
    bound_cents : float
        The pipe is within this of `near_hz`; includes two standard deviations.
    either : Either or None
        Both places, if only the names are unsure.
    """

    near_hz: float
    bound_cents: float
    either: Either | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Heard(Generic[PipeT]):
    """The fields common to every reading.

    Attributes
    ----------
    pipe : PipeT
        The comb's label, or the organ's pipe.
    start_s, end_s : float
        The measured window, in the recording.
    level_db : float or None
        Root of the summed squares of its partials, relative to full scale.
    flags : tuple of ReadingFlag
    partials : tuple of Partial
    name_sureness : float or None
        For one of two near unisons: the probability that it is named correctly; None if it sounded
        without a neighbour.
    beat_hz : float or None
        For one of two near unisons: beats a second of their fundamentals, from the envelopes alone.
    """

    pipe: PipeT
    start_s: float
    end_s: float
    level_db: float | None = None
    flags: tuple[ReadingFlag, ...] = ()
    partials: tuple[Partial, ...] = ()
    name_sureness: float | None = None
    beat_hz: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured(_Heard[PipeT]):
    """A pipe whose frequency is known.

    Attributes
    ----------
    hz : float
        Mean fundamental over the window.
    sigma_cents : float
        One standard deviation, honest: about 95 % of true values are within two of it.
    cents : float
        Deviation from where the pipe was expected: the comb's frequency in `listening`; from
        `survey` up the pipe's target at the walk's air, or at the organ's own pitch temperature if
        that is unknown.
    wander_cents : float or None
        Root mean square of the pipe's own movement within the window.
    slow : SlowMovement or None
        What of it is slow; only known while a recording is heard, not kept.
    named_from : Bound or None
        What was known from the hold alone, if the rest of the walk gave the name.
    """

    hz: float
    sigma_cents: float
    cents: float
    wander_cents: float | None = None
    slow: SlowMovement | None = None
    named_from: Bound | None = None

    @property
    def place_hz_or_none(self) -> float | None:
        """Where the pipe is [Hz]."""
        return self.hz

    @property
    def hz_or_none(self) -> float | None:
        """The frequency [Hz]."""
        return self.hz

    @property
    def cents_or_none(self) -> float | None:
        """The deviation [cents]."""
        return self.cents

    @property
    def sigma_cents_or_none(self) -> float | None:
        """The uncertainty [cents]."""
        return self.sigma_cents

    @property
    def wander_cents_or_none(self) -> float | None:
        """The movement within the window [cents]."""
        return self.wander_cents

    @property
    def bound_or_none(self) -> Bound | None:
        """What the hold alone gave."""
        return self.named_from


@dataclass(frozen=True, slots=True, kw_only=True)
class _Unvalued(_Heard[PipeT]):
    """A reading without a value."""

    @property
    def hz_or_none(self) -> float | None:
        """No frequency."""
        return None

    @property
    def cents_or_none(self) -> float | None:
        """No deviation."""
        return None

    @property
    def sigma_cents_or_none(self) -> float | None:
        """No uncertainty."""
        return None

    @property
    def wander_cents_or_none(self) -> float | None:
        """No movement."""
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Bounded(_Unvalued[PipeT]):
    """A pipe that could not be separated from another, but is near a known place."""

    bound: Bound

    @property
    def place_hz_or_none(self) -> float | None:
        """Where the pipe is near [Hz]."""
        return self.bound.near_hz

    @property
    def bound_or_none(self) -> Bound | None:
        """Where the pipe can be."""
        return self.bound


@dataclass(frozen=True, slots=True, kw_only=True)
class Withheld(_Unvalued[PipeT]):
    """A pipe about which nothing trustworthy is known; the flags say why."""

    @property
    def place_hz_or_none(self) -> float | None:
        """No place."""
        return None

    @property
    def bound_or_none(self) -> Bound | None:
        """No bound."""
        return None


_COMMON = tuple(field.name for field in fields(_Heard))
_COMMON_FIELDS = tuple(name for name in _COMMON if name != "pipe")

Reading: TypeAlias = Measured[PipeT] | Bounded[PipeT] | Withheld[PipeT]
CombReading: TypeAlias = Reading[str]


class Fields(TypedDict):
    """A reading as flat fields, for JSON and the book only."""

    hz: float | None
    sigma_cents: float | None
    cents: float | None
    level_db: float | None
    start_s: float
    end_s: float
    wander_cents: float | None
    flags: tuple[ReadingFlag, ...]
    near_hz: float | None
    bound_cents: float | None
    either_hz: tuple[float, float] | None
    either_sigma_cents: tuple[float, float] | None
    name_sureness: float | None
    beat_hz: float | None
    partials: tuple[Partial, ...]


def fields_of(reading: Reading[Any]) -> Fields:
    """The flat fields of a reading, except its pipe."""
    bound = reading.bound_or_none
    either = None if bound is None else bound.either
    return Fields(
        hz=reading.hz_or_none,
        sigma_cents=reading.sigma_cents_or_none,
        cents=reading.cents_or_none,
        level_db=reading.level_db,
        start_s=reading.start_s,
        end_s=reading.end_s,
        wander_cents=reading.wander_cents_or_none,
        flags=reading.flags,
        near_hz=None if bound is None else bound.near_hz,
        bound_cents=None if bound is None else bound.bound_cents,
        either_hz=None if either is None else either.hz,
        either_sigma_cents=None if either is None else either.sigma_cents,
        name_sureness=reading.name_sureness,
        beat_hz=reading.beat_hz,
        partials=reading.partials,
    )


def reading_from_fields(pipe: PipeT, given: Fields) -> Reading[PipeT]:
    """The reading that flat fields describe.

    A frequency counts only with its uncertainty and deviation, a place only with its bound, two
    places only with both uncertainties; incomplete ones are ignored.
    """
    flat: Mapping[str, Any] = given
    common = {name: flat[name] for name in _COMMON_FIELDS}
    common["pipe"] = pipe
    bound = None
    if given["near_hz"] is not None and given["bound_cents"] is not None:
        either = None
        if given["either_hz"] is not None and given["either_sigma_cents"] is not None:
            either = Either(given["either_hz"], given["either_sigma_cents"])
        bound = Bound(given["near_hz"], given["bound_cents"], either)
    hz, sigma_cents, cents = given["hz"], given["sigma_cents"], given["cents"]
    if hz is not None and sigma_cents is not None and cents is not None:
        return Measured(
            **common,
            hz=hz,
            sigma_cents=sigma_cents,
            cents=cents,
            wander_cents=given["wander_cents"],
            named_from=bound,
        )
    return Withheld(**common) if bound is None else Bounded(**common, bound=bound)


def named(reading: Reading[Any], pipe: PipeT, expected_hz: float) -> Reading[PipeT]:
    """The reading for this pipe, its deviation taken from this frequency."""
    common = _common(reading) | {"pipe": pipe}
    match reading:
        case Measured():
            return Measured(
                **common,
                hz=reading.hz,
                sigma_cents=reading.sigma_cents,
                cents=cents_of_ratio(reading.hz / expected_hz),
                wander_cents=reading.wander_cents,
                slow=reading.slow,
                named_from=reading.named_from,
            )
        case Bounded():
            return Bounded(**common, bound=reading.bound)
        case Withheld():
            return Withheld(**common)


def flagged(reading: Reading[PipeT], *flags: ReadingFlag) -> Reading[PipeT]:
    """The reading with more flags, each only once."""
    return replace(reading, flags=tuple(dict.fromkeys((*reading.flags, *flags))))


def measured(
    reading: Reading[PipeT],
    *,
    hz: float,
    sigma_cents: float,
    cents: float,
    wander_cents: float | None = None,
    slow: SlowMovement | None = None,
) -> Measured[PipeT]:
    """The reading with a value; a bound it had is kept as what the hold alone gave."""
    return Measured(
        **_common(reading),
        hz=hz,
        sigma_cents=sigma_cents,
        cents=cents,
        wander_cents=wander_cents,
        slow=slow,
        named_from=reading.bound_or_none,
    )


def bounded(reading: Reading[PipeT], bound: Bound) -> Bounded[PipeT]:
    """The reading with a bound instead of a value."""
    return Bounded(**_common(reading), bound=bound)


def without_value(reading: Reading[PipeT], *flags: ReadingFlag) -> Reading[PipeT]:
    """The reading without its value, flagged; a bound stays."""
    if isinstance(reading, Measured):
        bound = reading.named_from
        reading = Withheld(**_common(reading)) if bound is None else bounded(reading, bound)
    return flagged(reading, *flags)


def withheld(reading: Reading[PipeT], *flags: ReadingFlag) -> Withheld[PipeT]:
    """The reading with neither value nor bound, flagged: nothing about its place is trusted."""
    plain = replace(reading, name_sureness=None)
    return Withheld(**_common(flagged(plain, *flags)))


def _common(reading: Reading[PipeT]) -> dict[str, Any]:
    return {name: getattr(reading, name) for name in _COMMON}


def best_reading(items: Iterable[ItemT], reading_of: Callable[[ItemT], Reading[PipeT]]) -> ItemT:
    """Of several readings of one pipe, the one that counts; see `best_by_sigma`.

    Parameters
    ----------
    items : iterable
        Oldest first; at least one.
    reading_of : callable
        An item's reading.
    """
    return best_by_sigma(items, lambda item: reading_of(item).sigma_cents_or_none)


def best_by_sigma(items: Iterable[ItemT], sigma_cents_of: Callable[[ItemT], float | None]) -> ItemT:
    """Of several readings of one pipe, the one that counts.

    The measured one with the smallest sigma; of equal ones the last; where none is measured, the
    last of all.

    Parameters
    ----------
    items : iterable
        Oldest first; at least one.
    sigma_cents_of : callable
        An item's uncertainty [cents]; None if it is not measured.
    """

    def rank(item: ItemT) -> tuple[bool, float]:
        sigma_cents = sigma_cents_of(item)
        return sigma_cents is None, sigma_cents or 0.0

    return min(reversed(list(items)), key=rank)
