"""Where each pipe is against where it should be left, worked by hand for single pipes.

The air's share is the ideal gas: c goes with the root of the absolute temperature (ISO
9613-1:1993), so 600 log2(T2/T1) cents; the program's humid air differs by a hundredth of that.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.stats import norm

from tests.condition.organs import small_organ
from walkboard.condition.state import PipeCents
from walkboard.organ.model import PipeRef
from walkboard.organ.targets import target_hz
from walkboard.planning.pitch import DivisionPitch
from walkboard.planning.value.belief import Belief, Known, PipeForecast
from walkboard.planning.value.cost import heard_badness
from walkboard.planning.value.layout import Layout
from walkboard.planning.value.pipe_offset import PipeOffset, beats_a_second
from walkboard.planning.value.pipe_offsets import (
    REFERENCES_CENTS,
    Situation,
    situation,
    unheard_pull,
)
from walkboard.planning.value.weight import WeightChange, weigh

ORGAN = small_organ()
LAYOUT = Layout.of(ORGAN)
A4 = 34  # number of the pipe of key A4 in a rank that begins at C2


def by_air(from_celsius: float, to_celsius: float) -> float:
    return 600.0 * math.log2((to_celsius + 273.15) / (from_celsius + 273.15))


def pitches(
    air: float = 18.0, above: float = 0.0, event: float | None = None
) -> dict[str, DivisionPitch]:
    at = air if event is None else event
    return {d: DivisionPitch(d, air, above, 0.3, at, heard=True) for d in ("great", "swell")}


def a_pipe(rank: str, cents: float, number: int = A4, air: float = 18.0) -> PipeCents:
    return PipeCents(PipeRef(rank, number), cents, 0.1, None, air)


def found(known: Sequence[Known], at: dict[str, DivisionPitch], **more: object) -> Situation:
    return situation(LAYOUT, at, known, weigh(LAYOUT, known), **more)  # type: ignore[arg-type]


def one(known: Known, at: dict[str, DivisionPitch], **more: object) -> PipeOffset:
    return found([known], at, **more).offset(0)


def test_a_flue_is_left_where_its_division_is() -> None:
    """Its division is 2 cents above the organ's pitch; the pipe reads 5."""
    pipe = one(a_pipe("great.principal", 5.0), pitches(above=2.0))
    assert_allclose(pipe.cents, 3.0)
    assert_allclose(pipe.cents_from_flues, 3.0)
    assert_allclose(pipe.target_hz, 440.0 * 2.0 ** (2.0 / 1200.0))
    assert pipe.tunable
    assert pipe.is_heard


def test_a_flue_read_in_colder_air_has_risen_with_the_others() -> None:
    """It read 1 cent sharp of its target at 18 °C; now it is 22 °C and the flues are as they were.

    Its frequency has risen by what all have, so it is still 1 cent sharp of its place.
    """
    pipe = one(a_pipe("great.principal", 1.0 + by_air(18.0, 22.0)), pitches(air=22.0))
    assert_allclose(pipe.cents, 1.0, atol=0.1)
    assert_allclose(pipe.target_hz, 440.0 * 2.0 ** (by_air(18.0, 22.0) / 1200.0), rtol=1e-4)
    late = one(a_pipe("great.principal", 1.0, air=22.0), pitches(air=22.0))
    assert_allclose(late.cents, 1.0)


@pytest.mark.parametrize(("follows", "share"), [(None, 1.0), (0.25, 0.75), (1.0, 0.0)])
def test_a_reed_is_set_for_the_event_as_far_as_it_does_not_follow_itself(follows, share) -> None:
    more = {} if follows is None else {"reed_follows": {"great.trumpet": follows}}
    ahead = pitches(above=2.0, event=23.0)
    reed = one(a_pipe("great.trumpet", 0.0), ahead, **more)
    assert_allclose(reed.cents, -2.0 - share * by_air(18.0, 23.0), rtol=0.01)
    assert_allclose(reed.cents_from_flues, -2.0, atol=1e-6)
    other = one(a_pipe("swell.oboe", 0.0), ahead, **more)
    assert_allclose(other.cents, -2.0 - by_air(18.0, 23.0), rtol=0.01)
    flue = one(a_pipe("great.principal", 0.0), ahead, **more)
    assert_allclose(flue.cents, -2.0)


def test_a_historic_pipe_is_known_but_not_touched_and_a_forecast_is_not_heard() -> None:
    assert not one(a_pipe("great.old", 4.0), pitches()).tunable
    forecast = PipeForecast(PipeRef("great.flute", 1), Belief.normal(0.0, 1.0), 18.0)
    ahead = replace(forecast, pipe=PipeRef("swell.flute", A4))
    assert not one(ahead, pitches()).is_heard


def test_every_pipe_known_has_its_own_target() -> None:
    """Against the description's targets one by one."""
    known = [a_pipe(rank.id, 0.0, n) for rank in ORGAN.ranks for n in (1, 20, 61)]
    got = found(known, pitches()).target_hz
    assert_allclose(got, [target_hz(ORGAN, k.pipe, None) for k in known], rtol=1e-12)


MIXED: list[Known] = [
    a_pipe("great.principal", 7.0),
    a_pipe("great.octave", -11.0, 20),
    a_pipe("great.twelfth", 14.0),
    PipeForecast(PipeRef("swell.flute", 30), Belief((0.8, 0.2), (0.5, -14.0), (1.0, 5.0)), 18.0),
    a_pipe("great.trumpet", -9.5, 40),
]


def test_what_the_arrays_and_the_words_say_of_a_pipe_is_the_same() -> None:
    now = found(MIXED, pitches(above=1.0))
    for at, reference in ((0, -8.0), (80, 0.0), (123, 4.3), (160, 8.0)):
        assert_allclose(REFERENCES_CENTS[at], reference, atol=1e-12)
        for index in range(len(MIXED)):
            pipe = now.offset(index)
            assert_allclose(now.cost[at, index], pipe.badness_at(reference), rtol=1e-6)
    assert_allclose(now.cost_left, [now.offset(n).badness_left for n in range(len(MIXED))])


def test_an_untuned_pipe_costs_its_beats_and_its_chance_of_sticking_out() -> None:
    """Reference: a sum over the parts with SciPy's normal distribution."""
    pipe = found(MIXED, pitches()).offset(3)
    beats = stray = 0.0
    for share, mean, sigma in ((0.8, 0.5 - 2.0, 1.0), (0.2, -14.0 - 2.0, 5.0)):
        spread = math.hypot(sigma, 1.0)
        beats += share * float(heard_badness(mean, sigma, pipe.beat_hz))
        stray += share * (norm.sf(10.0, mean, spread) + norm.cdf(-10.0, mean, spread))
    assert_allclose(pipe.beating_at(2.0), beats)
    assert_allclose(pipe.chance_stray_at(2.0), stray)
    assert pipe.weight.stray > 0.0
    expected = pipe.weight.whole * beats + pipe.weight.stray * stray
    assert_allclose(pipe.badness_at(2.0), expected)


def test_a_tuned_pipe_costs_what_tuning_leaves_and_the_chance_that_it_goes_wrong() -> None:
    """A Twelfth coned by 14 cents: one in nine is spoiled, and then completely out."""
    pipe = found(MIXED, pitches()).offset(2)
    spoiled = 1.0 - 0.98 * 0.9
    left = float(heard_badness(0.0, pipe.left_cents, pipe.beat_hz))
    expected = pipe.weight.whole * ((1.0 - spoiled) * left + spoiled)
    assert_allclose(pipe.badness_left, expected + pipe.weight.stray * spoiled)


def test_another_event_changes_only_what_it_should() -> None:
    """The beats of the flues are taken over, those of the reeds calculated again."""
    before = found(MIXED, pitches())
    assert before.cost.shape == (161, 5)
    ahead = found(MIXED, pitches(event=25.0))
    again = found(MIXED, pitches(event=25.0), before=before)
    assert_allclose(again.cost, ahead.cost, rtol=1e-12)
    weights = weigh(LAYOUT, MIXED, None, [WeightChange("great.principal", 3.0)])
    alone = situation(LAYOUT, pitches(), MIXED, weights)
    heavier = situation(LAYOUT, pitches(), MIXED, weights, before=before)
    assert_allclose(heavier.cost, alone.cost, rtol=1e-12)
    # a chorus drawn with it makes the pipe beat at another partial
    louder = replace(weights, beating_partial=weights.beating_partial * 2.0)
    other = situation(LAYOUT, pitches(), MIXED, louder)
    carried = situation(LAYOUT, pitches(), MIXED, louder, before=before)
    assert_allclose(carried.cost, other.cost, rtol=1e-12)


def test_beats_are_counted_at_the_partial_where_they_are_heard() -> None:
    """5 cents off at 440 Hz are 1.27 beats a second at the fundamental."""
    pipe = one(a_pipe("great.principal", 5.0), pitches())
    partial = pipe.beat_hz / pipe.target_hz
    assert partial > 1.0
    by_hand = partial * 440.0 * (2.0 ** (5.0 / 1200.0) - 1.0)
    for off in (5.0, -5.0):
        assert_allclose(beats_a_second(pipe, off), by_hand, rtol=0.002)


@pytest.mark.parametrize("air", [18.0, 26.0])
def test_unheard_flues_keep_the_pitch_where_it_is(air: float) -> None:
    """Summed pipe by pipe: each within 2 cents of a division known to 0.3, at its pitch today."""
    heard = np.array([LAYOUT.place(PipeRef("great.principal", n)) for n in range(1, 62)])
    weights = weigh(LAYOUT, [])
    at = np.array([-3.0, 0.0, 2.0])
    pull = unheard_pull(LAYOUT, pitches(air=air), heard, weights, at)
    assert_allclose(pull[1], 0.0, atol=1e-12)
    assert np.all(pull[[0, 2]] > 0.0)
    expected = np.zeros((3, 2))
    for place, pipe in enumerate(ORGAN.pipes()):
        if place in heard or not ORGAN.rank(pipe.rank).family.is_flue:
            continue
        hz = LAYOUT.nominal_hz[place] * 2.0 ** (by_air(18.0, air) / 1200.0)
        beats = heard_badness(at, math.hypot(2.0, 0.3), hz * weights.beating_partial[place])
        worth = weights.whole[place] * beats
        expected[:, 0 if pipe.rank.startswith("great") else 1] += worth - worth[1]
    assert_allclose(pull, expected, rtol=1e-5)
