"""One thing wrong in a description gives one problem, on its line, with how to fix it."""

from __future__ import annotations

import re

import pytest

from walkboard.errors import DescriptionError, Problem
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

[[division]]
id = "pedal"
name = "Pedal"
keys = 30

[[chest]]
id = "front"
division = "great"
minutes = 2.0

[[travel]]
from = "front"
to = "pedal"
minutes = 1.0

[[rank]]
id = "great.principal8"
division = "great"
name = "Principal"
family = "open"
feet = "8"
pipes = 56
tuned_by = "slide"
chest = "front"
wind_mm = 80.0
minutes = 1.0
diameter_mm = {1 = 150.0, 13 = 90.0}

[[rank]]
id = "great.mixture.1"
division = "great"
name = "Mixture, row 1"
family = "open"
breaks = [{from = "C2", interval = 19}, {from = "C4", interval = 15}]
pipes = 56
tuned_by = "cone"

[[rank]]
id = "great.celeste8"
division = "great"
name = "Celeste"
family = "open"
feet = "8"
pipes = 44
from = "C3"
tuned_by = "roll"
beats = 2.0

[[rank]]
id = "great.trumpet8"
division = "great"
name = "Trumpet"
family = "reed"
feet = "8"
pipes = 56
tuned_by = "spring"
tongue_mm = {1 = 80.0}

[[rank]]
id = "pedal.bourdon16"
division = "pedal"
name = "Bourdon"
family = "stopped"
feet = "16"
pipes = 42
tuned_by = "stopper"

[[stop]]
id = "pedal.bourdon16"
name = "Bourdon 16"
division = "pedal"
plays = [{rank = "pedal.bourdon16"}]

[[stop]]
id = "pedal.flute8"
name = "Flute 8"
division = "pedal"
plays = [{rank = "pedal.bourdon16", first_pipe = 13}]

[[stop]]
id = "great.trumpet8"
name = "Trumpet 8"
division = "great"
plays = [{rank = "great.trumpet8", to = "B3"}, {rank = "great.trumpet8", from = "C4"}]
"""


def problems_of(text: str) -> tuple[Problem, ...]:
    with pytest.raises(DescriptionError) as caught:
        read_organ(text)
    return caught.value.problems


def test_the_description_itself_is_right() -> None:
    assert len(read_organ(GOOD).stops) == 6


CASES = [
    # the head
    ("format = 1", "format = 2", "format", "not a format", "format = 1"),
    ('name = "Test"', 'name = " "', "name", "not a name", "one line"),
    ('name = "Test"\n', "", "name", "is missing", "name ="),
    ('temperament = "equal"', 'temperament = "equel"', "temperament", "equel", "mean equal?"),
    ('temperament = "equal"', 'temperament = "by ear"', "temperament", "by ear", "werckmeister"),
    ('temperament = "equal"', "temperament = 12", "temperament", "text", '"equal"'),
    ("a4_hz = 440.0", "a4_hz = 44.0", "pitch: a4_hz", "44.0", "at least 300"),
    ("a4_hz = 440.0", "a4_hz = nan", "pitch: a4_hz", "finite", "440"),
    ("at_celsius = 18.0", "at_celsius = 64.4", "pitch: at_celsius", "64.4", "at most 45"),
    ("at_celsius = 18.0", "", "pitch: at_celsius", "is missing", "18.0"),
    ("at_celsius", "celsius", "pitch: celsius", "no such field", "mean at_celsius?"),
    ("[pitch]\na4_hz = 440.0\nat_celsius = 18.0\n", "", "pitch", "is missing", "[pitch]"),
    ("[pitch]", "[[pitch]]", "pitch", "only one", "[pitch]"),
    # divisions, chests, travel
    ("keys = 56", 'keys = "56"', "division great: keys", "whole number", "keys = 61"),
    ("keys = 56", "keys = 56.0", "division great: keys", "whole number", "keys = 61"),
    ("keys = 56", "keys = 500", "division great: keys", "500", "at most 88"),
    ("keys = 56", 'keys = 56\nlowest = "H2"', "division great: lowest", "H2", "B2"),
    ("keys = 30", 'keys = 30\nlowest = "C9"', "division pedal: keys", "past", "at most 24"),
    ("keys = 30", 'keys = 30\nlowest = "C-2"', "division pedal: lowest", "off any keyboard", "C-1"),
    ("keys = 30", "keys = 30\nenclosed = 1", "division pedal: enclosed", "true or false", "true"),
    ("keys = 30", 'keys = 30\n[[division]]\nid = "great"\nname = "x"\nkeys = 3',
     "division great: id", "another division", "own"),
    ('id = "pedal"\n', 'id = "the pedal"\n', "division the pedal: id", "not an id", "spaces"),
    ('division = "great"\nminutes', 'division = "grate"\nminutes', "chest front: division",
     "no division grate", "mean great?"),
    ("minutes = 2.0", 'minutes = 2.0\n[[chest]]\nid = "pedal"\ndivision = "great"',
     "chest pedal: id", "already", "another id"),
    ("minutes = 2.0", "minutes = -2.0", "chest front: minutes", "-2.0", "at least 0"),
    ('from = "front"', 'from = "frond"', "travel no. 1: from", "no chest frond", "mean front?"),
    ('to = "pedal"', 'to = "front"', "travel no. 1: to", "same chest", "another"),
    ("minutes = 1.0\n", 'minutes = 1.0\n[[travel]]\nfrom = "pedal"\nto = "front"\nminutes = 3.0\n',
     "travel no. 2", "given twice", "both directions"),
    # ranks
    ('id = "great.mixture.1"', 'id = "great.principal8"', "rank great.principal8: id",
     "another rank", "own"),
    ('id = "great.mixture.1"\n', "", "rank no. 2: id", "is missing", "great.principal8"),
    ('division = "great"\nname = "Principal"', 'division = "greet"\nname = "Principal"',
     "rank great.principal8: division", "no division greet", "mean great?"),
    ('name = "Principal"', 'nmae = "Principal"', "rank great.principal8: nmae",
     "no such field", "mean name?"),
    ('family = "reed"', 'family = "brass"', "rank great.trumpet8: family", "not one of", "open"),
    ('tuned_by = "slide"', 'tuned_by = "slyde"', "rank great.principal8: tuned_by", "slyde",
     "mean slide?"),
    ('tuned_by = "slide"', 'tuned_by = "stopper"', "rank great.principal8: tuned_by",
     "open is not tuned by stopper", "slide or cone"),
    ('tuned_by = "spring"', 'tuned_by = "stopper"', "rank great.trumpet8: tuned_by",
     "a reed is not tuned by stopper", "spring"),
    ('tuned_by = "stopper"', 'tuned_by = "cone"', "rank pedal.bourdon16: tuned_by",
     "stopped is not tuned by cone", "stopper"),
    ('feet = "16"', 'feet = "sixteen"', "rank pedal.bourdon16: feet", "not a length", "2 2/3"),
    ('feet = "16"', 'feet = "15"', "rank pedal.bourdon16: feet", "15 feet", "mean 16?"),
    ('feet = "16"', "feet = 16.5", "rank pedal.bourdon16: feet", "16.5", "text"),
    ('feet = "16"', 'feet = "128"', "rank pedal.bourdon16: feet", "128 feet", "mean 64?"),
    ('feet = "16"', 'feeet = "16"', "rank pedal.bourdon16: feeet", "no such", "mean feet?"),
    ('feet = "16"\n', "", "rank pedal.bourdon16: feet", "neither feet nor breaks", "breaks"),
    ('breaks = [{from', 'feet = "2"\nbreaks = [{from', "rank great.mixture.1: feet",
     "together with breaks", "Keep one"),
    ("interval = 19", "interval = 20", "rank great.mixture.1: breaks 1: interval", "20", "19"),
    ("interval = 19", 'feet = "1 2/3"', "rank great.mixture.1: breaks 1: feet", "1 2/3",
     "mean 1 3/5?"),
    ("interval = 19", 'interval = 19, feet = "1 1/3"', "rank great.mixture.1: breaks 1: feet",
     "together with interval", "Keep one"),
    ('breaks = [{from = "C2", interval = 19}, {from = "C4", interval = 15}]', "breaks = []",
     "rank great.mixture.1: breaks", "empty", "Put something"),
    ('breaks = [{from = "C2", interval = 19}, {from = "C4", interval = 15}]', "breaks = 19",
     "rank great.mixture.1: breaks", "a list", "list"),
    (", interval = 19", "", "rank great.mixture.1: breaks 1: interval", "neither", "feet"),
    ("interval = 19", "intervall = 19", "rank great.mixture.1: breaks 1: intervall", "no such",
     "mean interval?"),
    ('breaks = [{from = "C2"', 'breaks = [{from = "C3"', "rank great.mixture.1: breaks 1: from",
     "first pipe plays C2", 'from = "C2"'),
    ('{from = "C4"', '{from = "C2"', "rank great.mixture.1: breaks 2: from",
     "not above the one before", "upward"),
    ('{from = "C4"', '{from = "C7"', "rank great.mixture.1: breaks 2: from", "outside the rank",
     "C2 to G6"),
    ('{from = "C4"', '{from = "C#"', "rank great.mixture.1: breaks 2: from", "keys are named",
     "C#2"),
    ('{from = "C4"', '{from = "C-2"', "rank great.mixture.1: breaks 2: from", "off any", "C-1"),
    ("interval = 15", "interval = 33", "rank great.mixture.1: breaks 2", "kHz", "break back"),
    ("pipes = 44", "pipes = 0", "rank great.celeste8: pipes", "0", "at least 1"),
    ("pipes = 44", "pipes = 97", "rank great.celeste8: pipes", "past the highest possible", "96"),
    ("pipes = 44", "pipes = true", "rank great.celeste8: pipes", "not true", "pipes = 61"),
    ('from = "C3"', 'from = "C1"', "rank great.celeste8: from", "outside the compass",
     "C2 to G6"),
    ('from = "C3"', 'from = "C-2"', "rank great.celeste8: from", "off any keyboard", "C-1"),
    ("beats = 2.0", "beats = 0.0", "rank great.celeste8: beats", "must beat", "Remove"),
    ("beats = 2.0", "beats = 30.0", "rank great.celeste8: beats", "30.0", "at most 15"),
    ('from = "C3"\ntuned_by = "roll"\nbeats = 2.0', 'tuned_by = "roll"\nbeats = 9.0',
     "rank great.celeste8: beats", "238 cents", "slower"),
    ('chest = "front"', 'chest = "back"', "rank great.principal8: chest", "no chest back",
     "front"),
    ('chest = "front"', 'chest = "pedal"', "rank great.principal8: chest", "belongs to pedal",
     "chest of great"),
    ("wind_mm = 80.0", "wind_mm = 3.0", "rank great.principal8: wind_mm", "3.0", "at least 20"),
    ("minutes = 1.0\ndia", "minutes = 0.0\ndia", "rank great.principal8: minutes", "0.0",
     "more than 0"),
    ("minutes = 1.0\ndia", "minutes = inf\ndia", "rank great.principal8: minutes", "finite",
     "number"),
    ("{1 = 150.0, 13 = 90.0}", "{1 = 150.0, 57 = 9.0}", "rank great.principal8: diameter_mm: 57",
     "no pipe 57", "1 to 56"),
    ("{1 = 150.0, 13 = 90.0}", "{C2 = 150.0}", "rank great.principal8: diameter_mm: C2",
     "number of a pipe", "from 1"),
    ("{1 = 150.0, 13 = 90.0}", "[150.0, 90.0]", "rank great.principal8: diameter_mm", "a table",
     "table"),
    ("tongue_mm = {1 = 80.0}", "tongue_mm = {1 = -80.0}", "rank great.trumpet8: tongue_mm: 1",
     "-80.0", "more than 1"),
    ("diameter_mm = {1 = 150.0, 13 = 90.0}", "tongue_mm = {1 = 80.0}",
     "rank great.principal8: tongue_mm", "only a reed", "reed"),
    ("diameter_mm = {1 = 150.0, 13 = 90.0}", "colour = 1979-05-27",
     "rank great.principal8: colour", "no such field", "Write one of"),
    # stops
    ('id = "pedal.flute8"', 'id = "pedal.bourdon16"', "stop pedal.bourdon16: id", "another stop",
     "own"),
    ('id = "pedal.flute8"', 'id = "great.celeste8"', "stop great.celeste8: id",
     "a rank that no stop draws", "another id"),
    ('division = "pedal"\nplays = [{rank = "pedal.bourdon16"}]',
     'division = "pedals"\nplays = [{rank = "pedal.bourdon16"}]',
     "stop pedal.bourdon16: division", "no division pedals", "mean pedal?"),
    ('plays = [{rank = "pedal.bourdon16"}]', "plays = []", "stop pedal.bourdon16: plays",
     "empty", "Put"),
    ('plays = [{rank = "pedal.bourdon16"}]\n', "", "stop pedal.bourdon16: plays", "is missing",
     '[{rank = "great.principal8"}]'),
    ('plays = [{rank = "pedal.bourdon16"}]', 'plays = ["pedal.bourdon16"]',
     "stop pedal.bourdon16: plays 1", "must be a table", "table"),
    ('plays = [{rank = "pedal.bourdon16"}]', 'plays = [{rank = "pedal.burdon16"}]',
     "stop pedal.bourdon16: plays 1: rank", "no rank pedal.burdon16", "mean pedal.bourdon16?"),
    ("first_pipe = 13", "first_pipe = 43", "stop pedal.flute8: plays 1: first_pipe",
     "no pipe 43", "1 to 42"),
    ("first_pipe = 13", "first_pipe = 0", "stop pedal.flute8: plays 1: first_pipe", "0",
     "at least 1"),
    ("first_pipe = 13", 'first_pipe = 25, to = "F4"', "stop pedal.flute8: plays 1: to",
     "need pipe 54", 'to = "F3"'),
    ("first_pipe = 13", 'first_pipe = 13, to = "G4"', "stop pedal.flute8: plays 1: to",
     "outside the compass", "C2 to F4"),
    ("first_pipe = 13", 'first_pipe = 13, from = "D3", to = "C3"',
     "stop pedal.flute8: plays 1: to", "is below", "upward"),
    ('{rank = "great.trumpet8", from = "C4"}', '{rank = "great.celeste8", from = "C2"}',
     "stop great.trumpet8: plays 2: from", "no pipe of its own for C2", "C3 to G6"),
    ('{rank = "great.trumpet8", from = "C4"}', '{rank = "great.trumpet8", from = "B3"}',
     "stop great.trumpet8: plays 2", "twice", "from and to"),
    ("[[stop]]\nid = \"pedal.flute8\"", "[[stopp]]\nid = \"pedal.flute8\"", "stopp",
     "no such field", "mean stop?"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "field", "what", "fix"), CASES, ids=range(len(CASES)))
def test_one_slip_gives_one_problem(old: str, new: str, field: str, what: str, fix: str) -> None:
    before, found, after = GOOD.partition(old)
    assert found
    text = before + new + after
    (problem,) = problems_of(text)
    assert problem.field == field
    assert what in problem.what
    assert fix in problem.fix
    assert problem.line is not None
    if "is missing" in problem.what or "neither" in problem.what:
        return  # what is missing is reported at its table
    last = field.rpartition(": ")[2].split(" ")[0]
    assert last in text.split("\n")[problem.line - 1]


DEEP = """
[[division]]
id = "deep"
name = "Deep"
keys = 12
lowest = "F1"

[[rank]]
id = "deep.bourdon64"
division = "deep"
name = "Bourdon"
family = "stopped"
feet = "64"
pipes = 12
tuned_by = "stopper"
"""
HIGH = """
[[rank]]
id = "great.high"
division = "great"
name = "High"
family = "open"
feet = "4"
pipes = 10
from = "C5"
tuned_by = "cone"

[[stop]]
id = "pedal.high"
name = "High"
division = "pedal"
plays = [{rank = "great.high"}]
"""


def test_a_pipe_lower_than_any_ever_built() -> None:
    (problem,) = problems_of(GOOD + DEEP)
    assert problem.field == "rank deep.bourdon64: feet"
    # F of 64 foot at A4 = 440: 43.654 Hz / 8
    assert "its pipe at F1 would speak at 5.5 Hz" in problem.what


def test_rank_above_the_keys_of_the_borrowing_division() -> None:
    (problem,) = problems_of(GOOD + HIGH)
    assert problem.field == "stop pedal.high: plays 1: rank"
    assert "begins at C5, above the keys of pedal" in problem.what
    reported = HIGH.replace('high"}', 'high", first_pipe = 1}')
    assert len(read_organ(GOOD + reported).keys_of(["pedal.high"])) == 10


OWN = """
[temperament]
name = "house"
fifths = {"C-G" = -5.87, "G-D" = -5.87, "D-A" = -5.86, "B-F#" = -5.86}
"""


def with_own_temperament(old: str = "", new: str = "") -> str:
    own = OWN.replace(old, new) if old else OWN
    assert not old or own != OWN
    return GOOD.replace('temperament = "equal"\n', "") + own


def test_own_temperament_is_read() -> None:
    organ = read_organ(with_own_temperament())
    assert organ.temperament.name == "house"
    # Werckmeister III as K. Gann prints it: G 696.09, F# 588.27
    assert organ.temperament.cents_above_c[7] == pytest.approx(696.09, abs=0.01)
    assert organ.temperament.cents_above_c[6] == pytest.approx(588.27, abs=0.02)


@pytest.mark.parametrize(
    ("old", "new", "field", "what"),
    [
        ('"C-G" = -5.87', '"C-G" = -4.0', "temperament: fifths", r"misses by -1\.87 cents"),
        ('"C-G" = -5.87', '"C-G" = 5.87', "temperament: fifths", r"misses by -11\.74 cents"),
        ('"C-G" = -5.87', '"C-A" = -5.87', "temperament: fifths: C-A", "not a fifth"),
        ('"C-G" = -5.87', '"H-F" = -5.87', "temperament: fifths: H-F", "not the name of a note"),
        (
            '"C-G" = -5.87',
            '"G♭-D♭" = 0, "F#-C#" = 0',
            "temperament: fifths: F#-C#",
            "already given, as G",
        ),
        ('"C-G" = -5.87', '"C-G" = -587', "temperament: fifths: C-G", "out of range"),
        ('"C-G" = -5.87', '"C-G" = "-5.87"', "temperament: fifths: C-G", "must be a number"),
        ("fifths", "fifth", "temperament: fifth", "no such field"),
    ],
)
def test_own_temperament_that_cannot_be(old: str, new: str, field: str, what: str) -> None:
    text = with_own_temperament(old, new)
    (problem,) = problems_of(text)
    assert problem.field == field
    assert re.search(what, problem.what)
    assert problem.line == 1 + next(n for n, x in enumerate(text.split("\n")) if "fifth" in x)


def test_two_misspelt_fifths_are_two_problems() -> None:
    text = with_own_temperament('"C-G" = -5.87, "G-D"', '"C-A" = -5.87, "G-E"')
    assert [p.field for p in problems_of(text)] == [
        "temperament: fifths: C-A",
        "temperament: fifths: G-E",
    ]
