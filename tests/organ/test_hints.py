"""Where people slip: each of these is answered with what to write instead."""

from __future__ import annotations

import pytest

from walkboard.errors import DescriptionError
from walkboard.organ.reading import read_organ

GOOD = """\
format = 1
name = "Test"
temperament = "equal"

[pitch]
a4_hz = 440.0
at_celsius = 18.0

[[division]]
id = "great"
name = "Great"
keys = 56

[[rank]]
id = "great.principal8"
division = "great"
name = "Principal"
family = "open"
feet = "8"
pipes = 44
from = "C3"
tuned_by = "slide"

[[rank]]
id = "great.trumpet8"
division = "great"
name = "Trumpet"
family = "reed"
feet = "8"
pipes = 56
tuned_by = "spring"

[[coupler]]
id = "great-octave"
name = "Great Octave"
from = "great"
to = "great"
octave = 1

[[stop]]
id = "great.trumpet"
name = "Trumpet"
division = "great"
plays = [{rank = "great.trumpet8"}]
"""

SLIPS = [
    ('tuned_by = "spring"', 'tuned_by = "tongue"', "mean spring?"),
    ('tuned_by = "spring"', 'tuned_by = "wire"', "mean spring?"),
    ('tuned_by = "slide"', 'tuned_by = "collar"', "mean slide?"),
    ('tuned_by = "slide"', 'tuned_by = "slied"', "mean slide?"),
    ('tuned_by = "slide"', 'tuned_by = "canister"', "mean cap?"),
    ('tuned_by = "slide"', 'tuned_by = "spring"', "slide or cone"),
    ('family = "open"', 'family = "mixture"', '"A mixture" in docs'),
    ('family = "open"', 'family = "cornet"', '"A mixture" in docs'),
    ('family = "open"', 'family = "celeste"', "beats = 2.0"),
    ('family = "open"', 'family = "Principal"', "mean open?"),
    ('family = "open"', 'family = "gedackt"', "mean stopped?"),
    ('family = "reed"', 'family = "trumpet"', "mean reed?"),
    ('from = "C3"', 'from = "H2"', '"B2"'),
    ('from = "C3"', 'from = "c"', '"C3"'),
    ('from = "C3"', 'from = "c\'"', '"C4"'),
    ('from = "C3"', 'from = "TC"', '"C3"'),
    ('from = "C3"', 'from = "fis1"', '"F#4"'),
    ('from = "C3"', 'from = "C"', '"C2"'),
    ('temperament = "equal"', 'temperament = "meantone quater"', "meantone"),
    ('temperament = "equal"', 'temperament = "walotti"', "mean vallotti?"),
    ('feet = "8"', "feet = 2.67", '"2 2/3"'),
    ('feet = "8"', "feet = 8.0", '"8"'),
    ('feet = "8"', 'feet = "4 1/7"', "mean 4?"),
    ('feet = "8"', 'pitch = "8"', "Write feet"),
    ("pipes = 44", "notes = 44", "pipes"),
    ("pipes = 44", 'pipes = 44\nwind = "3 inches"', "wind_mm"),
    ("at_celsius = 18.0", "at_fahrenheit = 64.0", "divide by 1.8"),
    ("[[coupler]]", "[[couplers]]", "mean coupler?"),
    ("[[coupler]]", "[[copuler]]", "mean coupler?"),
    ("octave = 1", 'octave = "super"', "octave"),
    ('from = "great"\nto', 'from = "graet"\nto', "mean great?"),
    ('plays = [{rank = "great.trumpet8"}]', 'plays = [{rank = "great.trumpett8"}]', "trumpet8?"),
]


def test_the_description_is_right_without_a_slip() -> None:
    assert len(read_organ(GOOD).ranks) == 2


def test_there_are_32() -> None:
    assert len(SLIPS) == 32


@pytest.mark.parametrize(("old", "new", "hint"), SLIPS)
def test_a_slip_is_answered_with_what_to_write(old: str, new: str, hint: str) -> None:
    assert old in GOOD
    with pytest.raises(DescriptionError) as caught:
        read_organ(GOOD.replace(old, new, 1))
    assert hint in " ".join(problem.fix for problem in caught.value.problems)


def test_meantone_quarter_is_quarter_comma_meantone() -> None:
    text = GOOD.replace('"equal"', '"meantone quarter"')
    assert read_organ(text).temperament.name == "meantone 1/4"
