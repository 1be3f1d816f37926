"""Numbers, dates and names as a tuner writes them."""

from __future__ import annotations

from datetime import date
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from walkboard.sheets.wording import (
    against,
    celsius,
    counted,
    day_words,
    feet_words,
    flat_or_sharp,
    hertz,
    listed,
    minutes,
    signed,
    temperament_words,
)


@pytest.mark.parametrize(
    ("cents", "words"),
    [(7.24, "7.2 sharp"), (-7.26, "7.3 flat"), (0.04, "in tune"), (-0.04, "in tune")],
)
def test_plus_is_sharp(cents: float, words: str) -> None:
    assert flat_or_sharp(cents) == words


def test_nought_has_no_sign() -> None:
    assert signed(-0.04) == "0.0"
    assert signed(-7.0) == "−7.0"
    assert signed(4.81) == "+4.8"
    assert against(0.0, "the flues") == "at the flues"
    assert against(-5.2, "the flues") == "5.2 cents flat of the flues"


@given(st.floats(16.0, 12_000.0))
def test_a_frequency_is_written_to_a_tenth_of_a_cent_or_finer(hz: float) -> None:
    # One cent is 0.0578 % of a frequency (2^(1/1200) − 1), so half the last digit is at most that.
    assert abs(float(hertz(hz)) - hz) <= 0.1 * 0.000578 * hz


@pytest.mark.parametrize(
    ("multiple", "words"),
    [
        (Fraction(1), "8′"),
        (Fraction(1, 2), "16′"),
        (Fraction(3), "2⅔′"),
        (Fraction(5), "1⅗′"),
        (Fraction(6), "1⅓′"),
        (Fraction(12), "⅔′"),
        (Fraction(8), "1′"),
        (Fraction(3, 2), "5⅓′"),
    ],
)
def test_feet_are_written_as_on_a_stop_knob(multiple: Fraction, words: str) -> None:
    # Feet of each multiple of the 8′ pitch: arithmetic, 8 divided by the multiple.
    assert feet_words(multiple) == words


def test_the_rest_reads_like_speech() -> None:
    assert day_words(date(2026, 3, 4)) == "4 March 2026"
    assert celsius(-0.5).replace("\N{NO-BREAK SPACE}", " ") == "−0.5 °C"
    assert [
        minutes(m).replace("\N{NO-BREAK SPACE}", " ") for m in (0.6, 2.0, 59.0, 118.5, 120)
    ] == [
        "0.6 min",
        "2 min",
        "59 min",
        "1 h 58 min",
        "2 h",
    ]
    assert counted(1, "pipe") == "1 pipe"
    assert counted(0, "pipe") == "0 pipes"
    assert listed(["a"]) == "a"
    assert listed(["a", "b", "c"]) == "a, b and c"
    assert listed(["a", "b", "c", "d"], 2) == "a, b and 2 more"
    assert listed([]) == ""


def test_temperaments_are_written_like_names() -> None:
    written = {
        "equal": "Equal",
        "werckmeister iii": "Werckmeister III",
        "vallotti on G": "Vallotti on G",
        "meantone 1/6 pc": "Meantone 1/6 pc",
        "neidhardt 1732 village": "Neidhardt 1732 village",
    }
    assert {name: temperament_words(name) for name in written} == written
