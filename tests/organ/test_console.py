"""Couplers and tremulants: what a key sounds when they are drawn."""

from __future__ import annotations

import pytest

from walkboard.errors import DescriptionError, InputError, UnknownNameError
from walkboard.organ import examples
from walkboard.organ.console import CoupledKeys, ToyKind
from walkboard.organ.model import Organ
from walkboard.organ.reading import read_organ
from walkboard.scales.keys import Key

CONSOLE = """
[[coupler]]
id = "swell-to-great"
name = "Swell to Great"
from = "swell"
to = "great"

[[coupler]]
id = "swell-to-great-4"
name = "Swell to Great 4"
from = "swell"
to = "great"
octave = 1

[[coupler]]
id = "swell-to-pedal"
name = "Swell to Pedal"
from = "swell"
to = "pedal"

[[coupler]]
id = "swell-octave"
name = "Swell Octave"
from = "swell"
to = "swell"
octave = 1

[[coupler]]
id = "swell-unison-off"
name = "Swell Unison Off"
from = "swell"
to = "swell"
unison_off = true

[[coupler]]
id = "melody"
name = "Melody"
from = "swell"
to = "great"
keys = "highest"

[[tremulant]]
id = "swell.tremulant"
name = "Tremulant"
divisions = ["swell"]
rate_hz = 6.0

[[toy]]
id = "star"
name = "Bell Star"
kind = "bell star"
"""
TEXT = examples.village() + CONSOLE
ORGAN = read_organ(TEXT)
C4 = Key.parse("C4")


def pipes(organ: Organ, drawn: str, key: str = "C4") -> list[str]:
    return [str(pipe) for pipe in organ.sounding(drawn.split(), Key.parse(key))]


def test_what_is_at_the_console() -> None:
    assert ORGAN.coupler("melody").keys is CoupledKeys.HIGHEST
    assert ORGAN.tremulant("swell.tremulant").rate_hz == 6.0
    assert [toy.kind for toy in ORGAN.toys] == [ToyKind.BELL_STAR]


def test_a_coupled_stop_sounds_at_the_other_keyboard_s_keys() -> None:
    assert pipes(ORGAN, "great.principal4 swell.oboe8 swell-to-great") == [
        "great.principal4:25",
        "swell.oboe8:13",
    ]


def test_an_octave_coupler_sounds_the_pipe_an_octave_up_and_ends_with_the_keys() -> None:
    assert pipes(ORGAN, "swell.oboe8 swell-to-great-4") == ["swell.oboe8:25"]
    top = ORGAN.division("swell").highest
    assert pipes(ORGAN, "swell.oboe8 swell-to-great-4", top.name) == []
    keys = ORGAN.keys_of(["swell.oboe8", "swell-to-great-4"])
    assert (keys[0].name, keys[-1]) == ("C2", top.up(-12))


def test_the_keyboard_coupled_to_sets_the_compass() -> None:
    keys = ORGAN.keys_of(["swell.oboe8", "swell-to-pedal"])  # the oboe begins at tenor C
    assert keys == ORGAN.division("pedal").all_keys[12:]


def test_unison_off_leaves_the_octave_alone() -> None:
    assert pipes(ORGAN, "swell.oboe8 swell-octave") == ["swell.oboe8:13", "swell.oboe8:25"]
    assert pipes(ORGAN, "swell.oboe8 swell-octave swell-unison-off") == ["swell.oboe8:25"]


def test_a_stop_of_a_keyboard_that_is_not_coupled_is_silent() -> None:
    assert pipes(ORGAN, "pedal.bourdon16 swell.oboe8 swell-to-great") == ["swell.oboe8:13"]


def test_a_tremulant_sounds_no_pipe_of_its_own() -> None:
    assert pipes(ORGAN, "swell.oboe8 swell.tremulant") == ["swell.oboe8:13"]
    assert ORGAN.keys_of(["swell.oboe8", "swell.tremulant"]) == ORGAN.keys_of(["swell.oboe8"])


def test_couplers_to_two_keyboards_cannot_be_played_at_once() -> None:
    with pytest.raises(InputError, match="several keyboards: great, pedal"):
        pipes(ORGAN, "swell.oboe8 swell-to-great swell-to-pedal")


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("great.principle4", "great.principal4"),
        ("Principal 4", "swell.principal4"),
        ("oboe8", "swell.oboe8"),
        ("bourdon", "pedal.bourdon16"),
    ],
)
def test_a_misspelt_stop_is_answered_with_the_likeliest(typed: str, meant: str) -> None:
    with pytest.raises(UnknownNameError) as caught:
        ORGAN.stop(typed)
    assert caught.value.fix == f"Did you mean {meant}?"


def test_a_name_like_no_other_is_answered_with_the_list() -> None:
    with pytest.raises(UnknownNameError) as caught:
        ORGAN.division("xyzzy")
    assert caught.value.fix == "It has: great, swell, pedal."


@pytest.mark.parametrize(
    ("old", "new", "field", "hint"),
    [
        ('from = "swell"\nto = "pedal"', 'from = "swel"\nto = "pedal"', "from", "mean swell?"),
        ('to = "great"\noctave', 'to = "swell"\nnothing = 1\noctave', "nothing", "Write one of"),
        ('to = "swell"\noctave = 1', 'to = "swell"', "to", "octave = 1"),
        ("unison_off = true", "unison_off = true\noctave = 1", "unison_off", "leave octave out"),
        ('divisions = ["swell"]', 'divisions = ["swel"]', "divisions 1", "mean swell?"),
        ('keys = "highest"', 'keys = "melody"', "keys", "all, highest, lowest"),
        ('id = "melody"', 'id = "swell.oboe8"', "id", "another id"),
        ('kind = "bell star"', 'kind = "bel star"', "kind", "mean bell star?"),
        ("rate_hz = 6.0", "rate_hz = 600.0", "rate_hz", "at most 15"),
    ],
)
def test_a_slip_at_the_console_is_one_problem(old: str, new: str, field: str, hint: str) -> None:
    with pytest.raises(DescriptionError) as caught:
        read_organ(TEXT.replace(old, new, 1))
    (problem,) = caught.value.problems
    assert problem.field.rpartition(": ")[2] == field
    assert hint in problem.fix
