"""Ordinary use: which keys are played, and which stops are drawn."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.condition.organs import small_organ
from walkboard.organ.model import PipeRef
from walkboard.organ.reading import read_organ
from walkboard.planning.value.layout import Layout
from walkboard.planning.value.ordinary import (
    LIMITS,
    Purpose,
    drawn_use,
    interval_use,
    key_use,
    played_range,
)

ORGAN = small_organ()
LAYOUT = Layout.of(ORGAN)
PEDAL = read_organ(
    """
format = 1
name = "Two keyboards"
temperament = "equal"
[pitch]
a4_hz = 440.0
at_celsius = 18.0
[[division]]
id = "great"
name = "Great"
keys = 61
[[division]]
id = "pedal"
name = "Pedal"
keys = 32
[[rank]]
id = "great.principal"
division = "great"
name = "Principal"
family = "open"
feet = "8"
pipes = 61
tuned_by = "slide"
[[rank]]
id = "pedal.subbass"
division = "pedal"
name = "Subbass"
family = "stopped"
feet = "16"
pipes = 32
tuned_by = "stopper"
"""
)


def use_at(rank: str, keys: list[int], purpose: Purpose = Purpose.HYMNS) -> np.ndarray:
    places = [LAYOUT.place(PipeRef(rank, key - 35)) for key in keys]
    found: np.ndarray = key_use(LAYOUT, purpose)[places]
    return found


def test_hymns_use_the_middle_of_the_keyboard():
    """Most of the four voices lie between G3 and G4 in any hymn book (common practice, no source).

    The voices' compasses, soprano C4 to G5 and bass E2 to C4, are those of any book on harmony.
    """
    low, tenor, middle, high, top = use_at("great.octave", [36, 52, 65, 79, 95])
    assert middle > 0.95
    assert tenor > 0.5 * middle
    assert low < 0.3
    assert high < 0.3
    assert top == pytest.approx(LIMITS.least_use)


def test_literature_uses_the_ends_of_the_keyboard_more_than_hymns():
    ends = [36, 90]
    assert np.all(
        use_at("great.octave", ends, Purpose.RECITAL) > 1.2 * use_at("great.octave", ends)
    )


def test_the_pedal_plays_the_bass():
    """The same key is in the middle of the bass on the pedal, and low on the manual."""
    layout = Layout.of(PEDAL)
    use = key_use(layout)
    on_manual = use[layout.place(PipeRef("great.principal", 45 - 35))]
    on_pedal = use[layout.place(PipeRef("pedal.subbass", 45 - 35))]
    assert on_pedal > 1.3 * on_manual


def test_octaves_thirds_and_fifths_sound_together_and_semitones_do_not():
    """A triad in close or open position is octaves, thirds, fourths, fifths and sixths."""
    share = interval_use()
    for consonance in (3, 4, 5, 7, 8, 9, 12):
        assert share[consonance] > 3.0 * share[1]
    assert share.get(1, 0.0) < 0.02
    assert share[12] > 0.1


@pytest.mark.parametrize("purpose", list(Purpose))
def test_every_purpose_draws_every_kind_and_principals_more_than_celestes(purpose):
    use = drawn_use(LAYOUT, purpose)
    assert np.all((use > 0.0) & (use <= 1.0))
    principal, celeste = (
        use[LAYOUT.place(PipeRef(rank, 31))] for rank in ("great.principal", "swell.celeste")
    )
    assert principal > celeste


def test_a_choir_is_accompanied_softly():
    reed = LAYOUT.place(PipeRef("great.trumpet", 31))
    flute = LAYOUT.place(PipeRef("swell.flute", 31))
    hymns, choir = drawn_use(LAYOUT), drawn_use(LAYOUT, Purpose.ACCOMPANIMENT)
    assert choir[flute] > hymns[flute]
    assert choir[reed] < hymns[reed]


def test_strays_count_from_c3_to_c6_and_on_the_pedal_from_its_lowest_key():
    layout = Layout.of(PEDAL)
    played = played_range(layout)
    manual = layout.slice_of(PEDAL.rank("great.principal"))
    semitone = layout.semitone[manual]
    assert_allclose(played[manual], (semitone >= 48) & (semitone <= 84))
    assert played[layout.slice_of(PEDAL.rank("pedal.subbass"))].all()


@pytest.mark.parametrize("purpose", list(Purpose))
def test_no_stop_is_drawn_more_than_always(purpose):
    use = drawn_use(Layout.of(PEDAL), purpose)
    assert np.all((use > 0.5) & (use <= 1.0))  # a Principal and a Subbass, in every service
    assert np.all(drawn_use(LAYOUT, purpose) ** (1.0 / LIMITS.drawn_power) <= 1.0)
