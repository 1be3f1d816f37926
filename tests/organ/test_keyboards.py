"""Keyboards and ranks that are not one key a semitone: short octaves, gaps, split sharps."""

from __future__ import annotations

import pytest

from walkboard.errors import DescriptionError
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.reading import read_organ
from walkboard.organ.targets import target_hz
from walkboard.quantities import cents_of_ratio
from walkboard.scales.keys import Key
from walkboard.scales.temperament import known


def organ(
    division: str, rank: str = "", stop: str = "", temperament: str = "meantone 1/4"
) -> Organ:
    return read_organ(f"""
format = 1
name = "Test"
temperament = "{temperament}"
pitch = {{a4_hz = 440.0, at_celsius = 18.0}}
[[division]]
id = "m"
name = "Manual"
{division}
[[rank]]
id = "p8"
division = "m"
name = "Principal"
family = "open"
feet = "8"
tuned_by = "cone"
{rank or "pipes = 45"}
{stop}
""")


def names(keys: tuple[Key, ...]) -> str:
    return " ".join(key.name for key in keys)


def test_a_short_octave_has_eight_keys_and_reaches_c6_with_45() -> None:
    short = organ('keys = 45\noctave = "short"')
    assert names(short.division("m").all_keys[:9]) == "C2 D2 E2 F2 G2 A2 A#2 B2 C3"
    assert short.division("m").highest.name == "C6"
    assert short.division("m").key_number(Key.parse("C3")) == 9


def test_a_broken_octave_lacks_two_keys() -> None:
    broken = organ('keys = 47\noctave = "broken"', "pipes = 47")
    assert names(broken.division("m").all_keys[:5]) == "C2 D2 E2 F2 F#2"
    assert broken.division("m").highest.name == "C6"


def test_pipes_are_numbered_by_the_keys_there_are() -> None:
    short = organ('keys = 45\noctave = "short"')
    rank = short.rank("p8")
    assert [rank.key_of(n).name for n in (1, 2, 3, 45)] == ["C2", "D2", "E2", "C6"]
    assert short.sounding(["p8"], Key.parse("E2")) == (PipeRef("p8", 3),)
    assert short.sounding(["p8"], Key.parse("C#2")) == ()
    assert len(short.keys_of(["p8"])) == 45


def test_a_missing_key_moves_the_numbers_above_it_and_no_pitch() -> None:
    gap = organ('keys = 53\nmissing = ["C#2"]', "pipes = 53", temperament="equal")
    assert gap.rank("p8").key_of(2).name == "D2"
    assert target_hz(gap, PipeRef("p8", 2), None) == pytest.approx(440 * 2 ** (-31 / 12))


def test_a_rank_may_lack_a_pipe_that_its_division_has_a_key_for() -> None:
    gap = organ("keys = 54", 'pipes = 53\nmissing = ["C#2"]')
    assert gap.sounding(["p8"], Key.parse("C#2")) == ()
    assert gap.sounding(["p8"], Key.parse("F5")) != ()


def test_an_extension_finds_its_pipes_by_their_notes() -> None:
    octave = organ(
        'keys = 45\noctave = "short"',
        "pipes = 57",
        '[[stop]]\nid = "o4"\nname = "Octave"\ndivision = "m"\n'
        'plays = [{rank = "p8", first_pipe = 9}]\n'
        '[[stop]]\nid = "p8"\nname = "Principal"\ndivision = "m"\nplays = [{rank = "p8"}]\n',
    )
    for name, sounds in (("C2", "C3"), ("D2", "D3"), ("E2", "E3"), ("C6", "C7")):
        (pipe,) = octave.sounding(["o4"], Key.parse(name))
        assert octave.rank("p8").key_of(pipe.number).name == sounds


def test_a_split_sharp_has_two_keys_and_two_pipes() -> None:
    split = organ('keys = 55\nlowest = "C2"\nsplit = ["Eb", "G#"]', "pipes = 55")
    board = split.division("m").all_keys
    assert names(board[:14]) == "C2 C#2 D2 D#2 D#2* E2 F2 F#2 G2 G#2 Ab2* A2 A#2 B2"
    (first,) = split.sounding(["p8"], Key.parse("G#3"))
    (second,) = split.sounding(["p8"], Key.parse("Ab3*"))
    assert second.number == first.number + 1


def test_the_halves_of_a_split_sharp_lie_a_diesis_apart_in_quarter_comma_meantone() -> None:
    """128/125 is 41.06 cents: arithmetic, three pure thirds against an octave."""
    split = organ('keys = 55\nsplit = ["Eb", "G#"]', "pipes = 55")
    for plain, half, above in (("G#3", "Ab3*", 41.06), ("Eb3", "D#3*", -41.06)):
        (one,) = split.sounding(["p8"], Key.parse(plain))
        (other,) = split.sounding(["p8"], Key.parse(half))
        ratio = target_hz(split, other, None) / target_hz(split, one, None)
        assert cents_of_ratio(ratio) == pytest.approx(above, abs=0.005)


def test_in_equal_temperament_the_halves_sound_alike() -> None:
    equal = known("equal")
    assert equal.cents(Key.parse("Ab3*")) == pytest.approx(equal.cents(Key.parse("G#3")))


def test_one_key_alone_may_be_split() -> None:
    split = organ('keys = 55\nsplit = ["G#3"]', "pipes = 55")
    assert sum(key.split for key in split.division("m").all_keys) == 1


@pytest.mark.parametrize(
    ("division", "rank", "field", "hint"),
    [
        ('keys = 45\noctave = "shrt"', "", "octave", "short"),
        ('keys = 45\nmissing = ["H2"]', "", "missing 1", "B2"),
        ('keys = 45\nmissing = "C#2"', "", "missing", '["C#2"]'),
        ('keys = 45\nsplit = ["E"]', "", "split 1", "Eb"),
        ("keys = 45", 'pipes = 44\nmissing = ["C#7"]', "missing 1", "C2 to G#5"),
        (
            'keys = 45\noctave = "short"',
            'pipes = 44\nmissing = ["C#2"]',
            "missing 1",
            "Remove it",
        ),
        ('keys = 45\noctave = "short"', 'pipes = 44\nfrom = "A7"', "from", "C2 to C6"),
    ],
)
def test_a_slip_on_a_keyboard_is_one_problem(
    division: str, rank: str, field: str, hint: str
) -> None:
    with pytest.raises(DescriptionError) as caught:
        organ(division, rank)
    (problem,) = caught.value.problems
    assert problem.field.rpartition(": ")[2] == field
    assert hint in problem.fix
