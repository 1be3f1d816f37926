"""What each pipe counts."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.condition.organs import small_organ
from walkboard.condition.kinds import Role
from walkboard.condition.state import PipeCents
from walkboard.errors import InputError
from walkboard.organ.model import PipeRef
from walkboard.planning.value.company import company_of, levels_db, ordinary
from walkboard.planning.value.layout import Layout
from walkboard.planning.value.use import EventUse, RegistrationUse
from walkboard.planning.value.weight import (
    EVENT_SHARE,
    Weight,
    WeightChange,
    average_level_db,
    own_factors,
    places_named,
    weigh,
)

ORGAN = small_organ()
LAYOUT = Layout.of(ORGAN)


def a_pipe(rank: str, number: int, level: float | None) -> PipeCents:
    return PipeCents(PipeRef(rank, number), 3.0, 0.1, level, 18.0)


def factors(pipe: PipeCents, *others: PipeCents):
    return weigh(LAYOUT, [pipe, *others]).at(LAYOUT.place(pipe.pipe))


def test_ten_decibels_are_twice_as_loud():
    """The sone: loudness doubles with every 10 phon (ISO 532-1; Stevens 1936; from memory)."""
    median = [a_pipe("great.principal", n, -25.0) for n in range(1, 20)]
    levels = [
        factors(a_pipe("great.octave", 31, level), *median).level
        for level in (-35.0, -30.0, -25.0, -20.0, -15.0)
    ]
    assert_allclose(levels, [0.5, 2**-0.5, 1.0, 2**0.5, 2.0])


def test_a_recording_made_very_loud_is_believed_only_so_far():
    median = [a_pipe("great.principal", n, -25.0) for n in range(1, 20)]
    assert factors(a_pipe("great.octave", 31, 30.0), *median).level == 2.0
    assert factors(a_pipe("great.octave", 31, None), *median).level == 1.0
    assert factors(a_pipe("great.octave", 31, -9.0)).level == 1.0  # nothing to compare it with


def test_only_a_celeste_counts_less_for_its_kind():
    kinds = {
        rank.id: weigh(LAYOUT, []).at(LAYOUT.place(PipeRef(rank.id, 31))).kind
        for rank in ORGAN.ranks
    }
    assert kinds["swell.celeste"] == 0.4
    assert {kind for rank, kind in kinds.items() if rank != "swell.celeste"} == {1.0}
    assert LAYOUT.role["great.twelfth"] is Role.MUTATION


def test_average_is_the_median_of_the_flues():
    flues = [a_pipe("great.octave", n, level) for n, level in enumerate((-30.0, -20.0, -26.0), 1)]
    assert average_level_db(ORGAN, [*flues, a_pipe("great.trumpet", 5, -5.0)]) == -26.0
    assert average_level_db(ORGAN, [a_pipe("great.trumpet", 5, -5.0)]) == -5.0
    assert average_level_db(ORGAN, [a_pipe("great.octave", 5, None)]) is None


def test_changes_by_stop_and_by_hand_are_multiplied():
    own = own_factors(
        LAYOUT, [WeightChange("great.octave", 0.5), WeightChange("great.octave:31", 3.0)]
    )
    assert own[LAYOUT.place(PipeRef("great.octave", 30))] == 0.5
    assert own[LAYOUT.place(PipeRef("great.octave", 31))] == 1.5
    assert own[LAYOUT.place(PipeRef("great.principal", 31))] == 1.0


@pytest.mark.parametrize(
    ("subject", "factor", "message"),
    [
        ("great.nothing", 2.0, "no stop, rank or pipe 'great.nothing'"),
        ("great.octave:99", 2.0, "no stop, rank or pipe"),
        ("great.octave", 40.0, "cannot be changed by 40"),
        ("great.octave", -1.0, "cannot be changed by -1"),
    ],
)
def test_a_change_that_cannot_be_is_refused(subject, factor, message):
    with pytest.raises(InputError, match=message):
        own_factors(LAYOUT, [WeightChange(subject, factor)])


def test_an_event_exposes_its_stops_and_its_keys():
    """Middle C of the Octave sounds for a minute, its neighbour never; the Trumpet is not drawn."""
    use = EventUse((RegistrationUse(("great.octave",), 60.0, {"great": {60: 60.0}}),))
    weights = weigh(LAYOUT, [], use)
    plain = weigh(LAYOUT, [])
    exposed, silent, other = (
        LAYOUT.place(PipeRef(rank, number))
        for rank, number in (("great.octave", 25), ("great.octave", 26), ("great.trumpet", 25))
    )
    usual = plain.register * plain.drawn
    assert weights.use is not None
    assert_allclose(weights.use[exposed], (1 - EVENT_SHARE) * usual[exposed] + EVENT_SHARE)
    for place in (silent, other):
        assert_allclose(weights.use[place], (1 - EVENT_SHARE) * usual[place])


def test_long_exposure_counts_by_its_square_root_and_not_beyond_twice():
    keys = {48: 1.0, 60: 4.0, 62: 4.0, 65: 4.0, 67: 90.0, 69: 1.0, 72: 1.0, 64: 400.0}
    use = EventUse((RegistrationUse(("great.octave",), 60.0, {"great": keys}),))
    weights = weigh(LAYOUT, [], use)
    assert weights.use is not None
    places = [LAYOUT.place(PipeRef("great.octave", key - 35)) for key in keys]
    used = (
        weights.use[places] - (1 - EVENT_SHARE) * (weights.register * weights.drawn)[places]
    ) / EVENT_SHARE
    mean = np.mean(list(keys.values()))
    assert_allclose(used, np.minimum(np.sqrt(np.array(list(keys.values())) / mean), 2.0))
    assert used[-1] == pytest.approx(2.0)  # by the root alone it would be 2.5


def test_a_plain_pipe_weighs_one_and_every_factor_multiplies():
    assert Weight(1.0, 1.0, 1.0).whole == 1.0
    assert Weight(1.0, 1.0, 1.0).stray == 0.0
    assert Weight(2.0, 0.5, 0.4, 0.7, None, 3.0, 0.9, 0.6).whole == pytest.approx(
        2.0 * 0.5 * 0.4 * 0.7 * 3.0 * 0.9
    )
    # with an event its use takes the place of what is usual
    assert Weight(2.0, 0.5, 0.4, 0.7, 1.5, 3.0, 0.9).whole == pytest.approx(
        2.0 * 1.5 * 0.4 * 0.7 * 3.0
    )


def test_the_weight_of_one_pipe_is_that_of_the_arrays():
    weights = weigh(LAYOUT, [a_pipe("great.octave", 31, -20.0), a_pipe("swell.flute", 9, -30.0)])
    for place in range(0, len(LAYOUT.semitone), 37):
        assert weights.at(place).whole == pytest.approx(weights.whole[place])
        assert weights.at(place).stray == weights.stray[place]


def test_a_stop_names_just_its_pipes_and_a_pipe_just_itself():
    first = LAYOUT.place(PipeRef("great.octave", 1))
    assert places_named(LAYOUT, "great.octave") == list(range(first, first + 61))
    assert places_named(LAYOUT, "great.octave:1") == [first]
    assert places_named(LAYOUT, "great.octave:61") == [first + 60]
    for wrong in ("great.octave:62", "great.octave:", "great.octave:a"):
        with pytest.raises(InputError, match="no stop, rank or pipe"):
            places_named(LAYOUT, wrong)


def test_changes_from_a_tenth_to_ten_are_accepted_and_zero_leaves_it_out():
    for factor in (0.1, 10.0, 0.0):
        own = own_factors(LAYOUT, [WeightChange("great.octave:3", factor)])
        assert own[LAYOUT.place(PipeRef("great.octave", 3))] == factor
    for factor in (0.09, 10.1, -0.1):
        with pytest.raises(InputError, match=r"from 0\.1 to 10, or 0"):
            WeightChange("great.octave:3", factor)


def test_a_stray_costs_a_third_and_a_fifth_of_that_where_the_event_is_silent():
    """Four fifths of its use are the event's; key 60 is in the played range, key 36 is not."""
    event = EventUse((RegistrationUse(("great.octave",), 60.0, {"great": {60: 60.0}}),))
    change = [WeightChange("great.trumpet", 2.0)]
    plain, weights = weigh(LAYOUT, [], None, change), weigh(LAYOUT, [], event, change)
    octave, trumpet, low = (
        LAYOUT.place(PipeRef(rank, number))
        for rank, number in (("great.octave", 25), ("great.trumpet", 25), ("great.octave", 1))
    )
    assert_allclose(plain.stray[[octave, trumpet, low]], [0.35, 0.7, 0.0])
    assert_allclose(weights.stray[[octave, trumpet, low]], [0.35, 0.2 * 0.7, 0.0])


def test_beats_above_the_ear_count_less() -> None:
    """c''''' of an 8′ and of a 4′, and the partials at which they beat; half at 5 kHz.

    Key 96 of an equal-tempered a' of 440 Hz is 2,093 Hz; five octaves down next to nothing is lost.
    """
    plain = weigh(LAYOUT, [])
    company = company_of(LAYOUT, levels_db(LAYOUT, {}), ordinary(LAYOUT))
    for rank, number, hz in (
        ("great.principal", 61, 2093.0), ("great.octave", 61, 4186.0), ("great.principal", 1, 65.4)
    ):  # fmt: skip
        place = LAYOUT.place(PipeRef(rank, number))
        beats_at_hz = hz * company.beating_partial[place]
        heard = plain.company[place] / company.factor[place]
        assert heard == pytest.approx(1.0 / (1.0 + (beats_at_hz / 5000.0) ** 2), rel=1e-3)
