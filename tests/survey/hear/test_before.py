"""A walk is compared with how its rank, and others of its pitch, sounded at an earlier visit.

The pipes are drawn here, from figures and not from sound: a principal and a string of one pitch, of
which each recording shows other fades, another gain and another slope of the microphone. The real
sound of two ranks is in `bench remembered`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from bench._situations.player import organ_text

from walkboard.listening.readings import Measured
from walkboard.listening.types import Partial, ReadingFlag
from walkboard.organ.model import PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.scales.keys import Key
from walkboard.survey.hear.before import Answer, Compared, Remembered, compare
from walkboard.survey.hear.heard_walk import Hold
from walkboard.survey.recognise.rank_sound import PipeSound, RankSound, rank_sound

ORGAN = read_organ(organ_text(37, "equal"))
PRINCIPAL, STRING, FLUTE = "great.principal8", "swell.salicional8", "great.flute8"
_FALLS_DB = {PRINCIPAL: 6.0, STRING: 3.0}  # a partial, from the one before
_KEYS = 25
_FADES_DB = 4.0


class Rank:
    """A rank with its own spectrum and its own strays."""

    def __init__(self, rank: str, seed: int, *, falls_db: float | None = None) -> None:
        self.rank = rank
        self.falls_db = _FALLS_DB[rank] if falls_db is None else falls_db
        rng = np.random.default_rng(seed)
        self.cents = rng.normal(0.0, 2.5, _KEYS) + 10.0 * (rng.random(_KEYS) < 0.1)

    def holds(self, seed: int, label: str | None = None, *, moved_cents: float = 0.8) -> list[Hold]:
        """One recording of it, under this label."""
        rng = np.random.default_rng(seed)
        slope_db, gain_db = rng.uniform(-1.5, 1.5), rng.uniform(-30.0, 0.0)
        holds = []
        for n in range(_KEYS):
            pipe = PipeRef(label or self.rank, n + 5)
            due_hz = target_hz(ORGAN, pipe, None)
            levels = [
                gain_db
                - self.falls_db * (number - 1)
                + slope_db * np.log2(number * due_hz / 500.0)
                + _FADES_DB * rng.standard_normal()
                for number in range(1, 9)
            ]
            cents = float(self.cents[n] + moved_cents * rng.standard_normal() + 3.0)
            reading = Measured(
                pipe=pipe,
                start_s=4.0 * n + 1.0,
                end_s=4.0 * n + 3.0,
                level_db=max(levels),
                partials=tuple(Partial(i + 1, float(db)) for i, db in enumerate(levels)),
                hz=due_hz * 2.0 ** (cents / 1200.0),
                sigma_cents=0.01,
                cents=cents,
            )
            key = Key(40 + n)
            holds.append(Hold(n + 1, key, n + 5, 4.0 * n, 4.0 * n + 3.5, (reading,)))
        return holds

    def remembered(self, seed: int) -> RankSound:
        """As an earlier recording has it."""
        pipes = [
            PipeSound(
                target_hz(ORGAN, r.pipe, None),
                r.cents,
                {partial.number: partial.level_db for partial in r.partials},
            )
            for hold in self.holds(seed)
            for r in hold.readings
            if isinstance(r, Measured)
        ]
        sound = rank_sound(pipes)
        assert sound is not None
        return sound


def asked(rank: Rank, label: str, before: Remembered, **how: float) -> Compared:
    """What is said of a second walk of a rank under some label."""
    return compare(ORGAN, [label], rank.holds(77, label, **how), None, before)


@pytest.mark.parametrize("seed", range(6))
def test_from_the_second_visit_on_another_rank_of_the_pitch_is_noticed(seed: int) -> None:
    principal, string = Rank(PRINCIPAL, 2 * seed), Rank(STRING, 2 * seed + 1)
    before = {PRINCIPAL: principal.remembered(seed), STRING: string.remembered(seed + 50)}
    assert asked(principal, PRINCIPAL, before).answer is Answer.SAME
    assert asked(string, PRINCIPAL, before) == Compared(Answer.OTHER, (STRING,))
    assert asked(principal, STRING, before) == Compared(Answer.OTHER, (PRINCIPAL,))


def test_two_ranks_of_one_spectrum_are_distinguished_by_how_their_pipes_stray() -> None:
    one, other = Rank(PRINCIPAL, 1), Rank(STRING, 2, falls_db=6.0)
    before = {PRINCIPAL: one.remembered(5), STRING: other.remembered(6)}
    assert asked(one, PRINCIPAL, before).answer is Answer.SAME
    assert asked(one, STRING, before) == Compared(Answer.OTHER, (PRINCIPAL,))


def test_if_both_were_tuned_since_and_sound_alike_nobody_can_know() -> None:
    one, other = Rank(PRINCIPAL, 1), Rank(STRING, 2, falls_db=6.0)
    before = {PRINCIPAL: one.remembered(5), STRING: other.remembered(6)}
    tuned = Rank(PRINCIPAL, 3)
    assert asked(tuned, PRINCIPAL, before) == Compared(Answer.ALIKE, (STRING,))


def test_at_the_first_visit_ranks_of_one_pitch_and_family_cannot_be_distinguished() -> None:
    said = asked(Rank(PRINCIPAL, 1), PRINCIPAL, {})
    assert said.answer is Answer.NO_MEMORY
    assert said.stops[0] == STRING
    assert FLUTE not in said.stops, "its even partials would be 16 dB softer"


def test_a_rank_that_only_the_other_was_recorded_of_is_known_by_its_strays() -> None:
    principal = Rank(PRINCIPAL, 1)
    before = {PRINCIPAL: principal.remembered(5)}
    assert asked(principal, STRING, before) == Compared(Answer.OTHER, (PRINCIPAL,))
    assert asked(Rank(STRING, 2), STRING, before).answer is Answer.NO_MEMORY


def test_a_rank_tuned_in_between_is_still_the_same_rank() -> None:
    string, pedal = Rank(STRING, 9), "pedal.octave8"
    before = {PRINCIPAL: Rank(PRINCIPAL, 1).remembered(5), STRING: Rank(STRING, 2).remembered(6)}
    # It sounds as it did and not as the principal; of the pedal's octave nothing is known yet.
    assert asked(string, STRING, before) == Compared(Answer.NO_MEMORY, (pedal,))
    before[pedal] = Rank(PRINCIPAL, 4).remembered(7)
    assert asked(string, STRING, before).answer is Answer.SAME


def test_a_sound_that_is_none_of_those_known_is_asked_about() -> None:
    before = {PRINCIPAL: Rank(PRINCIPAL, 1).remembered(5)}
    bright = Rank(STRING, 2, falls_db=1.0)
    assert asked(bright, PRINCIPAL, before).answer is Answer.UNLIKE


def test_a_temperament_that_the_whole_organ_shares_does_not_make_two_ranks_one() -> None:
    """Every C flat and every G sharp at both ranks: that is no sign of the same pipes."""
    pattern = np.array([0.0, 6.0, -4.0, 5.0, -8.0, 2.0, 7.0, -3.0, 6.0, -6.0, 3.0, -7.0])
    principal, string = Rank(PRINCIPAL, 1), Rank(STRING, 2)
    for rank in (principal, string):
        rank.cents = rank.cents + pattern[np.arange(_KEYS) % 12]
    before = {PRINCIPAL: principal.remembered(5)}
    assert asked(string, STRING, before).answer is Answer.NO_MEMORY


def test_flagged_values_are_not_compared() -> None:
    holds = [
        Hold(h.n, h.key, h.key_number, h.start_s, h.end_s,
             tuple(_flagged(r) for r in h.readings if isinstance(r, Measured)))
        for h in Rank(PRINCIPAL, 1).holds(77)
    ]  # fmt: skip
    before = {STRING: Rank(PRINCIPAL, 1).remembered(5)}
    assert compare(ORGAN, [PRINCIPAL], holds, None, before).answer is Answer.SAME


def _flagged(reading: Measured[PipeRef]) -> Measured[PipeRef]:
    return replace(reading, flags=(ReadingFlag.CLIPPED,))
