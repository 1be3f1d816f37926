"""Reading a description: what the fields mean, and every problem at once."""

from __future__ import annotations

import copy
import tomllib
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.strategies import Raw, descriptions, organs, texts, toml
from walkboard.errors import DescriptionError, Problem
from walkboard.organ import examples
from walkboard.organ.model import Family, Organ, PipeRef, TunedBy
from walkboard.organ.reading import read_organ
from walkboard.scales.keys import Key

# The stop list of the design, as a tuner types it.
STOP_LIST = """
format = 1
name = "Harbour Hall"
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
id = "great.principal4"
division = "great"
name = "Principal"
family = "open"
feet = "4"
pipes = 61
tuned_by = "slide"
minutes = 0.6

[[rank]]
id = "great.mixture.1"
division = "great"
name = "Mixture I"
family = "open"
breaks = [{from = "C2", interval = 15}, {from = "C4", feet = "2 2/3"}]
pipes = 61
tuned_by = "cone"

[[rank]]
id = "great.celeste8"
division = "great"
name = "Celeste"
family = "open"
feet = 8
pipes = 49
from = "C3"
beats = 2.5
tuned_by = "slide"

[[rank]]
id = "pedal.bourdon16"
division = "pedal"
name = "Bourdon"
family = "stopped"
feet = "16"
pipes = 44
tuned_by = "stopper"

[[stop]]
id = "pedal.bass8"
name = "Bass 8"
division = "pedal"
plays = [{rank = "pedal.bourdon16", first_pipe = 13}]

[[stop]]
id = "pedal.bourdon16"
name = "Bourdon 16"
division = "pedal"
plays = [{rank = "pedal.bourdon16"}]

[[stop]]
id = "pedal.chorale4"
name = "Chorale 4"
division = "pedal"
plays = [{rank = "great.principal4"}]
"""


@pytest.fixture(scope="module")
def organ() -> Organ:
    return read_organ(STOP_LIST)


def test_fields_arrive(organ: Organ) -> None:
    rank = organ.rank("great.principal4")
    assert (rank.family, rank.tuned_by, rank.pipes) == (Family.OPEN, TunedBy.SLIDE, 61)
    assert (rank.minutes, rank.historic, rank.wind_mm) == (0.6, False, None)
    assert (organ.pitch.a4_hz, organ.pitch.at_celsius) == (440.0, 18.0)
    assert organ.division("pedal").highest.name == "G4"
    assert organ.rank("great.celeste8").celeste_beats_hz == 2.5


def test_mixture_breaks_by_interval_or_feet(organ: Organ) -> None:
    rank = organ.rank("great.mixture.1")
    assert rank.multiples == ((Key.parse("C2"), Fraction(4)), (Key.parse("C4"), Fraction(3)))
    assert rank.multiple_of(24) == 4  # B3
    assert rank.multiple_of(25) == 3  # C4
    assert rank.breaks_back


def test_rank_that_no_stop_names_is_a_stop_of_its_own(organ: Organ) -> None:
    assert [stop.id for stop in organ.stops] == [
        "pedal.bass8",
        "pedal.bourdon16",
        "pedal.chorale4",
        "great.mixture.1",
        "great.celeste8",
    ]
    assert organ.stop("great.celeste8").pipes_at(Key.parse("B2")) == ()
    assert organ.stop("great.celeste8").pipes_at(Key.parse("C3")) == (PipeRef("great.celeste8", 1),)


def test_extension_starts_on_its_first_pipe(organ: Organ) -> None:
    bass = organ.stop("pedal.bass8")
    assert bass.pipes_at(Key.parse("C2")) == (PipeRef("pedal.bourdon16", 13),)
    # 44 pipes carry 16 and 8 foot over all 32 keys
    assert bass.pipes_at(Key.parse("G4")) == (PipeRef("pedal.bourdon16", 44),)
    # an octave apart on the same rank: one pipe, sounded by two keys
    assert organ.stop("pedal.bourdon16").pipes_at(Key.parse("C3")) == bass.pipes_at(Key.parse("C2"))


def test_borrowed_rank_is_clipped_to_the_borrowing_keys(organ: Organ) -> None:
    (plays,) = organ.stop("pedal.chorale4").plays
    assert (plays.from_key.name, plays.to_key.name, plays.first_pipe) == ("C2", "G4", 1)


def variant(**plays: object) -> tuple[str, str, int]:
    """First and last key and first pipe of a further stop on the Great, or of any division."""
    division = plays.pop("division", "great")
    reported = ", ".join(f"{k.rstrip('_')} = {toml(v)}" for k, v in plays.items())
    text = STOP_LIST + (
        f'[[stop]]\nid = "more"\nname = "More"\ndivision = "{division}"\nplays = [{{{reported}}}]\n'
    )
    (one,) = read_organ(text).stop("more").plays
    return one.from_key.name, one.to_key.name, one.first_pipe


@pytest.mark.parametrize(
    ("plays", "expected"),
    [
        # divided stops: bass and treble keep the rank's own pipes
        ({"rank": "great.principal4", "to": "B3"}, ("C2", "B3", 1)),
        ({"rank": "great.principal4", "from_": "C4"}, ("C4", "C7", 25)),
        ({"rank": "great.principal4", "from_": "C3", "to": "B4"}, ("C3", "B4", 13)),
        # a short rank begins where its pipes do, also when another division borrows it
        ({"rank": "great.celeste8"}, ("C3", "C7", 1)),
        ({"rank": "great.celeste8", "division": "pedal"}, ("C3", "G4", 1)),
        ({"rank": "great.celeste8", "first_pipe": 13}, ("C3", "C6", 13)),
        ({"rank": "great.celeste8", "first_pipe": 1, "division": "pedal"}, ("C2", "G4", 1)),
        # a quint taken from a unison rank: the eighth pipe is its fifth
        ({"rank": "great.principal4", "first_pipe": 8}, ("C2", "F6", 8)),
        ({"rank": "pedal.bourdon16", "first_pipe": 20, "from_": "C3"}, ("C3", "C5", 20)),
        # keys end with the pipes, or with the keyboard
        ({"rank": "pedal.bourdon16"}, ("C2", "G5", 1)),
        ({"rank": "great.principal4", "division": "pedal"}, ("C2", "G4", 1)),
    ],
)
def test_which_keys_sound_which_pipes(
    plays: dict[str, object], expected: tuple[str, str, int]
) -> None:
    assert variant(**plays) == expected


def test_ways_between_chests_hold_in_both_directions() -> None:
    organ = read_organ(
        STOP_LIST + '[[travel]]\nfrom = "great"\nto = "pedal"\nminutes = 3.5\n'
        '[[chest]]\nid = "attic"\ndivision = "pedal"\nminutes = 6.0\n'
    )
    assert organ.travel_minutes["great", "pedal"] == organ.travel_minutes["pedal", "great"] == 3.5
    # a division's ranks that name no chest stand on the division's own
    assert [(c.id, c.division, c.minutes) for c in organ.chests] == [
        ("attic", "pedal", 6.0),
        ("great", "great", 0.0),
        ("pedal", "pedal", 0.0),
    ]


TWENTY = [
    ("format = 1", "format = 3", "format"),
    ('temperament = "equal"', 'temperament = "werkmeister iii"', "temperament"),
    ("a4_hz = 440.0", "a4_hz = 4400", "pitch: a4_hz"),
    ("at_celsius = 18.0", 'at_celsius = "18"', "pitch: at_celsius"),
    ("keys = 32", "keys = 320", "division pedal: keys"),
    ('name = "Principal"', "name = 7", "rank great.principal4: name"),
    ('family = "open"\nfeet = "4"', 'family = "flue"\nfeet = "4"', "rank great.principal4: family"),
    ('feet = "4"', 'feet = "4 1/7"', "rank great.principal4: feet"),
    ('tuned_by = "slide"\nminutes', 'tuned = "slide"\nminutes', "rank great.principal4: tuned"),
    ("minutes = 0.6", "minutes = -0.6", "rank great.principal4: minutes"),
    ('division = "great"\nname = "Mixture I"', 'division = "grate"\nname = "Mixture I"',
     "rank great.mixture.1: division"),
    ("interval = 15", "interval = 18", "rank great.mixture.1: breaks 1: interval"),
    ('from = "C4", feet', 'from = "C4", foot', "rank great.mixture.1: breaks 2: foot"),
    ('tuned_by = "cone"', 'tuned_by = "spring"', "rank great.mixture.1: tuned_by"),
    ('from = "C3"', 'from = "C8"', "rank great.celeste8: from"),
    ("beats = 2.5", "beats = true", "rank great.celeste8: beats"),
    ('id = "pedal.bourdon16"\ndivision', 'id = "pedal bourdon16"\ndivision',
     "rank pedal bourdon16: id"),
    ('id = "pedal.bass8"\n', "", "stop no. 1: id"),
    ("first_pipe = 13", "first_pipe = 0", "stop no. 1: plays 1: first_pipe"),
    ('plays = [{rank = "great.principal4"}]', "plays = []", "stop pedal.chorale4: plays"),
]  # fmt: skip


def test_twenty_errors_are_reported_as_those_twenty() -> None:
    text = STOP_LIST
    for old, new, _ in TWENTY:
        assert text.count(old) >= 1
        text = text.replace(old, new, 1)
    with pytest.raises(DescriptionError, match="has 20 problems") as caught:
        read_organ(text, where="hall.toml")
    problems = caught.value.problems
    assert [problem.field for problem in problems] == [field for *_, field in TWENTY]
    assert caught.value.where == "hall.toml"
    lines = text.split("\n")
    for (_, new, field), problem in zip(TWENTY, problems, strict=True):
        assert problem.line is not None
        # the line holds the field that was spoiled; what was taken out is reported at its table
        shown = lines[problem.line - 1]
        assert shown == "[[stop]]" if not new else field.rpartition(": ")[2].split(" ")[0] in shown
        assert problem.what.endswith(".")
        assert problem.fix.endswith((".", "?"))
    printed = str(caught.value)
    assert printed.startswith("hall.toml: The organ description has 20 problems.\n  line 2: format")


@pytest.mark.parametrize(("old", "new", "field"), TWENTY, ids=[field for *_, field in TWENTY])
def test_each_of_the_twenty_alone_is_one(old: str, new: str, field: str) -> None:
    with pytest.raises(DescriptionError) as caught:
        read_organ(STOP_LIST.replace(old, new, 1))
    first, *more = caught.value.problems
    assert first.field.rpartition(": ")[2] == field.rpartition(": ")[2]
    # an id that is spelt otherwise leaves those who name it without their rank
    assert {problem.what for problem in more} <= {"there is no rank pedal.bourdon16."}


@pytest.mark.parametrize("text", [examples.village(), examples.hall()], ids=["village", "hall"])
def test_examples_are_right(text: str) -> None:
    assert read_organ(text).ranks


def test_village_has_about_400_pipes() -> None:
    assert len(list(read_organ(examples.village()).pipes())) == 408


def test_hall_holds_what_an_organ_can_hold() -> None:
    organ = read_organ(examples.hall())
    pipes = list(organ.pipes())
    assert 2000 <= len(pipes) <= 2600
    assert {rank.family for rank in organ.ranks} == set(Family)
    assert {rank.tuned_by for rank in organ.ranks} == set(TunedBy)
    assert {d.name for d in organ.divisions} == {"Great", "Swell", "Positive", "Solo", "Pedal"}
    assert len({d.keys for d in organ.divisions}) == 3
    assert any(d.enclosed for d in organ.divisions)
    multiples = {multiple for rank in organ.ranks for _, multiple in rank.multiples}
    assert {Fraction(1, 4), Fraction(3), Fraction(5), Fraction(6)} <= multiples
    assert sum(rank.breaks_back for rank in organ.ranks) == 7
    for wanted in ("celeste_beats_hz", "minutes", "wind_mm", "historic"):
        assert any(getattr(rank, wanted) for rank in organ.ranks), wanted
    assert any(rank.diameters_mm for rank in organ.ranks)
    assert any(rank.tongues_mm for rank in organ.ranks)
    # one pipe on several stops, one stop of several ranks, and no rank that nothing sounds
    sounding: dict[str, set[str]] = {}
    for stop in organ.stops:
        for plays in stop.plays:
            sounding.setdefault(plays.rank, set()).add(stop.id)
    assert set(sounding) == {rank.id for rank in organ.ranks}
    assert max(map(len, sounding.values())) == 3
    assert any(len(stop.plays) == 5 for stop in organ.stops)


@pytest.mark.parametrize("example", [examples.village, examples.hall])
def test_every_pipe_of_the_examples_is_sounded_by_some_key(example: Any) -> None:
    organ = read_organ(example())
    sounded = {
        pipe
        for stop in organ.stops
        for key in organ.keys_of([stop.id])
        for pipe in stop.pipes_at(key)
    }
    assert sounded == set(organ.pipes())


@settings(max_examples=30, deadline=None)
@given(texts())
def test_any_valid_description_is_read_as_written(drawn: tuple[Raw, str]) -> None:
    raw, text = drawn
    organ = read_organ(text)
    assert [r.id for r in organ.ranks] == [r["id"] for r in raw["rank"]]
    assert [r.pipes for r in organ.ranks] == [r["pipes"] for r in raw["rank"]]
    assert [r.from_key.name for r in organ.ranks] == [r["from"] for r in raw["rank"]]
    assert len(organ.travel_minutes) == 2 * len(raw["travel"])


@settings(max_examples=30, deadline=None)
@given(organs())
def test_every_stop_stays_within_its_keys_and_pipes(organ: Organ) -> None:
    for stop in organ.stops:
        division = organ.division(stop.division)
        keys = organ.keys_of([stop.id])
        assert keys
        assert division.lowest <= keys[0] <= keys[-1] <= division.highest
        for key in keys:
            for pipe in stop.pipes_at(key):
                assert 1 <= pipe.number <= organ.rank(pipe.rank).pipes
    assert {rank.chest for rank in organ.ranks} <= {chest.id for chest in organ.chests}
    named = {plays.rank for stop in organ.stops for plays in stop.plays}
    assert named == {rank.id for rank in organ.ranks}


def problems_of(text: str) -> tuple[Problem, ...]:
    """Problems of a text that may be right or wrong."""
    try:
        read_organ(text)
    except DescriptionError as error:
        return error.problems
    return ()


WRONG = st.sampled_from(
    [7, -1, 0, 0.5, True, "", "x", "C2", [], [1], ["a"], {}, {"a": 1}, [{}], [{"a": 1}], 10**30]
)


def steps_of(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    found = []
    for step, inner in value.items() if isinstance(value, dict) else enumerate(value):
        found.append((*path, step))
        if isinstance(inner, dict | list):
            found += steps_of(inner, (*path, step))
    return found


@settings(max_examples=100, deadline=None)
@given(descriptions(), st.data())
def test_whatever_is_spoiled_is_reported_and_never_breaks_the_reader(raw: Raw, data: Any) -> None:
    spoiled = copy.deepcopy(raw)
    for _ in range(data.draw(st.integers(1, 4))):
        path = data.draw(st.sampled_from(steps_of(spoiled)))
        holder: Any = spoiled
        for step in path[:-1]:
            holder = holder[step]
        if data.draw(st.booleans()):
            holder[path[-1]] = data.draw(WRONG)
        else:
            del holder[path[-1]]
        if not spoiled:
            return
    text = "\n".join(f"{key} = {toml(value)}" for key, value in spoiled.items())
    assert tomllib.loads(text) == spoiled
    for problem in problems_of(text):
        assert problem.line is not None
        assert 1 <= problem.line <= len(spoiled)
        assert problem.field
        assert problem.what
        assert problem.fix
