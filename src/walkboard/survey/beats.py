"""The beats that a listener hears in a registration or a chord, worst first.

Two pipes beat wherever a partial of one nearly coincides with a partial of the other. Only the beat
beyond what the pipes' targets give is bad (a tempered third beats by design, an octave should not).
How bad depends on the level of the weaker partial, and on how near the excess is to four beats a
second, where fluctuation is most audible (Zwicker & Fastl, Psychoacoustics, chapter 10; from
memory): slower or faster beats count less.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from walkboard.listening.hold.beats import Beat, beats_between
from walkboard.listening.joint.labels import expected_levels_db
from walkboard.listening.readings import Measured
from walkboard.listening.types import Comb
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.targets import target_hz
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk, Reading
from walkboard.survey.kinds import spectrum_of

_WORST_HZ = 4.0
_MOST_PARTIALS = 16
_SLOWEST_HZ = 0.05  # a slower excess is not heard within a held chord
_FASTEST_HZ = 15.0  # faster, it is roughness rather than beats


@dataclass(frozen=True, slots=True)
class PipesBeat:
    """The worst beat between two pipes that sound together.

    Attributes
    ----------
    first, second : PipeRef
    first_partial, second_partial : int
        Numbers of the beating partials.
    at_hz : float
        Where they beat [Hz].
    per_second : float
        Beats a second, from the two frequencies.
    due_per_second : float
        Beats a second between the two targets.
    level_db : float
        Level of the weaker partial, relative to the loudest partial sounding [dB].
    heard_per_second : float or None
        Beats a second heard in the envelope, if the two are unisons that sounded together.
    badness_db : float
        The level, reduced if the excess over the due beat is too slow or too fast to matter.
    """

    first: PipeRef
    second: PipeRef
    first_partial: int
    second_partial: int
    at_hz: float
    per_second: float
    due_per_second: float
    level_db: float
    heard_per_second: float | None
    badness_db: float

    @property
    def excess_per_second(self) -> float:
        """Beats a second beyond the due ones."""
        return abs(self.per_second - self.due_per_second)


def latest_readings(walks: Iterable[HeardWalk]) -> dict[PipeRef, Reading]:
    """The last reading of each pipe that has a value, or a place shared with its unison."""
    found: dict[PipeRef, Reading] = {}
    for walk in walks:
        for hold in walk.holds:
            for reading in hold.readings:
                old = found.get(reading.pipe)
                beats = old is None and reading.beat_hz is not None
                if isinstance(reading, Measured) or beats:
                    found[reading.pipe] = reading
    return found


def worst_beats(
    organ: Organ,
    readings: Mapping[PipeRef, Reading],
    pipes: Sequence[PipeRef],
    air_celsius: float | None,
    *,
    most: int = 12,
) -> tuple[PipesBeat, ...]:
    """The worst beats between pipes that sound together, one per pair of pipes.

    Parameters
    ----------
    readings : mapping of PipeRef to Reading
        Pipes without a value are left out, except unisons whose beat was heard in the envelope.
    pipes : sequence of PipeRef
        Pipes of a registration at one key, or of all keys of a chord.
    air_celsius : float or None
        Air for the targets.
    """
    known = [readings[pipe] for pipe in dict.fromkeys(pipes) if pipe in readings]
    levels = {reading.pipe: levels_of(organ, reading) for reading in known}
    loudest = max((max(own.values()) for own in levels.values() if own), default=0.0)

    def target(pipe: PipeRef) -> float:
        return target_hz(organ, pipe, air_celsius)

    found = []
    for one, other in combinations(known, 2):
        beat = _worst_of(one, other, levels, loudest, target)
        if beat is not None:
            found.append(beat)
    return tuple(sorted(found, key=lambda beat: -beat.badness_db)[:most])


def beats_of_keys(
    organ: Organ,
    readings: Mapping[PipeRef, Reading],
    drawn: Sequence[str],
    keys: Sequence[Key],
    air_celsius: float | None,
    *,
    most: int = 12,
) -> tuple[tuple[Key, PipesBeat], ...]:
    """The worst beats of a registration over these keys, each key held on its own."""
    found = [
        (key, beat)
        for key in keys
        for beat in worst_beats(organ, readings, organ.sounding(drawn, key), air_celsius, most=most)
    ]
    return tuple(sorted(found, key=lambda pair: -pair[1].badness_db)[:most])


def levels_of(organ: Organ, reading: Reading) -> dict[int, float]:
    """Levels of a pipe's partials [dB]: those heard, then those typical of its kind of rank."""
    heard = {partial.number: partial.level_db for partial in reading.partials}
    numbers = list(range(1, _MOST_PARTIALS + 1))
    hz = reading.place_hz_or_none or 440.0
    kind = spectrum_of(organ, reading.pipe)
    due = expected_levels_db(Comb("", hz, kind), numbers)
    shape = {n: level for n, level in zip(numbers, due, strict=True) if level is not None}
    if heard:
        shift = float(np.median([level - shape[n] for n, level in heard.items() if n in shape]))
        last = max(heard)
        return heard | {n: level + shift for n, level in shape.items() if n > last}
    if reading.level_db is None:
        return shape
    whole = 10.0 * np.log10(sum(10.0 ** (level / 10.0) for level in shape.values()))
    return {n: level - float(whole) + reading.level_db for n, level in shape.items()}


def _worst_of(
    one: Reading,
    other: Reading,
    levels: Mapping[PipeRef, dict[int, float]],
    loudest_db: float,
    target: Callable[[PipeRef], float],
) -> PipesBeat | None:
    first_due, second_due = target(one.pipe), target(other.pipe)
    together = one.beat_hz if one.beat_hz is not None and one.beat_hz == other.beat_hz else None
    if isinstance(one, Measured) and isinstance(other, Measured):
        first_hz, second_hz = one.hz, other.hz
    elif together is not None:
        # Which is which does not matter for their beat rate.
        first_hz = one.place_hz_or_none or first_due
        second_hz = first_hz + together
    else:
        return None
    worst: PipesBeat | None = None
    for beat in beats_between(
        first_hz,
        second_hz,
        first_levels_db=levels[one.pipe],
        second_levels_db=levels[other.pipe],
    ):
        due = abs(beat.first * first_due - beat.second * second_due)
        excess = abs(beat.per_second - due)
        if not _SLOWEST_HZ <= excess <= _FASTEST_HZ or beat.strength_db is None:
            continue
        level = beat.strength_db - loudest_db
        badness = level + 20.0 * float(np.log10(_swing(excess)))
        if worst is None or badness > worst.badness_db:
            worst = _made(one, other, beat, due, level, together, badness)
    return worst


def _made(  # noqa: PLR0917
    one: Reading,
    other: Reading,
    beat: Beat,
    due: float,
    level_db: float,
    together_hz: float | None,
    badness_db: float,
) -> PipesBeat:
    unison = beat.first == beat.second
    return PipesBeat(
        one.pipe,
        other.pipe,
        beat.first,
        beat.second,
        beat.hz,
        beat.per_second,
        due,
        level_db,
        together_hz * beat.first if together_hz is not None and unison else None,
        badness_db,
    )


def _swing(per_second: float) -> float:
    """How audible a beat of this rate is, 1 at four a second."""
    ratio = per_second / _WORST_HZ
    return 2.0 * ratio / (1.0 + ratio**2)
