from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from walkboard.errors import InputError
from walkboard.quantities import cents_of_ratio
from walkboard.scales.harmonics import (
    feet_of_multiple,
    multiple_of_feet,
    multiple_of_interval,
    parse_feet,
)


@pytest.mark.parametrize(
    ("typed", "multiple"),
    [
        ("8", 1),
        ("8'", 1),
        ("16′", Fraction(1, 2)),
        ("2 2/3", 3),
        ("2 2/3'", 3),
        ("2⅔", 3),
        ("2⅔′", 3),
        ("2-2/3", 3),
        ("1⅗ ft", 5),
        ("⅘", 10),
        ("½ foot", 16),
        ("8/9", 9),
        ("22/3", Fraction(12, 11)),
        (" 10 2/3 ", Fraction(3, 4)),
        (4, 2),
        (Fraction(8, 3), 3),
    ],
)
def test_feet_are_read_as_they_are_engraved(typed, multiple):
    assert multiple_of_feet(typed) == multiple


@pytest.mark.parametrize("typed", ["", "x", "0", "-8", "1/0", "2/", "2 2 3", "3.5", "′", "8 1", 0])
def test_what_is_no_length_is_refused(typed):
    with pytest.raises(InputError, match="is not a length in feet"):
        multiple_of_feet(typed)


@given(st.fractions(min_value=Fraction(1, 8), max_value=64, max_denominator=64))
def test_feet_go_there_and_back(multiple):
    assert multiple_of_feet(feet_of_multiple(multiple)) == multiple


# Source: the names of the ranks say both (twelfth 2 2/3, fifteenth 2, seventeenth 1 3/5, nineteenth
# 1 1/3, twenty-second 1); common practice, and registration tutors for 12, 15 and 19.
@pytest.mark.parametrize(
    ("interval", "feet"),
    [(1, "8"), (8, "4"), (12, "2 2/3"), (15, "2"), (17, "1 3/5"), (19, "1 1/3"), (22, "1")],
)
def test_interval_and_feet_name_the_same_row(interval, feet):
    assert multiple_of_interval(interval) == multiple_of_feet(feet)


# A numeral counts degrees of the major scale: the row lies there on the keyboard, but for the pure
# tuning of fifths, thirds and the septième (31 cents).
@pytest.mark.parametrize("interval", [1, 5, 8, 10, 12, 15, 17, 19, 22, 24, 26, 29, 33, 36])
def test_interval_lies_on_its_degree_of_the_scale(interval):
    semitones = [0, 2, 4, 5, 7, 9, 11][(interval - 1) % 7] + 12 * ((interval - 1) // 7)
    cents = cents_of_ratio(float(multiple_of_interval(interval)))
    np.testing.assert_allclose(cents, 100.0 * semitones, atol=14.0)


@pytest.mark.parametrize("interval", [0, -8, 2, 4, 6, 11, 13, 18, 20, 51])
def test_intervals_that_no_mixture_has_are_refused(interval):
    with pytest.raises(InputError, match="not the interval of a mixture's row"):
        multiple_of_interval(interval)


def test_feet_may_be_compared():
    assert parse_feet("10 2/3") > parse_feet("8") > parse_feet("8/9")
