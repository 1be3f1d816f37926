"""Which of two spectra is which pipe's: kinds of pipe as the trade describes them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import norm

from walkboard.listening.joint.labels import expected_levels_db, likeness, odds_as_named
from walkboard.listening.types import Comb, Spectrum

OPEN, STOPPED, REED = (
    Comb(name, 200.0, kind)
    for name, kind in (
        ("open", Spectrum.FULL),
        ("stopped", Spectrum.ODD),
        ("reed", Spectrum.BRIGHT),
    )
)
NUMBERS = [1, 2, 3, 4, 5, 6, 7, 8]


def falling(db_an_octave: float, even_db: float = 0.0) -> dict[int, float]:
    """Levels that fall evenly, the even partials so much lower."""
    return {n: -db_an_octave * math.log2(n) - even_db * (n % 2 == 0) for n in NUMBERS}


def test_the_shapes_of_the_kinds() -> None:
    """Common practice, no source: an open pipe falls 9 dB an octave, a stopped one 11.

    A stopped pipe's even partials are 20 dB lower; a reed falls 3 dB to 1.5 kHz and 9 above.
    """
    assert expected_levels_db(OPEN, NUMBERS) == pytest.approx(list(falling(9.0).values()))
    assert expected_levels_db(STOPPED, NUMBERS) == pytest.approx(list(falling(11.0, 20.0).values()))
    low, high = Comb("low", 100.0, Spectrum.BRIGHT), Comb("high", 3000.0, Spectrum.BRIGHT)
    assert expected_levels_db(low, [1, 2, 4, 8]) == pytest.approx([0.0, -3.0, -6.0, -9.0])
    above = expected_levels_db(high, [1, 2, 4])
    assert np.diff(np.array(above, float)) == pytest.approx([-9.0, -9.0])


def test_what_is_remembered_counts_a_quarter_of_its_departure_from_the_kind() -> None:
    """8 dB of octave that the kind has not; how loud the whole was does not matter."""
    usual = np.array(list(falling(9.0).values())[:6])
    for loudness_db in (0.0, -40.0):
        levels = usual + loudness_db
        levels[1] += 8.0
        comb = Comb("c", 200.0, levels_db=tuple(levels))
        due = expected_levels_db(comb, NUMBERS)
        assert due[6:] == [None, None]  # not remembered so far up
        heard = [level for level in due[:6] if level is not None]
        assert np.array(heard) - usual == pytest.approx([0.0, 2.0, 0.0, 0.0, 0.0, 0.0])


def test_likeness_is_the_mixture_about_the_common_level() -> None:
    """98 % within 6 dB (scipy's normal, but for its constant), 2 % anywhere in 60 dB."""
    away = np.array([0.0, 3.0, -6.0, 0.0, 30.0])
    levels = {n: falling(9.0)[n] - 35.0 + away[n - 1] for n in range(1, 6)}
    density = 0.98 * norm.pdf(away / 6.0) * math.sqrt(2.0 * math.pi) + 0.02 * 6.0 / 60.0
    assert likeness(OPEN, levels) == pytest.approx(float(np.log(density).sum()))
    assert likeness(OPEN, {1: -3.0}) == 0.0  # one partial has no shape


def test_spectra_given_the_other_way_round_speak_for_the_other_names() -> None:
    bright, dull = falling(3.0), falling(11.0, 20.0)
    odds = odds_as_named(REED, STOPPED, bright, dull)
    assert odds > 3.9
    assert odds_as_named(REED, STOPPED, dull, bright) == pytest.approx(-odds)
    assert odds_as_named(STOPPED, REED, dull, bright) == pytest.approx(odds)


def test_two_of_a_kind_without_a_remembered_spectrum_are_not_separated() -> None:
    assert odds_as_named(OPEN, Comb("b", 200.0), falling(3.0), falling(12.0)) == 0.0
    remembered = Comb("b", 200.0, levels_db=tuple(falling(12.0).values()))
    assert odds_as_named(OPEN, remembered, falling(3.0), falling(12.0)) > 0.0
    assert odds_as_named(REED, STOPPED, {}, falling(11.0)) == 0.0


def test_an_octave_that_only_one_has_says_which_is_stopped() -> None:
    """The stopped one's even partials were not heard at all: at most as loud as the faintest."""
    odd_only = {n: level for n, level in falling(11.0).items() if n % 2}
    odds = odds_as_named(OPEN, STOPPED, falling(9.0), odd_only)
    assert odds > 3.9
    # A partial above the highest that both have says nothing: the room or the noise hides it.
    short = {n: level for n, level in odd_only.items() if n < 6}
    floor = {n: level for n, level in falling(9.0).items() if n < 6}
    longer = floor | {n: min(short.values()) for n in (6, 7, 8)}
    assert odds_as_named(OPEN, STOPPED, longer, short) == pytest.approx(
        odds_as_named(OPEN, STOPPED, floor, short)
    )
