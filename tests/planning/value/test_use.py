"""How an event exposes stops and keys."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.condition.organs import HEAD, a_rank, small_organ
from walkboard.errors import InputError
from walkboard.organ.model import PipeRef
from walkboard.organ.reading import read_organ
from walkboard.planning.value.layout import Layout
from walkboard.planning.value.ordinary import key_use
from walkboard.planning.value.use import (
    MOST_REGISTRATIONS,
    EventUse,
    Note,
    RegistrationUse,
    exposed_seconds,
    exposures,
    from_notes,
    registrations,
)
from walkboard.planning.value.use_json import use_from_json, use_to_json

ORGAN = small_organ()
LAYOUT = Layout.of(ORGAN)


def test_a_note_counts_its_time_over_the_root_of_how_many_sound():
    """Four seconds alone, then four with three others: 4/√1 + 4/√4 (worked by hand)."""
    notes = [Note("great", 60, 0.0, 8.0), *(Note("great", s, 4.0, 8.0) for s in (64, 67, 72))]
    assert_allclose(exposed_seconds(notes), [4.0 + 2.0, 2.0, 2.0, 2.0])


def test_rests_and_repeats_are_no_trouble():
    notes = [Note("great", 60, 0.0, 1.0), Note("great", 60, 5.0, 6.0), Note("great", 62, 5.0, 6.0)]
    assert_allclose(exposed_seconds(notes), [1.0, 2**-0.5, 2**-0.5])


def test_exposures_are_those_of_a_plain_sum_over_time():
    """Counted again in steps of a hundredth of a second."""
    rng = np.random.default_rng(5)
    begun = np.sort(rng.integers(0, 2000, 60)) / 100.0
    notes = [
        Note("great", int(rng.integers(36, 97)), float(t), float(t + rng.integers(1, 300) / 100.0))
        for t in begun
    ]
    grid = np.arange(0.0, 25.0, 0.01) + 0.005
    sounding = np.array([[n.start_s < t < n.end_s for t in grid] for n in notes])
    plain = (sounding / np.sqrt(np.maximum(sounding.sum(axis=0), 1))).sum(axis=1) * 0.01
    assert_allclose(exposed_seconds(notes), plain, rtol=0, atol=1e-9)


def test_music_exposes_the_pipes_that_it_sounds():
    """Middle C on Octave and Mixture: its own pipes, not the Trumpet's, nor the Swell's."""
    notes = [Note("great", 60, 0.0, 9.0), Note("swell", 60, 0.0, 9.0)]
    use = from_notes(ORGAN, ["great.octave", "great.mixture"], notes)
    exposed = exposures(LAYOUT, EventUse((use,)), key_use(LAYOUT))[0]
    (sounding,) = np.nonzero(exposed)
    assert {int(i) for i in sounding} == {
        LAYOUT.place(PipeRef(rank, 25)) for rank in ("great.octave", "great.mixture")
    }
    assert_allclose(exposed[sounding], 9.0)
    (registration,) = registrations(LAYOUT, EventUse((use,)))
    assert registration.present.sum() == 122


def test_stops_without_music_are_used_as_the_keyboard_usually_is():
    use = EventUse((RegistrationUse(("great.octave",), 61.0),))
    register = key_use(LAYOUT)
    exposed = exposures(LAYOUT, use, register)[0]
    part = LAYOUT.slice_of(ORGAN.rank("great.octave"))
    assert_allclose(exposed[part], np.sqrt(3.0) * register[part])
    assert exposed.sum() == pytest.approx(exposed[part].sum())


def test_music_that_sounds_nothing_is_refused():
    with pytest.raises(InputError, match="No note of the music sounds a pipe"):
        from_notes(ORGAN, ["swell.flute"], [Note("great", 60, 0.0, 9.0)], "hymn.mid")


def test_many_registrations_are_joined_and_no_second_is_lost():
    stops = [s.id for s in ORGAN.stops]
    uses = tuple(
        RegistrationUse((stops[i % len(stops)], stops[(i // 2) % len(stops)]), 10.0 + i)
        for i in range(20)
    )
    joined = EventUse(uses).condensed()
    assert len(joined.registrations) == MOST_REGISTRATIONS
    assert sum(u.seconds for u in joined.registrations) == sum(u.seconds for u in uses)


def test_a_use_goes_out_and_comes_in_the_same():
    use = from_notes(ORGAN, ["great.octave"], [Note("great", 60, 0.0, 9.5)], "hymn.mid")
    assert use_from_json(use_to_json(EventUse((use,)))) == EventUse((use,))
    with pytest.raises(InputError, match=r"0\.stops"):
        use_from_json([{"stops": [], "seconds": 3.0}])


def test_music_begins_with_its_first_note_and_ends_with_its_last():
    notes = [Note("great", 60, 2.0, 5.0), Note("great", 62, 4.0, 12.0), Note("great", 64, 6.0, 6.0)]
    use = from_notes(ORGAN, ["great.octave"], notes)
    assert use.seconds == 10.0
    assert set(use.keys["great"]) == {60, 62}  # a note without length is none


def test_a_key_played_again_is_exposed_again():
    notes = [Note("great", 60, 0.0, 1.0), Note("great", 60, 3.0, 5.0)]
    assert from_notes(ORGAN, ["great.octave"], notes).keys["great"] == {60: 3.0}


def test_notes_beyond_the_compass_sound_nothing():
    notes = [Note("great", 60, 0.0, 1.0), Note("great", 20, 0.0, 1.0), Note("great", 97, 0.0, 1.0)]
    assert from_notes(ORGAN, ["great.octave"], notes).keys["great"] == {60: 1.0}


def test_a_registration_without_times_is_a_piece_of_four_minutes_for_three_voices():
    use = RegistrationUse(("swell.flute",))
    assert use.seconds == 240.0
    register = key_use(LAYOUT)
    exposed = exposures(LAYOUT, EventUse((use,)), register)[0]
    part = LAYOUT.slice_of(ORGAN.rank("swell.flute"))
    assert_allclose(exposed[part], 240.0 * np.sqrt(3.0) / 61.0 * register[part])


def test_hymns_on_the_same_stops_are_one_registration():
    first = RegistrationUse(("great.octave",), 60.0, {"great": {60: 5.0, 62: 1.0}}, "one.mid")
    again = RegistrationUse(("great.octave",), 90.0, {"great": {60: 2.0}}, "two.mid")
    (both,) = EventUse((first, again)).condensed().registrations
    assert both == RegistrationUse(
        ("great.octave",), 150.0, {"great": {60: 7.0, 62: 1.0}}, "one.mid; two.mid"
    )


def test_the_shortest_registrations_go_to_the_long_one_most_like_them():
    stops = [s.id for s in ORGAN.stops]
    long = [RegistrationUse((stop,), 100.0 + at) for at, stop in enumerate(stops[:5])]
    chorus = RegistrationUse(("great.octave", "great.twelfth", "great.trumpet"), 99.0)
    short = RegistrationUse(("great.octave", "great.twelfth", "great.mixture"), 7.0)
    joined = EventUse((short, chorus, *long)).condensed().registrations
    assert len(joined) == 6
    assert RegistrationUse(chorus.stops, 106.0) in joined
    assert [u.seconds for u in joined[:-1]] == [104.0, 103.0, 102.0, 101.0, 100.0]


def test_a_pedal_of_thirty_two_keys_shares_its_time_among_thirty_two():
    organ = read_organ(
        HEAD.format(temperament="equal", a4=440.0, celsius=18.0)
        + '[[division]]\nid = "pedal"\nname = "Pedal"\nkeys = 32\n'
        + a_rank("pedal.subbass", "stopped", "stopper", feet='"16"', pipes=32)
    )
    layout = Layout.of(organ)
    use = EventUse((RegistrationUse(("pedal.subbass",), 64.0),))
    exposed = exposures(layout, use, np.ones(32))[0]
    assert_allclose(exposed, np.sqrt(3.0) * 2.0)
